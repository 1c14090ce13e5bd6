"""Coded observations (grain, colour, odour), arm by arm and age by age, against the spec."""

from __future__ import annotations

from collections.abc import Sequence

from kit.bench.methods import AgeWindow
from kit.bench.readings import Reading
from kit.formula.model import SpecLine
from kit.labbook.view import BatchView
from kit.trials.arms import Arm, day_made
from kit.trials.judging import age_of, fold, window_of, word_left_out
from kit.trials.results import (
    FAIL,
    FLAG,
    FLAGGED,
    NO_SPEC,
    NOT_TESTED,
    PASS,
    VOID,
    ArmWords,
    BatchWord,
    CodedResult,
    LeftOut,
)
from kit.trials.selection import coded_readings
from kit.trials.verdicts import names_property, same_line, spec_window
from kit.trials.wording import plural

Place = tuple[str, AgeWindow | None]


class Words:
    """The coded observations of some arms, sorted by property and age."""

    def __init__(self, arms: Sequence[Arm], windows: Sequence[AgeWindow]) -> None:
        self.arms = arms
        self.windows = windows
        self.names: dict[str, str] = {}
        self.found: dict[Place, dict[str, list[BatchWord]]] = {}
        self.flagged: dict[tuple[Place, str], list[LeftOut]] = {}
        self.left: list[LeftOut] = []
        for arm in arms:
            for batch in arm.batches:
                for reading in coded_readings(batch):
                    self._sort(arm, batch, reading)

    def _sort(self, arm: Arm, batch: BatchView, reading: Reading) -> None:
        name = fold(reading.property)
        self.names.setdefault(name, reading.property)
        out = word_left_out(reading, self.windows, finished=bool(batch.finished_at))
        if out is not None:
            self.left.append(out)
            if out.state == VOID:
                return
        age, window = age_of(reading), window_of(reading, self.windows)
        word = BatchWord(
            batch.name,
            reading.text,
            None if age is None else float(age),
            day_made(batch),
            out is None,
            out.words if out else "",
        )
        self.found.setdefault((name, window), {}).setdefault(arm.label, []).append(word)
        if out is not None and out.state == FLAG:
            self.flagged.setdefault(((name, window), arm.label), []).append(out)

    def results(self, spec: Sequence[SpecLine]) -> tuple[CodedResult, ...]:
        """Every coded property at every age where it was seen or is asked for, those of the spec first."""
        coded = [line for line in spec if line.allowed]
        places = dict.fromkeys(
            [*((fold(line.property), spec_window(line, self.windows)) for line in coded if line.age), *self.found]
        )
        names = dict.fromkeys([*(fold(line.property) for line in coded), *self.names])
        places |= dict.fromkeys(
            (fold(line.property), None)
            for line in coded
            if not any(place[0] == fold(line.property) for place in places)
        )
        ordered = sorted(
            places, key=lambda place: (list(names).index(place[0]), place[1] is None, place[1].age_h if place[1] else 0)
        )
        return tuple(self._result(place, coded) for place in ordered)

    def _result(self, place: Place, coded: Sequence[SpecLine]) -> CodedResult:
        name, window = place
        mine = [line for line in coded if names_property(line, name)]
        line = same_line([line for line in mine if not line.age or spec_window(line, self.windows) == window])
        title = mine[0].property if mine else self.names[name]
        age = window.label if window else (line.age if line else "")
        arms = tuple(self._arm(place, arm, line, str(window or age or "any age of the study")) for arm in self.arms)
        return CodedResult(title, age, window, line, arms)

    def _arm(self, place: Place, arm: Arm, line: SpecLine | None, age: str) -> ArmWords:
        words = tuple(self.found.get(place, {}).get(arm.label, ()))
        verdict, why = _verdict(line, words, self.flagged.get((place, arm.label), []), age)
        return ArmWords(arm.label, words, verdict, why)


def _verdict(
    line: SpecLine | None, words: Sequence[BatchWord], flagged: Sequence[LeftOut], age: str
) -> tuple[str, str]:
    if line is None:
        return NO_SPEC, ""
    counted = [word for word in words if word.counts]
    if not counted:
        if flagged:
            return FLAGGED, "; ".join(f"{item.batch} ({item.code}): {item.words}" for item in flagged)
        shown = "; ".join(f"{word.batch} {word.word}: {word.why_not}" for word in words)
        return NOT_TESTED, shown or f"no observation in {age}"
    allowed = {fold(word) for word in line.allowed}
    wrong = [word for word in counted if fold(word.word) not in allowed]
    n = plural(len({word.batch for word in counted}), "batch", "batches")
    if wrong:
        return FAIL, f"{'; '.join(f'{word.batch} {word.word}' for word in wrong)}, asked for {line.words()}; n = {n}"
    return PASS, f"{line.words()}, n = {n}"
