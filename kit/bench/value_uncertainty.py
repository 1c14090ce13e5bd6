"""How well is one value known, from what was recorded with it?

For its limits and across instruments, never between batches on one instrument: their scatter already holds it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.bench.calibration import Calibration
from kit.bench.methods import AgeWindow, age_window
from kit.bench.readings import Reading, implied_constant, viscosity_mpa_s
from kit.errors import KitError, UnitError
from kit.formula.model import SpecLine
from kit.science.measurement_uncertainty import Budget, budget
from kit.science.number_text import short
from kit.science.uncertainty_inputs import UncertainInput, rectangular
from kit.science.uncertainty_use import CANNOT_TELL, InstrumentDifference, InstrumentValue, against_limits
from kit.science.uncertainty_use import between_instruments as science_between
from kit.show import Worded
from kit.units import plain, read, same_unit

_K = 2.0
_VISCOSITY, _PH = "viscosity", "ph"


@dataclass(frozen=True, slots=True, repr=False)
class ValueUncertainty(Worded):
    """The uncertainty of one reading, in its own unit.

    Parameters
    ----------
    reading : Reading            The reading.
    standard : float             Standard uncertainty. [unit of the reading]
    rests_on : tuple of str      What it was worked out from; what is not named is not in it.
    """

    reading: Reading
    standard: float
    rests_on: tuple[str, ...]

    @property
    def words(self) -> str:
        """Value and expanded uncertainty with what they rest on."""
        unit = "" if self.reading.unit in ("", "1") else f" {self.reading.unit}"
        expanded = short(_K * self.standard, 2)
        return f"{plain(self.reading.value)} ± {expanded}{unit} (k = 2; from {', '.join(self.rests_on)})"


def uncertainty_of(reading: Reading, calibration: Calibration | None = None) -> ValueUncertainty | None:
    """The uncertainty of a viscosity from its torque, or of a pH from its calibration; None where nothing tells it.

    Parameters
    ----------
    reading : Reading           Not voided.
    calibration : Calibration   The one the reading names.

    Notes
    -----
    Viscosity: the spring is good to 1 % of full scale, so 1 % of the value at full torque and 10 % at a tenth. pH: the
    buffer of three that fits the line worst, and how far a buffer was off when it was read again after the run; two
    buffers without a closing check tell nothing.
    """
    if reading.value is None or reading.void:
        return None
    named = " ".join(reading.property.lower().split())
    if named == _VISCOSITY:
        return _of_viscosity(reading)
    return _of_ph(reading, calibration) if named == _PH and calibration is not None else None


def _of_viscosity(reading: Reading) -> ValueUncertainty | None:
    constant = implied_constant(reading)
    if constant is None or constant <= 0 or reading.torque_pct <= 0 or reading.rpm <= 0:
        return None
    from kit.science.viscosity_uncertainty import viscosity_budget

    found = viscosity_budget(float(constant), float(reading.torque_pct), float(reading.rpm))
    own_units = float(reading.value / viscosity_mpa_s(reading))
    rests = f"the full-scale error of the spring at {plain(reading.torque_pct)} % torque"
    return ValueUncertainty(reading, found.standard_uncertainty * own_units, (rests,))


def _of_ph(reading: Reading, calibration: Calibration) -> ValueUncertainty | None:
    inputs, rests = [], []
    if calibration.electrode is not None and len(calibration.buffers) >= 3:
        worst = calibration.electrode.largest_residual_ph
        inputs.append(("line", worst))
        rests.append(f"the buffer that fits worst ({worst:.3f})")
    off = max((abs(check.off) for check in calibration.standing_closings), default=None)
    if off is not None:
        inputs.append(("drift", float(off)))
        rests.append(f"the closing check ({plain(off)})")
    if not inputs:
        return None
    display = float(Decimal(1).scaleb(reading.value.as_tuple().exponent)) / 2
    found = _sum_of([*inputs, ("display", display)], float(reading.value))
    return ValueUncertainty(reading, found.standard_uncertainty, (*rests, "the last digit"))


def _sum_of(half_widths: Sequence[tuple[str, float]], value: float) -> Budget:
    """A value whose errors add up, each within a half width."""
    inputs: list[UncertainInput] = [rectangular(name, 0.0, half) for name, half in half_widths if half > 0]
    return budget(lambda at: value + sum(at[one.name] for one in inputs), inputs)


def edge_words(known: ValueUncertainty, spec: SpecLine) -> str:
    """What to say where a value lies so near a limit that its own uncertainty reaches across; empty where it does not.

    Parameters
    ----------
    known : ValueUncertainty   Of one reading.
    spec : SpecLine            Numeric limits of its property.

    Raises
    ------
    UnitError   Where the units of reading and spec do not fit.
    """
    low, high = _limits(spec, known.reading)
    if low is None and high is None:
        return ""
    value = float(known.reading.value)
    found = against_limits(value, known.standard, low=low, high=high, k=_K)
    if found.state != CANNOT_TELL:
        return ""
    inside = (low is None or value >= low) and (high is None or value <= high)
    where = f"inside {spec.words()}, but" if inside else f"outside {spec.words()}, but"
    return (
        f"{known.words}: {where} the value's own uncertainty reaches over the edge; inside with a probability of "
        f"{100 * found.probability:.0f} %."
    )


def _limits(spec: SpecLine, reading: Reading) -> tuple[float | None, float | None]:
    """The limits in the unit of the reading."""
    found = []
    for end in (spec.low, spec.high):
        same = end is None or not spec.unit or not reading.unit or same_unit(spec.unit, reading.unit)
        value = end if same else read(f"{plain(end)} {spec.unit}", reading.unit, where=reading.title)
        found.append(None if value is None else float(value))
    return found[0], found[1]


def edge_notes(
    reading: Reading,
    spec: Sequence[SpecLine],
    calibration: Calibration | None = None,
    windows: Sequence[AgeWindow] | None = None,
) -> list[str]:
    """What to say of a reading near an edge of the spec it is judged by: same property, method and age.

    Parameters
    ----------
    reading : Reading           Without a flag: what is flagged is read again first.
    spec : sequence             Spec lines of the study.
    calibration : Calibration   The one the reading names.
    windows : sequence          Age windows; the kit's when omitted.
    """
    known = uncertainty_of(reading, calibration)
    if known is None:
        return []
    return [words for line in spec if _judges(line, reading, windows) and (words := _words_or_none(known, line))]


def _words_or_none(known: ValueUncertainty, line: SpecLine) -> str:
    try:
        return edge_words(known, line)
    except UnitError:  # limits in a unit of another kind judge nothing; the comparison says so
        return ""


def _judges(line: SpecLine, reading: Reading, windows: Sequence[AgeWindow] | None) -> bool:
    if line.property.lower() != reading.property.lower() or (line.method and line.method != reading.method):
        return False
    age_h = reading.age_h if reading.age_h is not None else reading.age_typed_h
    if not line.age:
        return True
    try:
        return age_h is not None and age_window(line.age, windows).contains(age_h)
    except KitError:  # an age that no window holds judges nothing; the comparison says so
        return False


def between_instruments(first: ValueUncertainty, second: ValueUncertainty) -> InstrumentDifference:
    """One batch read on two instruments: whether they agree within both budgets.

    Parameters
    ----------
    first, second : ValueUncertainty   Readings of one batch and property, in one unit, on two instruments.

    Raises
    ------
    KitError   `uncertainty.other_sample` for another batch, property or unit, `uncertainty.same_instrument`.
    """
    one, other = first.reading, second.reading
    if (one.batch, one.property.lower(), one.unit) != (other.batch, other.property.lower(), other.unit):
        raise KitError(
            f"{one.title} and {other.title} are not one sample in one unit",
            where="difference from uncertainty budgets",
            allowed="one batch read on two instruments",
            mend="compare batches by the scatter between batches",
            code="uncertainty.other_sample",
        )
    values = [
        InstrumentValue(float(known.reading.value), known.standard, known.reading.instrument)
        for known in (first, second)
    ]
    return science_between(*values)
