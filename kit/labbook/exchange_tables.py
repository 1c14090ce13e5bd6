"""What a lab book says, as plain tables for other programs: trials, batches, weighings, readings, compositions.

Each table is a header and rows of cells: a text, a number, or None where nothing was recorded. Units stand in the
header. These tables are for reading; the record itself travels by `exchange_json` or `exchange_csv`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.bench.readings import Reading
from kit.errors import BatchError
from kit.labbook.batch_entries import decimal_or_none
from kit.labbook.challenge_entry import COLUMNS, rows_of_tests
from kit.labbook.ledger import Effective
from kit.labbook.source import Source
from kit.labbook.view import BatchView
from kit.units import plain

Cell = str | int | Decimal | None
Row = tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class PlainTable:
    """A table by name: its columns, and a call that gives its rows from the first."""

    name: str
    columns: tuple[str, ...]
    rows: Callable[[], Iterator[Row]]


_TRIALS = ("study", "trial", "formula", "version", "fingerprint", "why", "note", "batches")
_BATCHES = (
    "batch",
    "study",
    "trial",
    "number",
    "operator",
    "started",
    "finished",
    "planned [g]",
    "in the product [g]",
    "water lost [g]",
    "remark",
    "decision",
    "why decided",
    "note",
)
_WEIGHINGS = (
    "batch",
    "entry",
    "what",
    "phase",
    "material",
    "mass [g]",
    "lot",
    "balance",
    "measured at",
    "corrected by entry",
    "voided because",
    "note",
)
_READINGS = (
    "batch",
    "entry",
    "property",
    "value",
    "unit",
    "age [h]",
    "measured at",
    "temperature [degC]",
    "method",
    "instrument",
    "calibration",
    "spindle",
    "speed [rpm]",
    "torque [%]",
    "reading time [s]",
    "container",
    "storage",
    "rested at 25 degC [h]",
    "sample",
    "replicate",
    "operator",
    "declared for the file",
    "voided because",
    "flags",
    "note",
)
_OBSERVATIONS = (
    "batch",
    "entry",
    "seen",
    "word",
    "age [h]",
    "measured at",
    "storage",
    "rested at 25 degC [h]",
    "voided because",
    "note",
)
_LOTS = (
    "material",
    "lot",
    "holds from",
    "kind",
    "active [%]",
    "parts [% w/w]",
    "chains [% w/w]",
    "amine value [mg KOH/g]",
    "acid value [mg KOH/g]",
    "density [g/mL]",
    "expiry",
    "made on",
    "supplier",
    "note",
)
_CALIBRATIONS = (
    "calibration",
    "instrument",
    "made at",
    "temperature [degC]",
    "buffer table",
    "buffers [pH]",
    "primary buffers",
    "read in the buffers [mV]",
    "slope [% of theory]",
    "offset [mV]",
    "largest residual [pH]",
    "closing checks",
    "note",
)
_INSTRUMENTS = ("instrument", "kind", "division [g]", "spindle", "constant K [mPa.s rpm / %]", "geometry", "note")
_COMPOSITIONS = ("batch", "formula", "phase", "material", "name", "meant [% w/w]", "made [% w/w]")
_MASSES = ("weigh", "weigh-back", "top-up", "adjust", "take")


def tables_of(source: Source, trials: Sequence[str] = ()) -> tuple[PlainTable, ...]:
    """The tables of a lab book, or of some of its trials.

    Parameters
    ----------
    source : Source    A lab book or a snapshot.
    trials : sequence  Names of trials; all when empty.

    Raises
    ------
    RecordError   `labbook.trial` for a trial that is not there, with the nearest names.
    """
    names = list(trials) or [name for study in source.studies() for name in source.trials(study)]
    for name in trials:
        source.trial(name)

    def each(rows: Callable[[Source, BatchView], Iterable[Row]]) -> Callable[[], Iterator[Row]]:
        def run() -> Iterator[Row]:
            for batch in source.each_batch(names):
                yield from rows(source, batch)

        return run

    return (
        PlainTable("trials", _TRIALS, lambda: _trials(source, names)),
        PlainTable("batches", _BATCHES, each(_batch)),
        PlainTable("weighings", _WEIGHINGS, each(_weighings)),
        PlainTable("readings", _READINGS, each(_readings)),
        PlainTable("observations", _OBSERVATIONS, each(_observations)),
        PlainTable("challenge-tests", COLUMNS, each(lambda source, batch: rows_of_tests(batch.challenge_tests))),
        PlainTable("compositions", _COMPOSITIONS, each(_composition)),
        PlainTable("lots", _LOTS, lambda: _lots(source)),
        PlainTable("instruments", _INSTRUMENTS, lambda: _instruments(source)),
        PlainTable("calibrations", _CALIBRATIONS, lambda: _calibrations(source)),
    )


def _trials(source: Source, names: Iterable[str]) -> Iterator[Row]:
    for name in names:
        view = source.trial(name)
        formula, count = view.formula, len(source.batch_keys(trial=name))
        yield view.study, name, formula.name, formula.version, formula.fingerprint, view.why, view.note, count


def _batch(source: Source, batch: BatchView) -> Iterator[Row]:
    del source
    made, remark = _made(batch)
    decision = batch.decisions[-1] if batch.decisions else None
    yield (
        batch.name,
        batch.study,
        batch.trial,
        batch.number,
        batch.operator,
        batch.started_at,
        batch.finished_at,
        batch.batch_g,
        _grams(made.yield_g) if made else None,
        _grams(made.water_lost_g) if made else None,
        remark,
        decision.verdict if decision else "",
        decision.why if decision else "",
        batch.note,
    )


def _weighings(source: Source, batch: BatchView) -> Iterator[Row]:
    del source
    for item in batch.effective:
        if item.kind in _MASSES:
            yield _weighing(batch, item)


def _weighing(batch: BatchView, item: Effective) -> Row:
    body = item.body
    return (
        batch.name,
        item.seq,
        item.kind,
        body.get("phase", ""),
        body.get("material", ""),
        decimal_or_none(body.get("mass_g")),
        body.get("lot", ""),
        body.get("balance", ""),
        item.measured_at,
        item.corrected_by or None,
        item.void,
        body.get("note", "") or body.get("why", ""),
    )


def _readings(source: Source, batch: BatchView) -> Iterator[Row]:
    study = source.study(batch.study)
    for found in batch.readings:
        flags = "; ".join(f"{flag.code}: {flag.words}" for flag in source.flags(found, study))
        yield _reading(found, flags)


def _reading(found: Reading, flags: str) -> Row:
    return (
        found.batch,
        found.entry,
        found.property,
        found.text if found.value is None else found.value,
        "" if found.unit == "1" else found.unit,
        found.age_h if found.age_h is not None else found.age_typed_h,
        found.measured_at or "",
        found.temp_c,
        found.method,
        found.instrument,
        found.calibration,
        found.spindle,
        found.rpm,
        found.torque_pct,
        found.reading_time_s,
        found.container,
        found.storage,
        found.rest_h,
        found.sample,
        found.replicate,
        found.operator,
        ", ".join(sorted(found.declared)),
        found.void,
        flags,
        found.note,
    )


def _observations(source: Source, batch: BatchView) -> Iterator[Row]:
    del source
    for seen in batch.observations:
        age = seen.age_h if seen.age_h is not None else seen.age_typed_h
        kept = (seen.storage, seen.rest_h)
        yield batch.name, seen.entry, seen.name, seen.word, age, seen.measured_at, *kept, seen.void, seen.note


def _composition(source: Source, batch: BatchView) -> Iterator[Row]:
    """Each supply form of a phase, what was meant of it and what is in the product; None where that is not known."""
    del source
    made, _ = _made(batch)
    compositions = (batch.composition("meant"), made.composition if made else None)
    sums: list[dict[tuple[str, str], Decimal]] = [{}, {}]
    names: dict[tuple[str, str], str] = {}
    for found, composition in zip(sums, compositions, strict=True):
        for line in composition.lines if composition else ():
            key = (line.phase, line.material.key)
            names.setdefault(key, line.material.name)
            found[key] = found.get(key, Decimal(0)) + line.pct
    meant, as_made = sums
    for key, name in names.items():
        in_product = as_made.get(key, Decimal(0)) if made else None
        yield batch.name, batch.formula.title, *key, name, meant.get(key, Decimal(0)), in_product


def _lots(source: Source) -> Iterator[Row]:
    """Each certificate that counts, of every lot in the record: a lot belongs to no trial."""
    for history in source.lots():
        for certificate in history.standing():
            lot = certificate.lot
            yield (
                lot.material,
                lot.lot,
                certificate.valid_from,
                lot.kind,
                lot.strength_pct,
                _shares(lot.parts),
                _shares(lot.chains),
                lot.amine_value,
                lot.acid_value,
                lot.density,
                lot.expiry,
                lot.made_on,
                lot.supplier,
                lot.note,
            )


def _instruments(source: Source) -> Iterator[Row]:
    """Each instrument in the record, a viscometer with a row for each of its spindles."""
    for found in source.instruments():
        for spindle in dict.fromkeys([*found.constants, *found.geometry]) or [""]:
            shape = found.geometry.get(spindle)
            told = "" if shape is None else "; ".join(f"{name} {part}" for name, part in shape.row().items())
            constant = found.constants.get(spindle)
            yield found.name, found.kind, found.division, spindle, constant, told, found.note


def _calibrations(source: Source) -> Iterator[Row]:
    """Each calibration in the record with the checks that closed it: a meter belongs to no trial."""
    for found in source.calibrations():
        electrode = found.electrode
        yield (
            found.name,
            found.instrument,
            found.at or "",
            found.temp_c,
            found.table,
            _listed(found.buffers),
            "; ".join(found.buffer_names),
            _listed(found.millivolts),
            found.slope_pct,
            found.offset_mv,
            None if electrode is None else Decimal(f"{electrode.largest_residual_ph:.3f}"),
            found.closing_words(),
            found.note,
        )


def _listed(values: Iterable[Decimal]) -> str:
    return "; ".join(plain(value) for value in values)


def _shares(parts: Mapping[str, Decimal]) -> str:
    return "; ".join(f"{inci} {plain(pct)}" for inci, pct in parts.items())


def _made(batch: BatchView):
    """A batch as made, or None and why there is nothing to say."""
    try:
        return batch.made, ""
    except BatchError as problem:
        return None, problem.what


def _grams(mass) -> Decimal:
    """An exact mass to the milligram. [g]"""
    return (Decimal(mass.numerator) / Decimal(mass.denominator)).quantize(Decimal("0.001"))
