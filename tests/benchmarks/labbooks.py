"""Lab books of any size for the benchmarks, laid down by the store's own bulk append: valid entries, whole chains.

What a trial holds depends on its number alone, so that a trial is the same, hash for hash, in a lab book of 12 trials
and in one of 20,000. Each trial is one batch of a formula version: all lines weighed, finished, and `READINGS` readings
at four ages. Readings are laid down age by age over all trials, as they come at a bench: those of one batch lie far
apart in the file.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path

import kit
from kit.bench.methods import AgeWindow, default_windows
from kit.formula.formula import Formula
from kit.formula.model import formula_row
from kit.labbook.book import Labbook
from kit.labbook.bulk import collector_paused
from kit.labbook.entry_bodies import reading_body
from kit.labbook.projecting import rows_of
from kit.labbook.streams import Draft
from kit.labbook.study_view import StudyView
from kit.labbook.view import batch_stream, formula_stream

STUDY = "BEN"
TRIALS, EACH = 20_000, 20
COMPARED = tuple(range(1, TRIALS, TRIALS // 12))[:12]
"""Numbers of the trials that are compared, spread over the lab book; the first is the control."""

_VERSIONS = 1_000  # formula versions that the other trials share: none is a version of a compared trial
_CHUNK = 500  # trials laid down in one transaction
_ZONE = timezone(timedelta(hours=1))
_FIRST_DAY = datetime(2026, 1, 5, 9, 0, tzinfo=_ZONE)
_LAST_DAY = datetime(2026, 9, 1, 9, 0, tzinfo=_ZONE)


def clock() -> datetime:
    """A bench clock that stands still after the last reading: entries made by it have the same hash in every run."""
    return _LAST_DAY


def trial_name(number: int) -> str:
    """Name of a trial by its number."""
    return f"{STUDY}-{number:05}"


def build(path: str | Path, formula_file: str | Path, numbers: Sequence[int], *, readings: bool = True) -> None:
    """Make a lab book of the trials of these numbers, each with `EACH` readings unless none are wanted."""
    formula = kit.load_formula(formula_file)
    with collector_paused(), kit.new_labbook(path, clock=clock) as book:
        _open_study(book, formula)
        making = _Making(book, formula)
        for chunk in _chunks(numbers):
            book.store.append_many([draft for number in chunk for draft in making.drafts(number)])
        for window in default_windows() if readings else ():
            read = _Reading(book.study(STUDY), window)
            for chunk in _chunks(numbers):
                book.store.append_many([draft for number in chunk for draft in read.drafts(number)])


def _chunks(numbers: Sequence[int]) -> Iterator[Sequence[int]]:
    return (numbers[begin : begin + _CHUNK] for begin in range(0, len(numbers), _CHUNK))


def _open_study(book: Labbook, formula: Formula) -> None:
    book.new_study(STUDY, question="How long does it take?", spec=formula.spec, control=trial_name(COMPARED[0]))
    book.add_instrument("PH-1", kind="pH meter")
    book.add_instrument("VIS-1", kind="viscometer", constants={"disc 5": 4000})
    at = (_FIRST_DAY - timedelta(hours=1)).isoformat()
    book.calibrate("PH-1", "CAL-1", slope_pct="98", offset_mv="3", buffers=["4.01", "7.00"], temp="25 degC", at=at)


def _day(number: int) -> datetime:
    return _FIRST_DAY + timedelta(days=number % 200)


@dataclass(frozen=True)
class _Version:
    """A formula version as entries need it."""

    fingerprint: str
    row: dict
    sheet: dict
    masses: tuple[tuple[str, str, str], ...]


class _Making:
    """Entries of the making of trials; a formula version is worked out once."""

    def __init__(self, book: Labbook, formula: Formula) -> None:
        self._book = book
        self._formula = formula
        self._versions: dict[int, _Version] = {}

    def drafts(self, number: int) -> Iterator[Draft]:
        """Everything from the opening of the trial to the end of its making."""
        name, at = trial_name(number), _day(number).isoformat()
        which = COMPARED.index(number) if number in COMPARED else len(COMPARED) + number % _VERSIONS
        if which not in self._versions:
            self._versions[which] = self._version(which)
            row = self._versions[which].row
            yield from self._book._opening(formula_stream(row["fingerprint"]), "formula", row)
        version = self._versions[which]
        told = {"study": STUDY, "trial": name, "formula": version.fingerprint, "why": "", "note": ""}
        yield from self._book._opening(f"trial/{name}", "trial", told)
        started = {**told, "number": 1, "sheet": version.sheet, "operator": "bench 1", "at": ""}
        stream = batch_stream(f"{name}/1")
        yield from self._book._opening(stream, "batch", started, kind="start", measured_at=at)
        for material, phase, mass_g in version.masses:
            yield _draft(stream, "weigh", _weighed(material, phase, mass_g), at)
        yield _draft(stream, "finish", {"at": "", "note": ""}, at)

    def _version(self, which: int) -> _Version:
        changed = self._formula.change(
            {"cetearyl-alcohol": f"{4 + which / 1000:.3f} %"}, absorb="water", why="to be timed", version=f"v{which}"
        )
        sheet = kit.plan_batch(changed, "400 g")
        masses = tuple((line.material.key, line.phase, str(line.target_g)) for line in sheet.lines)
        return _Version(changed.fingerprint, formula_row(changed), sheet.row(), masses)


def _weighed(material: str, phase: str, mass_g: str) -> dict[str, str]:
    return {
        "material": material, "phase": phase, "mass_g": mass_g, "lot": "L-1", "balance": "", "portion": "",
        "note": "", "at": "",
    }  # fmt: skip


class _Reading:
    """Entries of the readings at one age: two of pH, three of viscosity."""

    def __init__(self, study: StudyView, window: AgeWindow) -> None:
        self._study = study
        self._age = timedelta(hours=float(window.age_h))
        self._bodies: dict[tuple[str, int, str], dict] = {}

    def drafts(self, number: int) -> Iterator[Draft]:
        """The readings of one batch."""
        at, stream = (_day(number) + self._age).isoformat(), batch_stream(f"{trial_name(number)}/1")
        for place in range(EACH // 4):
            name = "pH" if place < 2 else "viscosity"
            key = (name, (number * 7 + place) % 40, str(place + 1))
            if key not in self._bodies:
                self._bodies[key] = self._body(*key)
            yield _draft(stream, "reading", {**self._bodies[key], "at": at}, at)

    def _body(self, name: str, step: int, replicate: str) -> dict[str, str]:
        conditions = {"temp": "25 degC", "replicate": replicate}
        if name == "pH":
            value, method = f"{4.4 + step / 100:.2f}", "pH neat"
            conditions |= {"instrument": "PH-1", "calibration": "CAL-1"}
        else:
            value, method = f"{18000 + step * 40} mPa.s", "viscosity"  # 4000 x torque / 10 rpm
            conditions |= {"instrument": "VIS-1", "spindle": "disc 5", "rpm": "10", "reading_time": "60 s"}
            conditions |= {"torque_pct": f"{45 + step / 10:.1f}", "container": "100 mL jar"}
        return reading_body(name, value, method=method, age="", conditions=conditions, study=self._study)


def _draft(stream: str, kind: str, body: dict, at: str) -> Draft:
    return Draft(stream, kind, body, stream_kind="batch", measured_at=at, project=rows_of(kind, body, at))


def numbers(wanted: str) -> Sequence[int]:
    """ "compared", the 12 that are compared; "all"; or the first so many."""
    return COMPARED if wanted == "compared" else range(1, (TRIALS if wanted == "all" else int(wanted)) + 1)
