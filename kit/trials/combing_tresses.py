"""Tresses out of readings: one reading a tress as a share, or strokes before and after; what cannot count, said."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kit.bench.methods import age_window
from kit.bench.readings import Reading
from kit.errors import KitError
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.science.combing import Tress, combed
from kit.science.statistics import mean_sd
from kit.show import Fielded
from kit.trials.flow_select import age_label
from kit.trials.judging import fold
from kit.units import plain, read

SHARE, BEFORE, AFTER = "wet-combing force", "combing force before", "combing force after"
_KINDS = (SHARE, BEFORE, AFTER)
_NEWTON = "N"


@dataclass(frozen=True, slots=True)
class LeftTress:
    """A reading, or a tress, that does not count.

    Parameters
    ----------
    batch, what, why : str
    """

    batch: str
    what: str
    why: str


@dataclass(frozen=True, slots=True, repr=False)
class CombedTresses(Fielded):
    """What the readings of some batches tell of tresses.

    Parameters
    ----------
    tresses : tuple of Tress
    batches : dict                      Treatment to batch: with the age where batches of several ages were combed.
    left_out : tuple of LeftTress
    not_comparable : str                Why the treatments must not be compared; empty where they may.
    caution : str                       What was taken for granted; empty where nothing was.
    """

    tresses: tuple[Tress, ...]
    batches: dict[str, str]
    left_out: tuple[LeftTress, ...]
    not_comparable: str = ""
    caution: str = ""


def tresses_of(source: Source, study: StudyView, batches: Sequence[BatchView], age: str = "") -> CombedTresses:
    """Every tress of some batches, strokes averaged, and what does not count.

    Parameters
    ----------
    source : Source
    study : StudyView
    batches : sequence of BatchView
    age : str                         Only of this age of the batch; every age when empty.

    Raises
    ------
    KitError   `age.unknown`.
    """
    wanted = age_window(age, study.windows).label if age else ""
    held, left = _read(source, study, batches)
    ages = {key: _age(readings, study) for key, readings in held.items()}
    shown = {key: readings for key, readings in held.items() if wanted in ("", ages[key])}
    labels = list(dict.fromkeys(ages[key] for key in shown))
    tresses, names = [], {}
    shared = _in_several_batches(shown)
    for (batch, tress), readings in shown.items():
        name = batch if len(labels) < 2 else f"{batch}, {ages[batch, tress] or 'no age'}"
        names[name] = batch
        strokes = {kind: [_value(item, kind) for item in readings if _kind(item) == kind] for kind in _KINDS}
        _take(name, f"{tress} ({batch})" if tress in shared else tress, strokes, tresses, left)
    every = [item for readings in shown.values() for item in readings]
    return CombedTresses(tuple(tresses), names, tuple(left), _why_not_comparable(labels, every), _caution(shared))


def _in_several_batches(held: Iterable[tuple[str, str]]) -> list[str]:
    """Names of tresses that stand in more than one batch."""
    counts = Counter(tress for _, tress in held)
    return [tress for tress, count in counts.items() if count > 1]


def _caution(shared: Sequence[str]) -> str:
    if not shared:
        return ""
    return (
        f"The names {', '.join(shared)} stand in several batches and are taken as different tresses. Hair that was "
        "treated twice is no longer its own control."
    )


def _read(
    source: Source, study: StudyView, batches: Sequence[BatchView]
) -> tuple[dict[tuple[str, str], list[Reading]], list[LeftTress]]:
    """Readings that count by batch and tress, and those that do not."""
    held: dict[tuple[str, str], list[Reading]] = {}
    left = []
    for batch in batches:
        for reading in batch.readings:
            kind = _kind(reading)
            why = _why_not(source, study, reading, kind) if kind and not reading.void else ""
            if why:
                left.append(LeftTress(batch.name, _said(reading), why))
            elif kind and not reading.void:
                held.setdefault((batch.name, reading.sample), []).append(reading)
    return held, left


def _age(readings: Sequence[Reading], study: StudyView) -> str:
    """Age of the batch when the tress was treated: that of the force after."""
    after = [reading for reading in readings if _kind(reading) != BEFORE]
    return age_label((after or readings)[0], study)


def _why_not_comparable(ages: Sequence[str], readings: Sequence[Reading]) -> str:
    if len(ages) > 1:
        return (
            f"the batches were of several ages ({', '.join(label or 'no age' for label in ages)}); name one with age="
        )
    for what in ("method", "instrument"):
        ways = sorted({getattr(reading, what) or "NOT RECORDED" for reading in readings})
        if len(ways) > 1:
            return f"they were not combed by one {what} ({', '.join(ways)})"
    kinds = {_kind(reading) == SHARE for reading in readings}
    return "some are recorded as shares, some as forces" if len(kinds) > 1 else ""


def _take(batch: str, name: str, strokes: dict[str, list[float]], tresses: list[Tress], left: list[LeftTress]) -> None:
    if strokes[SHARE] and (strokes[BEFORE] or strokes[AFTER]):
        left.append(LeftTress(batch, f"tress {name}", "recorded as a share and as forces: which one holds?"))
    elif strokes[SHARE]:
        tresses.append(Tress(name, batch, mean_sd(strokes[SHARE]).mean))
    else:
        try:
            tresses.append(combed(name, batch, strokes[BEFORE], strokes[AFTER]))
        except KitError as problem:
            left.append(LeftTress(batch, f"tress {name}", problem.what))


def _kind(reading: Reading) -> str:
    if reading.value is None:
        return ""
    return next((kind for kind in _KINDS if fold(reading.property) == fold(kind)), "")


def _why_not(source: Source, study: StudyView, reading: Reading, kind: str) -> str:
    flags = source.flags(reading, study)
    if flags:
        return f"FLAGGED: {' '.join(flag.words for flag in flags)}"
    if not reading.sample:
        return "the tress is NOT RECORDED (sample=): a stroke cannot be told from a tress"
    if _value(reading, kind) is None:
        return f"its unit {reading.unit or 'is missing'} is no {'share in %' if kind == SHARE else 'force'}"
    return "" if reading.value > 0 else "a force that is not above zero"


def _value(reading: Reading, kind: str) -> float | None:
    """In % or N; None where its unit is neither."""
    try:
        return float(read(f"{plain(reading.value)} {reading.unit}", "%" if kind == SHARE else _NEWTON))
    except KitError:
        return None


def _said(reading: Reading) -> str:
    sample = f", {reading.sample}" if reading.sample else ""
    return f"{reading.property} {plain(reading.value)} {reading.unit}{sample}"
