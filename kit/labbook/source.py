"""The read-only view of a lab book or of a snapshot: what templates, comparisons and figures use."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterator, Sequence
from decimal import Decimal
from pathlib import Path

from kit.bench.air_flag import JarAir, air_flags, air_in, air_spoils, tells_of_air
from kit.bench.calibration import Calibration
from kit.bench.flag import Flag
from kit.bench.geometry import SpindleGeometry
from kit.bench.methods import AgeWindow, Method
from kit.bench.oil_check import OilChecked
from kit.bench.panel import PanelKept
from kit.bench.readings import Instrument, Reading, flags
from kit.errors import RecordError
from kit.formula.formula import Formula, formula_from_row
from kit.formula.model import spec_from_row
from kit.labbook.batch_entries import decimal_or_none
from kit.labbook.calibration_view import calibration_of, calibration_stream
from kit.labbook.lot_history import LOT_STREAM, LotHistory, lot_history, lot_stream
from kit.labbook.margin_entry import opening_entry, stated_margins
from kit.labbook.oil_check_entry import OIL_CHECK, oil_checked
from kit.labbook.panel_entry import PANEL, panel_kept, panel_stream
from kit.labbook.plan_entry import PLAN, PlanKept, plan_kept, plan_stream
from kit.labbook.readers import BatchKey, LabbookReader, Reader, SnapshotReader
from kit.labbook.stability_protocol_entry import PROTOCOL, ProtocolKept, protocol_kept
from kit.labbook.streams import Entry
from kit.labbook.study_view import StudyView, TrialView
from kit.labbook.view import BatchView, batch_stream, batch_view, formula_stream

SNAPSHOT = "kit snapshot 1"


class Source:
    """A lab book or a snapshot, read-only.

    Every stream that is read is chain-checked first and remembered, so that a write-up can print the heads of exactly
    what it rests on.
    """

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self._streams: dict[str, tuple[Entry, ...]] = {}
        self._batches: dict[str, BatchView] = {}
        self._views: dict[str, StudyView] = {}
        self._lots: frozenset[str] | None = None

    def __repr__(self) -> str:
        return f"Source({self._reader.title})"

    def __enter__(self) -> Source:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of a file that `open_source` opened; a lab book that was open already stays open."""
        self._reader.close()

    @property
    def title(self) -> str:
        """Name of what is read."""
        return self._reader.title

    @property
    def store(self):
        """The open store of a lab book; None for a snapshot."""
        return getattr(self._reader, "store", None)

    def each_batch(self, trials: Sequence[str]) -> Iterator[BatchView]:
        """Batches of some trials one after another; what was read for one is let go of before the next is read."""
        for trial in trials:
            for _, _, number in self._reader.batches(trial=trial):
                name = f"{trial}/{number}"
                held = name in self._batches or batch_stream(name) in self._streams
                yield self.batch(name)
                if not held:
                    self._batches.pop(name, None)
                    self._streams.pop(batch_stream(name), None)

    def batch_keys(self, **fits: str) -> list[BatchKey]:
        """Keys of the batches that fit study=, trial= or formula=, without reading them."""
        return self._reader.batches(**fits)

    def entries(self, stream: str) -> tuple[Entry, ...]:
        """The entries of one stream, chain-checked."""
        if stream not in self._streams:
            entries = self._reader.read(stream)
            if not entries:
                return ()  # not remembered: it may be opened while this source is in use
            self._streams[stream] = entries
        return self._streams[stream]

    def studies(self) -> list[str]:
        """Names of the studies."""
        return self._reader.studies()

    def study(self, name: str = "") -> StudyView:
        """A study by name, or the only one.

        Raises
        ------
        RecordError   `labbook.study` with the studies there are.
        """
        if name in self._views:
            return self._views[name]
        names = self.studies()
        if not name and len(names) == 1:
            name = names[0]
        if name not in names:
            raise RecordError(
                f"there is no study {name!r}" if name else _no_one_study(names),
                where=self.title,
                allowed=", ".join(names) or "none yet",
                mend="name one of these" if names else "open one with new_study()",
                code="labbook.study",
            )
        self._views[name] = _study(name, self.entries(f"study/{name}"))
        return self._views[name]

    def trials(self, study: str) -> list[str]:
        """Names of a study's trials, in order of opening."""
        return self._reader.trials(study)

    def study_of(self, trial: str) -> str:
        """Name of the study a trial belongs to; empty when there is no such trial."""
        entries = self.entries(f"trial/{trial}") if trial else ()
        return entries[0].body["study"] if entries else ""

    def trial(self, name: str) -> TrialView:
        """A trial by name.

        Raises
        ------
        RecordError   `labbook.trial` with the nearest names.
        """
        entries = self.entries(f"trial/{name}")
        if not entries:
            known = [trial for study in self.studies() for trial in self.trials(study)]
            raise RecordError(
                f"there is no trial {name!r}",
                where=self.title,
                allowed=", ".join(nearest_names(name, known)) or "none yet",
                mend="name one of these",
                code="labbook.trial",
            )
        body = entries[0].body
        return TrialView(name, body["study"], self.formula(body["formula"]), body.get("why", ""), body.get("note", ""))

    def formula(self, fingerprint: str) -> Formula:
        """A formula version as it was when a batch of it was planned."""
        entries = self.entries(formula_stream(fingerprint))
        if not entries:
            raise RecordError(
                f"formula version {fingerprint[:12]} is not in the record",
                where=self.title,
                mend="check the lab book: an entry was removed",
                code="labbook.formula",
            )
        return formula_from_row(entries[0].body)

    def batches(self, trial: str = "", *, study: str = "", formula: str = "") -> tuple[BatchView, ...]:
        """Batches of a trial, of a study, or of one formula version within a study."""
        return tuple(
            self.batch(f"{trial}/{number}")
            for _, trial, number in self._reader.batches(study=study, trial=trial, formula=formula)
        )

    def batch(self, name: str) -> BatchView:
        """A batch by name, "LIN-03/1".

        Raises
        ------
        RecordError   `labbook.batch` with the batches of that trial.
        """
        if name not in self._batches:
            entries = self.entries(batch_stream(name))
            if not entries:
                trial = name.partition("/")[0]
                known = [f"{trial}/{number}" for _, trial, number in self._reader.batches(trial=trial)]
                raise RecordError(
                    f"there is no batch {name!r}",
                    where=self.title,
                    allowed=", ".join(known) or "none of that trial",
                    mend="name one of these",
                    code="labbook.batch",
                )
            formula = self.formula(entries[0].body["formula"])
            self._batches[name] = batch_view(entries, formula, read=self.lot_entries)
        return self._batches[name]

    def lot_entries(self, stream: str) -> tuple[Entry, ...]:
        """The entries of a lot's stream, chain-checked; empty where nothing is known of that lot."""
        if self._lots is None:  # asked for once: most lots have no certificate
            self._lots = frozenset(self._reader.streams(LOT_STREAM))
        return self.entries(stream) if stream in self._lots else ()

    def lot(self, material: str, lot: str) -> LotHistory | None:
        """The certificates of one lot of a supply form; None when nothing is known of it."""
        return lot_history(self.lot_entries(lot_stream(material, lot)))

    def lots(self) -> tuple[LotHistory, ...]:
        """Every lot whose certificate is in the record, in order of entry."""
        found = (lot_history(self.entries(stream)) for stream in self._reader.streams(LOT_STREAM))
        return tuple(history for history in found if history is not None)

    def instrument(self, name: str) -> Instrument | None:
        """An instrument by name; None when it is not in the record."""
        entries = self.entries(f"instrument/{name}") if name else ()
        if not entries:
            return None
        body = entries[-1].body
        return Instrument(
            name=name,
            kind=body["kind"],
            note=body.get("note", ""),
            constants={spindle: Decimal(value) for spindle, value in body.get("constants", {}).items()},
            division=decimal_or_none(body.get("division")),
            geometry={
                spindle: SpindleGeometry.from_row(spindle, row) for spindle, row in body.get("geometry", {}).items()
            },
        )

    def instruments(self) -> tuple[Instrument, ...]:
        """Every instrument in the record, in order of entry."""
        return tuple(self.instrument(name.partition("/")[2]) for name in self._reader.streams("instrument"))

    def calibrations(self) -> tuple[Calibration, ...]:
        """Every calibration in the record, in order of entry."""
        return tuple(self.calibration(name.partition("/")[2]) for name in self._reader.streams("calibration"))

    def calibration(self, name: str) -> Calibration | None:
        """A calibration by name; None when it is not in the record."""
        return calibration_of(self.entries(calibration_stream(name))) if name else None

    def oil_checks(self, instrument: str = "") -> tuple[OilChecked, ...]:
        """Checks of viscometers with certified oils, in order of entry; of one instrument where it is named."""
        found = (oil_checked(self.entries(name)[-1]) for name in self._reader.streams(OIL_CHECK))
        return tuple(check for check in found if instrument in ("", check.instrument))

    def panels(self, study: str = "", *, trials: Sequence[str] = ()) -> tuple[PanelKept, ...]:
        """Panels in order of planning; of one study, of batches of some trials, where these are named."""
        kept = []
        for stream in self._reader.streams(PANEL):
            held = panel_kept(self._reader.read(stream))
            if study in ("", held.study) and (not trials or set(trials) & set(held.trials)):
                kept.append(panel_kept(self.entries(stream)))  # only what is shown is among the heads that are printed
        return tuple(kept)

    def panel(self, name: str) -> PanelKept:
        """A panel by name.

        Raises
        ------
        RecordError   `panel.unknown` with the nearest names.
        """
        entries = self.entries(panel_stream(name)) if name else ()
        if not entries:
            known = [stream.partition("/")[2] for stream in self._reader.streams(PANEL)]
            raise RecordError(
                f"there is no panel {name!r}",
                where=self.title,
                allowed=", ".join(nearest_names(name, known)) or "none yet",
                mend="name one of these, or plan it with add_panel()",
                code="panel.unknown",
            )
        return panel_kept(entries)

    def plans(self, study: str = "") -> tuple[PlanKept, ...]:
        """Plans of trials in order of keeping; of one study where it is named."""
        kept = []
        for stream in self._reader.streams(PLAN):
            if study in ("", self._reader.read(stream)[-1].body["study"]):
                kept.append(plan_kept(self.entries(stream)[-1], self.formula))
        return tuple(kept)

    def plan(self, name: str) -> PlanKept:
        """A plan of trials by its name.

        Raises
        ------
        RecordError   `plan.unknown` with the nearest names.
        """
        entries = self.entries(plan_stream(name)) if name else ()
        if not entries:
            known = [stream.partition("/")[2] for stream in self._reader.streams(PLAN)]
            raise RecordError(
                f"there is no plan {name!r}",
                where=self.title,
                allowed=", ".join(nearest_names(name, known)) or "none yet",
                mend="name one of these, or keep one with add_plan()",
                code="plan.unknown",
            )
        return plan_kept(entries[-1], self.formula)

    def stability_protocols(self, study: str = "") -> tuple[ProtocolKept, ...]:
        """Stability protocols, in order of entry; of one study where it is named."""
        found = (protocol_kept(self.entries(name)[-1]) for name in self._reader.streams(PROTOCOL))
        return tuple(kept for kept in found if study in ("", kept.study))

    def method_of(self, reading: Reading, study: StudyView) -> Method | None:
        """The method a reading names, or None when the study has none of that name."""
        return study.methods.get(reading.method)

    def flags(self, reading: Reading, study: StudyView, beside: Sequence[Reading] | None = None) -> tuple[Flag, ...]:
        """What is suspect in a reading by rule: in itself, and by the densities of its batch.

        Parameters
        ----------
        beside : sequence   Readings of its batch as they stand now; as this view holds them when omitted.
        """
        own = self._own_flags(reading, study)
        if not air_spoils(reading):
            return own
        return (*own, *air_flags(reading, self._densities(reading, study, beside), study.windows))

    def air(self, reading: Reading, study: StudyView, beside: Sequence[Reading] | None = None) -> JarAir | None:
        """The air in the jar of a viscosity or of a density; None where the densities for it were not read.

        Parameters
        ----------
        beside : sequence   As in `flags`.
        """
        return air_in(reading, self._densities(reading, study, beside), study.windows)

    def _own_flags(self, reading: Reading, study: StudyView) -> tuple[Flag, ...]:
        return flags(
            reading,
            self.method_of(reading, study),
            instrument=self.instrument(reading.instrument),
            calibration=self.calibration(reading.calibration),
            windows=study.windows,
        )

    def _densities(self, reading: Reading, study: StudyView, beside: Sequence[Reading] | None) -> list[Reading]:
        """The densities of the batch of a reading that carry no flag of their own."""
        held = self.batch(reading.batch).readings if beside is None else beside
        found = (other for other in held if tells_of_air(other))
        return [other for other in found if not self._own_flags(other, study)]

    def heads(self) -> dict[str, dict]:
        """Sequence number and hash of the last entry of every stream read so far, by stream."""
        return {
            name: {"seq": entries[-1].seq, "hash": entries[-1].hash}
            for name, entries in sorted(self._streams.items())
            if entries
        }

    def all_heads(self) -> dict[str, dict]:
        """Heads of every stream a snapshot holds, by stream, each chain checked."""
        for stream in self._reader.streams():
            self.entries(stream)
        return self.heads()


