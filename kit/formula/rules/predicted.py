"""The pH that a composition is predicted to have against the pH its spec asks for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from kit.formula.aqueous import LEAST_WATER_PCT
from kit.formula.charge import acid_groups, shares_of
from kit.formula.composition import Composition, Share
from kit.formula.model import SpecLine
from kit.formula.molar import molar_mass
from kit.formula.ph_estimate import PhEstimate, WaterContent, ph_estimate
from kit.formula.ph_spec import ph_lines
from kit.formula.predict import BEFORE_TITRATION, HARDLY_BUFFERED
from kit.formula.rules import limits
from kit.formula.rules.amine import ACID_PER_AMINE
from kit.formula.rules.findings import Finding, digits, names
from kit.formula.rules.judged import Judged, Number
from kit.science.mean_charge import mean_charge

_WATER = Number((WaterContent(),))
_SODIUM_HYDROXIDE_G_PER_MEQ = Decimal("0.0400")
_MOST_NAMED = 4


class Predicted:
    """The predicted pH of one composition, worked out as far as it is asked for."""

    def __init__(self, composition: Composition, estimate: PhEstimate) -> None:
        self.composition, self.estimate = composition, estimate
        self._amounts = [part(composition) for part in estimate.parts]
        self.value = estimate.value(*self._amounts)

    @property
    def band(self) -> tuple[float, float]:
        """Low and high end: nine readings in ten lie between. [-]"""
        return self.estimate.low(*self._amounts), self.estimate.high(*self._amounts)

    def acid_needed(self, ph: float) -> float | None:
        """Acid that brings it to a pH, base when negative; None when it is not found. [meq/100 g]"""
        return self.estimate.acid_needed(ph, *self._amounts)

    def words(self) -> str:
        """ "4.53 (about 4.35 to 4.76; before any titration it may miss by 0.6)" """
        low, high = self.band
        wide = max(high - self.value, self.value - low) > limits.PREDICTED_PH_MISS
        miss = HARDLY_BUFFERED if wide else BEFORE_TITRATION
        return f"{self.value:.2f} (about {low:.2f} to {high:.2f}; {miss})"


def predicted(composition: Composition) -> Predicted | None:
    """The predicted pH; None where an acid, base or amine has no known chemistry, or at an amine's equivalence.

    Parameters
    ----------
    composition : Composition   Meant, made or proposed.
    """
    estimate = ph_estimate(composition)
    if estimate is None or WaterContent()(composition) < LEAST_WATER_PCT or _near_equivalence(composition):
        return None
    return Predicted(composition, estimate)


def predictable_judged(composition: Composition) -> Iterable[Judged]:
    """What decides whether a pH is predicted: the water, and the acid an amine finds."""
    yield Judged(_WATER, (LEAST_WATER_PCT,))
    if shares_of(composition, "amine surfactant") and ACID_PER_AMINE.of(composition) is not None:
        yield Judged(ACID_PER_AMINE, (limits.AMINE_SHORT, limits.AMINE_ENOUGH))


def value_number(estimate: PhEstimate) -> Number:
    """The predicted pH as a number to judge.

    Parameters
    ----------
    estimate : PhEstimate   Of compositions of the same parts.
    """
    return Number(estimate.parts, estimate.value)


def outside(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Finding]:
    """The predicted pH lies outside the spec: with its whole band, or with its middle only."""
    lines = ph_lines(spec)
    found = predicted(composition) if lines else None
    for line in lines if found is not None else ():
        if line.high is not None and found.value > line.high:
            yield _finding(found, line, line.high, whole=found.band[0] > line.high)
        elif line.low is not None and found.value < line.low:
            yield _finding(found, line, line.low, whole=found.band[1] < line.low)


def outside_judged(composition: Composition, spec: Sequence[SpecLine]) -> Iterable[Judged]:
    """The predicted pH and the ends of its band, each against the end of the spec that it may pass."""
    lines = ph_lines(spec)
    estimate = ph_estimate(composition) if lines else None
    if estimate is None:
        return
    yield from predictable_judged(composition)
    highs = tuple(line.high for line in lines if line.high is not None)
    lows = tuple(line.low for line in lines if line.low is not None)
    yield Judged(value_number(estimate), (*lows, *highs))
    yield Judged(Number(estimate.parts, estimate.low), highs)
    yield Judged(Number(estimate.parts, estimate.high), lows)


def _near_equivalence(composition: Composition) -> bool:
    if not shares_of(composition, "amine surfactant"):
        return False
    found = ACID_PER_AMINE.of(composition)
    return found is None or limits.AMINE_SHORT <= found <= limits.AMINE_ENOUGH


def _finding(found: Predicted, line: SpecLine, limit: Decimal, *, whole: bool) -> Finding:
    above = found.value > limit
    side = "above" if above else "below"
    where = f"all of that {side} it" if whole else f"{side} it, though the band reaches into it"
    words = (
        f"The spec asks for pH {line.words()}; predicted is {found.words()}, {where}."
        f"{_dose(found, line)} Titrate a sample of the base before the batch is made.{_limits_of_it(found)}"
    )
    severity, code = ("caution", "ph.predicted_outside") if whole else ("note", "ph.predicted_edge")
    return Finding(severity, code, words, (), Decimal(f"{found.value:.4f}"), limit, "arithmetic")


def _dose(found: Predicted, line: SpecLine) -> str:
    """What would bring it to the middle of the spec; empty when that is not found."""
    ends = [end for end in (line.low, line.high) if end is not None]
    target = float(sum(ends) / len(ends))
    need = found.acid_needed(target)
    if need is None:
        return ""
    acid = _own_acid(found.composition)
    per_meq = None if acid is None else _grams_per_meq(acid, target)
    grams = None if per_meq is None else abs(Decimal(need)) * per_meq
    if need > 0:
        how = f"acid, {need:.2f} meq/100 g" if grams is None else f"about {_pure(grams, acid)}"
        return f" For pH {target:.2f} add {how}."
    if grams is not None and acid.pct > grams:
        return f" For pH {target:.2f} take out about {_pure(grams, acid)}."
    lye = digits(-Decimal(need) * _SODIUM_HYDROXIDE_G_PER_MEQ, places=3)
    return f" For pH {target:.2f} add base, such as {lye} % of sodium hydroxide, or take less acid."


def _pure(grams: Decimal, acid: Share) -> str:
    return f"{digits(grams, places=3 if grams < Decimal('0.1') else 2)} % of {acid.substance.inci}, counted pure"


def _own_acid(composition: Composition) -> Share | None:
    """The acid there is most of."""
    acids = [share for share in shares_of(composition, "acid") if share.substance.pka and acid_groups(share.substance)]
    return next((share for share in acids if molar_mass(share.substance) is not None), None)


def _grams_per_meq(acid: Share, ph: float) -> Decimal | None:
    """Grams of an acid that give up one milliequivalent at a pH."""
    constants = [fact.value for fact in acid.substance.pka]
    if None in constants:
        return None
    given = -mean_charge(ph, tuple(map(float, constants)))
    return molar_mass(acid.substance) / 1000 / Decimal(f"{given:.6g}")


def _limits_of_it(found: Predicted) -> str:
    """What is not in the model, and what rests on memory."""
    keys = found.estimate.others
    left_out = [item.name for item in found.composition.materials() if item.key in keys]
    told = f" Not in the model: {names(left_out, _MOST_NAMED)}." if left_out else ""
    memory = found.estimate.memory
    return f"{told} From memory: {names(memory, _MOST_NAMED)}." if memory else told
