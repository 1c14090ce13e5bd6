"""Against the spec, in words: PASS, FAIL, NOT TESTED or FLAGGED, always with the reason and n."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from kit.bench.methods import AgeWindow, age_window
from kit.errors import KitError, UnitError
from kit.formula.model import SpecLine
from kit.trials.judging import fold
from kit.trials.results import FAIL, FLAG, FLAGGED, NO_SPEC, NOT_TESTED, PASS, BatchValue, LeftOut
from kit.trials.values import mean_and_sd
from kit.trials.wording import counts, decimals, value_text
from kit.units import plain, read, same_unit

# a mean that lies on a limit but for binary rounding lies on it
_ROUNDING = 1e-9
_FEW = 3  # readings left out alike that are still named one by one


def spec_windows(spec: Sequence[SpecLine], windows: Sequence[AgeWindow]) -> tuple[AgeWindow, ...]:
    """The study's age windows, and those a spec line gives with a tolerance of its own ("14 d ± 12 h")."""
    asked = [_window_or_none(line.age, windows) for line in spec if line.age]
    return tuple(
        sorted(dict.fromkeys([*windows, *(window for window in asked if window)]), key=lambda window: window.age_h)
    )


def spec_window(line: SpecLine, windows: Sequence[AgeWindow]) -> AgeWindow | None:
    """The window a spec line is judged in; None where it names no age or one that no window holds."""
    return _window_or_none(line.age, windows) if line.age else None


def same_line(spec: Sequence[SpecLine]) -> SpecLine | None:
    """Several spec lines on one property, method and age as one: the narrowest limits, the words that all allow."""
    if len(spec) < 2:
        return spec[0] if spec else None
    lows = [line.low for line in spec if line.low is not None]
    highs = [line.high for line in spec if line.high is not None]
    words = [line.allowed for line in spec if line.allowed]
    allowed = tuple(word for word in words[0] if all(word in others for others in words)) if words else ()
    first = spec[0]
    return SpecLine(
        first.property, max(lows, default=None), min(highs, default=None), first.unit, allowed, first.method, first.age
    )


def in_unit(spec: SpecLine, unit: str) -> SpecLine | None:
    """The spec line with its limits in the unit of the readings; None where they cannot be converted."""
    if not spec.unit or same_unit(spec.unit, unit):
        return spec
    try:
        low, high = (
            None if limit is None else read(f"{plain(limit)} {spec.unit}", unit, where=f"spec of {spec.property}")
            for limit in (spec.low, spec.high)
        )
    except UnitError:
        return None
    return replace(spec, low=low, high=high, unit=unit)


def against_spec(
    spec: SpecLine | None, values: Sequence[BatchValue], left: Sequence[LeftOut], *, asked: str, scale: str, unit: str
) -> tuple[str, str]:
    """The verdict on one arm and its reason.

    Parameters
    ----------
    spec : SpecLine, None          The line it is judged by.
    values : sequence              Batch values that stand up to the method; what is not comparable with the control
                                   may still be judged.
    left : sequence of LeftOut     What does not.
    asked : str                    What should have been read, for the words: "by pH neat in 24 h ± 2 h".
    """
    if spec is None:
        return NO_SPEC, ""
    if not values:
        return _not_judged(left, asked)
    mean, _ = mean_and_sd([value.mean for value in values], scale)
    places = decimals(reading for value in values for reading in value.readings) + (
        sum(value.n_readings for value in values) > 1
    )
    side = outside(mean, spec)
    why = f"mean {value_text(mean, unit, scale, places)} {side or 'inside'} {spec.words()}, n = {counts(values)}"
    return (FAIL if side else PASS), why + _batches_outside(values, spec, side) + _left_words(left)


def outside(value: float, spec: SpecLine) -> str:
    """ "below" or "above" the limits, empty inside or on them."""
    if spec.low is not None and value < float(spec.low) - _slack(spec.low):
        return "below"
    if spec.high is not None and value > float(spec.high) + _slack(spec.high):
        return "above"
    return ""


def reason_of(item: LeftOut) -> str:
    """One left-out reading in a sentence: batch, value, state, code, why."""
    return f"{brief(item)}: {item.words}"


def brief(item: LeftOut) -> str:
    """One left-out reading in a few words: "LIN-05/1 40600 on disc 5 FLAGGED (reading.torque_high)"."""
    return f"{_value(item)} {item.state} ({item.code})"


def _value(item: LeftOut) -> str:
    value = item.reading.text if item.value is None else plain(item.reading.value)
    return f"{item.batch} {value}{f' on {item.reading.spindle}' if item.reading.spindle else ''}"


def _not_judged(left: Sequence[LeftOut], asked: str) -> tuple[str, str]:
    flagged = [item for item in left if item.state == FLAG]
    others = [item for item in left if item.state != FLAG]
    if flagged:
        shown = "; also shown: " + "; ".join(brief(item) for item in others) if others else ""
        return FLAGGED, "; ".join(f"{_value(item)} ({item.code}): {item.words}" for item in flagged) + shown
    if others:
        return NOT_TESTED, "; ".join(reason_of(item) for item in others)
    return NOT_TESTED, f"no reading {asked}"


def _batches_outside(values: Sequence[BatchValue], spec: SpecLine, side: str) -> str:
    odd = [
        f"{value.batch} alone is {outside(value.mean, spec) or 'inside'}"
        for value in values
        if outside(value.mean, spec) != side
    ]
    return f"; {', '.join(odd)}" if odd else ""


def _left_words(left: Sequence[LeftOut]) -> str:
    """What is not in the mean; many readings left out alike are counted, one by one they stand in their own table."""
    alike: dict[tuple[str, str, str, str], list[LeftOut]] = {}
    for item in left:
        alike.setdefault((item.batch, item.reading.spindle or "", item.state, item.code), []).append(item)
    told = []
    for (batch, spindle, state, code), items in alike.items():
        if len(items) > _FEW:
            told.append(f"{batch} {len(items)} readings{f' on {spindle}' if spindle else ''} {state} ({code})")
        else:
            told += [brief(item) for item in items]
    return f"; not in the mean: {'; '.join(told)}" if told else ""


def _slack(limit: Decimal) -> float:
    return _ROUNDING * abs(float(limit))


def _window_or_none(age: str, windows: Sequence[AgeWindow]) -> AgeWindow | None:
    try:
        return age_window(age, windows)
    except KitError:
        return None  # the verdict says that no window holds this age


def names_property(line: SpecLine, name: str) -> bool:
    """Whether a spec line is about this property."""
    return fold(line.property) == fold(name)
