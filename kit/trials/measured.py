"""The numeric part of a comparison: every property by every method at every age, arm by arm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kit.bench.mean_uncertainty import Calibrations
from kit.bench.methods import AgeWindow
from kit.formula.model import SpecLine
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.trials.arms import Arm
from kit.trials.differences import Judged, against_control
from kit.trials.judging import STORAGE_CODES, fold, pair_verdict, scale_of
from kit.trials.margins import NO_MARGINS, Margins
from kit.trials.near_limit import near_limit_words
from kit.trials.results import (
    FLAG,
    NOT_COMPARABLE,
    NOT_TESTED,
    SHOWN,
    ArmResult,
    BatchValue,
    Difference,
    LeftOut,
    PropertyResult,
)
from kit.trials.scatter import History, pooled_scatter, repeats
from kit.trials.selection import Counted, Group, Key, Selection, by_the_clock
from kit.trials.values import batch_values, mean_and_sd
from kit.trials.verdicts import against_spec, brief, in_unit, names_property, same_line, spec_window
from kit.trials.wording import decimals


@dataclass(frozen=True)
class Measured:
    """All numeric results, and the readings that have a place at no age of the study."""

    results: tuple[PropertyResult, ...]
    placeless: tuple[LeftOut, ...]


def measure(
    source: Source,
    study: StudyView,
    arms: Sequence[Arm],
    windows: Sequence[AgeWindow],
    margins: Margins = NO_MARGINS,
) -> Measured:
    """Sort and average the readings of the arms, judge them by the spec and set them against the control, `arms[0]`.

    Parameters
    ----------
    margins : Margins   What is too small to matter, by property.
    """
    selection = Selection(source, study, arms, windows)
    history = History(source, study, windows)
    numeric = [line for line in study.spec if not line.allowed]
    results = []
    for key, lines in _keys(study, selection, numeric, windows).items():
        group = selection.groups.get(key) or Group(key, study.methods.get(key.method))
        group.refer_to(group.first(arms[0].label), windows)
        results.append(_result(group, arms, same_line(lines), selection, history, windows, margins))
    results += [_no_window(line, arms, windows) for line in numeric if _nowhere(line, results, windows)]
    order = list(dict.fromkeys([*(fold(line.property) for line in numeric), *selection.properties]))
    results.sort(
        key=lambda result: (
            order.index(fold(result.property)),
            result.method,
            result.window is None,
            result.window.age_h if result.window else 0,
        )
    )
    return Measured(tuple(results), tuple(selection.placeless))


def _keys(
    study: StudyView, selection: Selection, numeric: Sequence[SpecLine], windows: Sequence[AgeWindow]
) -> dict[Key, list[SpecLine]]:
    """Every key that was read or is asked for, with the spec lines on it."""
    keys: dict[Key, list[SpecLine]] = {key: [] for key in selection.groups}
    for line in numeric:
        window, method = spec_window(line, windows), _method_of(line, study, selection)
        asked = (
            [window]
            if window
            else [
                key.window
                for key in keys
                if not line.age and (key.property, key.method) == (fold(line.property), method)
            ]
        )
        for found in asked:
            keys.setdefault(Key(fold(line.property), method, found), []).append(line)
    return keys


def _method_of(line: SpecLine, study: StudyView, selection: Selection) -> str:
    """The method a spec line is judged by: its own, else the only one by which the property was read or can be."""
    if line.method:
        return line.method
    read = {key.method for key in selection.groups if key.property == fold(line.property)}
    known = read or {method.name for method in study.methods.values() if names_property(line, method.property)}
    return next(iter(known)) if len(known) == 1 else ""


def _nowhere(line: SpecLine, results: Sequence[PropertyResult], windows: Sequence[AgeWindow]) -> bool:
    """Whether a spec line has found no result: its age is no window of the study, or nothing was read."""
    if spec_window(line, windows) is not None:
        return False
    return bool(line.age) or not any(
        result.spec is not None and names_property(line, result.property) for result in results
    )


def _no_window(line: SpecLine, arms: Sequence[Arm], windows: Sequence[AgeWindow]) -> PropertyResult:
    ages = ", ".join(str(window) for window in windows)
    why = (
        f"{line.age} is no age of the study ({ages})"
        if line.age
        else f"no reading by {line.method or 'any method'} at an age of the study ({ages})"
    )
    empty = tuple(
        ArmResult(arm.label, (), 0, 0, None, None, NOT_TESTED, why, None, (), (), (), why, arm.is_control)
        for arm in arms
    )
    return PropertyResult(
        line.property, line.method, line.unit or "1", line.age, None, scale_of(line.property, None), line, empty
    )


def _result(
    group: Group,
    arms: Sequence[Arm],
    spec: SpecLine | None,
    selection: Selection,
    history: History,
    windows: Sequence[AgeWindow],
    margins: Margins,
) -> PropertyResult:
    key, method = group.key, group.method
    scale = scale_of(key.property, method)
    values = {arm.label: batch_values(group.counted.get(arm.label, ()), scale) for arm in arms}
    scatter = pooled_scatter(group, arms, values, history, scale)
    unit = method.unit if method and method.unit else _unit(group, spec)
    usable = in_unit(spec, unit) if spec else None
    earlier = repeats(group, history, scale)
    asked = (key.property, scale, key.window.age_h)
    judged = _judged(arms, values, earlier, scale=scale, unit=unit, margin=margins.of(*asked))
    made = _ArmMaker(group, arms, values, judged, usable, scale, unit, spec, windows, selection.calibration)
    name = selection.properties.get(key.property) or (spec.property if spec else key.property)
    return PropertyResult(
        name,
        key.method,
        unit,
        key.window.label,
        key.window,
        scale,
        usable,
        tuple(made.arm(arm) for arm in arms),
        group.reference,
        scatter,
        method.words() if method else "",
        judged.analysis,
        judged.multiplicity,
        judged.notes,
        margins.words(*asked) if judged.differences else "",
    )


def _judged(
    arms: Sequence[Arm],
    values: dict[str, tuple[BatchValue, ...]],
    history: dict[str, tuple[BatchValue, ...]],
    *,
    scale: str,
    unit: str,
    margin: float | None,
) -> Judged:
    """Every arm that has batch values against a control that has some."""
    control, others = arms[0], {arm.label: values[arm.label] for arm in arms[1:] if values[arm.label]}
    theirs = values[control.label]
    if not theirs or not others:
        return Judged({})
    return against_control(
        (control.label, theirs),
        others,
        history,
        scale=scale,
        unit=unit,
        places={
            label: decimals(reading for value in (*mine, *theirs) for reading in value.readings)
            for label, mine in others.items()
        },
        margin=margin,
        cautions={arm.label: _other_day(arm, control) for arm in arms[1:]},
    )


def _unit(group: Group, spec: SpecLine | None) -> str:
    read = [item.reading.unit for found in group.alone.values() for item in found] + [
        item.reading.unit for found in group.left.values() for item in found
    ]
    return next((unit for unit in read if unit), spec.unit if spec and spec.unit else "1")


@dataclass(frozen=True)
class _ArmMaker:
    """What the arms of one property at one age share."""

    group: Group
    arms: Sequence[Arm]
    values: dict[str, tuple[BatchValue, ...]]
    judged: Judged
    spec: SpecLine | None
    scale: str
    unit: str
    asked: SpecLine | None
    windows: Sequence[AgeWindow]
    calibration: Calibrations

    def arm(self, arm: Arm) -> ArmResult:
        counted = self.values[arm.label]
        left = self.group.left.get(arm.label, [])
        mean, sd = mean_and_sd([value.mean for value in counted], self.scale)
        verdict, why = self._verdict(arm)
        found, absent = self._difference(arm)
        by_state = (tuple(item for item in left if item.state == state) for state in (FLAG, SHOWN, NOT_COMPARABLE))
        return ArmResult(
            arm.label,
            counted,
            len(counted),
            sum(value.n_readings for value in counted),
            mean,
            sd,
            verdict,
            why,
            found,
            *by_state,
            difference_why=absent,
            is_control=arm.is_control,
        )

    def _verdict(self, arm: Arm) -> tuple[str, str]:
        """Against the spec. What is not comparable with the control's reading is judged by itself."""
        if self.spec is None and self.asked is not None:
            return NOT_TESTED, f"the limits are in {self.asked.unit}, the readings in {self.unit}"
        values, left = self.values[arm.label], self.group.left.get(arm.label, [])
        apart = [] if values else self._alike(arm.label)
        if apart:
            values, used = batch_values(apart, self.scale), {(item.batch.name, item.reading.entry) for item in apart}
            left = [item for item in left if (item.batch, item.reading.entry) not in used]
        verdict, why = against_spec(self.spec, values, left, asked=self._asked(), scale=self.scale, unit=self.unit)
        near = near_limit_words(values, self.spec, self.calibration, scale=self.scale, unit=self.unit)
        if apart and why:
            near.append("judged by itself, not comparable with the control's reading")
        return verdict, "; ".join([why, *near])

    def _alike(self, label: str) -> list[Counted]:
        """Readings of one arm that stand up to the method and are comparable with its first one, stored alike."""
        stored = {
            (item.batch, item.reading.entry)
            for item in self.group.left.get(label, [])
            if STORAGE_CODES & set(item.codes)
        }
        alone = [
            item for item in self.group.alone.get(label, []) if (item.batch.name, item.reading.entry) not in stored
        ]
        if not alone:
            return []
        first = min((item.reading for item in alone if item.batch is alone[0].batch), key=by_the_clock)
        return [item for item in alone if pair_verdict(item.reading, first, self.group.method, self.windows).comparable]

    def _asked(self) -> str:
        by = f"by {self.group.key.method} " if fold(self.group.key.method) not in ("", self.group.key.property) else ""
        return f"{by}in {self.group.key.window}"

    def _difference(self, arm: Arm) -> tuple[Difference | None, str]:
        control = self.arms[0]
        mine, theirs = self.values[arm.label], self.values[control.label]
        if arm is control:
            return None, "the control" if arm.is_control else "not tested: there is no control beside it"
        if not mine:
            return None, "not tested: " + self._why_nothing(arm.label)
        if not theirs:
            return None, f"not tested: the control has nothing to compare with ({self._why_nothing(control.label)})"
        return self.judged.differences[arm.label], ""

    def _why_nothing(self, label: str) -> str:
        left = self.group.left.get(label, [])
        return "; ".join(brief(item) for item in left) or f"no reading {self._asked()}"


def _other_day(arm: Arm, control: Arm) -> tuple[str, ...]:
    days = [day for day in arm.days if day not in control.days]
    if not days:
        return ()
    return (f"no control was made on {' or '.join(days)}: the day is not separated from the change",)