def open_source(source: object) -> Source:
    """The read-only view of a lab book file, an open lab book or a snapshot file.

    Parameters
    ----------
    source : str, Path, Labbook or Source   A .labbook file, a snapshot (.json), or something already open.

    Raises
    ------
    RecordError   `labbook.not_found`, `labbook.not_a_labbook`, `labbook.snapshot`, `labbook.edited`, `labbook.gap`.
    """
    if isinstance(source, Source):
        return source
    if hasattr(source, "source"):
        return source.source()
    path = Path(str(source))
    if path.suffix == ".json":
        return Source(SnapshotReader(_snapshot_table(path), path.name))
    from kit.labbook.store import (
        Store,  # the database library is loaded only for a lab book
    )

    return Source(LabbookReader(Store.open(path, read_only=True), path.name, owns=True))


def _snapshot_table(path: Path) -> dict:
    try:
        table = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise RecordError(
            f"there is no snapshot {path.name!r}",
            where=str(path.parent),
            mend="check the name and the folder",
            code="labbook.not_found",
        ) from None
    except (UnicodeDecodeError, json.JSONDecodeError) as problem:
        raise RecordError(
            f"the file is not a snapshot: {problem}",
            where=path.name,
            mend="write the trial up again",
            code="labbook.snapshot",
        ) from None
    if not isinstance(table, dict) or table.get("format") != SNAPSHOT:
        raise RecordError(
            "the file is not a snapshot of a lab book",
            where=path.name,
            allowed=SNAPSHOT,
            mend="give the file a write-up left",
            code="labbook.snapshot",
        )
    return table


def _study(name: str, entries: tuple[Entry, ...]) -> StudyView:
    dated = opening_entry(entries)
    body = dated.body
    return StudyView(
        name=name,
        question=body.get("question", ""),
        spec=tuple(spec_from_row(row) for row in body["spec"]),
        spec_dated=(dated.measured_at or dated.recorded_at)[:10],
        methods={row["name"]: Method.from_row(row) for row in body["methods"]},
        windows=tuple(AgeWindow.from_row(row) for row in body["windows"]),
        control=body.get("control", ""),
        history=tuple(body.get("history", ())),
        reference_product=body.get("reference_product", ""),
        note=body.get("note", ""),
        margins=stated_margins(entries),
    )


def _no_one_study(names: Sequence[str]) -> str:
    return "several studies are here; name one" if names else "there is no study yet"


def nearest_names(name: str, known: Sequence[str]) -> list[str]:
    """The names spelled most like `name`, or the first few where none is."""
    return difflib.get_close_matches(name, known, n=5, cutoff=0.4) or list(known[:5])
