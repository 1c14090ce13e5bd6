"""An arm against the control as a comparison keeps it: numbers off the scale of the calculation, all in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.trials.results import (
    CANNOT_TELL,
    DIFFERS,
    EQUIVALENT,
    LN,
    NOT_SHOWN,
    UNTESTED,
    BatchValue,
    Difference,
)
from kit.trials.wording import counts, signed, significant

if TYPE_CHECKING:
    from kit.science.arm_verdict import ArmVerdict, ArmVerdicts

CONFIDENCE = 0.95

POOLED, WELCH, SINGLE = "pooled batch scatter", "Welch", "single batch"
SAME_DAY, MIXED, PAIRS = "control of the same day", "days and batches at random", "pairs of each day"

_BY = {"pooled": POOLED, "welch": WELCH, "same-day": SAME_DAY, "mixed": MIXED, "none": SINGLE}
_VERDICTS = {
    "real": DIFFERS,
    "not_shown": NOT_SHOWN,
    "equivalent": EQUIVALENT,
    "cannot_tell": CANNOT_TELL,
}


def size_text(value: float, *, scale: str, unit: str, places: int) -> str:
    """A ratio to three significant digits, or a difference with its sign and unit."""
    if scale == LN:
        return significant(value, 3) if value < 1000 else f"{value:.0e}"
    number = signed(f"{value:.{places + 1}f}")
    return number if unit in ("", "1") else f"{number} {unit}"


@dataclass(frozen=True)
class DifferenceWords:
    """What the differences of one property share."""

    found: ArmVerdicts
    margin: float | None
    scale: str
    unit: str

    def difference(
        self,
        verdict: ArmVerdict,
        arm: Sequence[BatchValue],
        control: Sequence[BatchValue],
        *,
        places: int,
        cautions: Sequence[str],
    ) -> Difference:
        """One arm's verdict as the comparison keeps it."""
        named = _VERDICTS.get(verdict.verdict, UNTESTED)
        by = PAIRS if verdict.by_pairs else _BY[self.found.analysis]
        cautions = (*self._cautions(verdict), *cautions)
        sides = f"{counts(arm)} against {counts(control)}"
        return Difference(
            verdict.kind,
            verdict.value,
            verdict.low,
            verdict.high,
            verdict.half_width,
            CONFIDENCE,
            verdict.df,
            verdict.standard_error,
            by,
            len(arm),
            len(control),
            named,
            "; ".join([self._sentence(verdict, named, by, sides, places), *cautions]),
            cautions,
            self._short(verdict, named, by, places),
            detectable=verdict.detectable,
            p_adjusted=verdict.p_adjusted,
            low_alone=verdict.low_alone,
            high_alone=verdict.high_alone,
            margin=self.margin,
            code=verdict.verdict,
            same_low=self._against_margin(verdict, "low"),
            same_high=self._against_margin(verdict, "high"),
            brief=self._brief(verdict, named, by, places, cautions),
            same_low_together=self._against_margin(verdict, "low_together"),
            same_high_together=self._against_margin(verdict, "high_together"),
        )

    def _brief(self, verdict: ArmVerdict, named: str, by: str, places: int, cautions: Sequence[str]) -> str:
        found = verdict.detectable
        reach = [] if found is None else [f"found four times in five: {self._reach(found, places)}"]
        weak = [caution.partition(" (")[0] for caution in cautions]
        return "\n".join([self._short(verdict, named, by, places), *reach, *weak])

    def _against_margin(self, verdict: ArmVerdict, end: str) -> float | None:
        if verdict.equivalence is None:
            return None
        found = getattr(verdict.equivalence, end)
        return math.exp(found) if self.scale == LN and found is not None else found

    def _sentence(self, verdict: ArmVerdict, named: str, by: str, sides: str, places: int) -> str:
        gap = f"{verdict.kind} {self._size(verdict.value, places)}"
        if verdict.low is None:
            why = f"{SINGLE}, {verdict.reason}" if self._single(verdict) else verdict.reason
            return f"{named} ({why}): {gap}; {sides}"
        df = significant(verdict.df, 3) if verdict.df % 1 else f"{verdict.df:.0f}"
        reach = (
            f"half-width {self._reach(verdict.half_width, places)}, "
            f"found four times in five: {self._reach(verdict.detectable, places)}"
        )
        within = f"{named}{self._margin_words(verdict, places)} ({reach})"
        several = len(self.found.verdicts)
        together = f", for all {several} versions together" if several > 1 else ""
        interval = (
            f"(95 %{together}: {self._size(verdict.low, places)} to {self._size(verdict.high, places)}"
            f"{self._alone(verdict, places)})"
        )
        return f"{within}: {gap} {interval}; {sides}; {by}, {df} df"

    def _alone(self, verdict: ArmVerdict, places: int) -> str:
        if len(self.found.verdicts) < 2 or verdict.low_alone is None:
            return ""
        return f"; by itself {self._size(verdict.low_alone, places)} to {self._size(verdict.high_alone, places)}"

    def _margin_words(self, verdict: ArmVerdict, places: int) -> str:
        if self.margin is None:
            return ""
        size = self._reach(self.margin, places)
        if verdict.verdict == "equivalent":
            none = 1.0 if self.scale == LN else 0.0
            real = not verdict.low <= none <= verdict.high
            low, high = (self._size(self._against_margin(verdict, end), places) for end in ("low", "high"))
            inside = f", {size}: the 90 % interval, {low} to {high}, lies inside it{self._with_all(verdict, places)}"
            return f"{inside}; a real difference but too small to matter" if real else inside
        if verdict.verdict == "cannot_tell" and verdict.detectable > self.margin:
            return f": the margin, {size}, would be found too seldom"
        return "" if verdict.verdict == "real" else f", nor to be the same within the margin, {size}"

    def _with_all(self, verdict: ArmVerdict, places: int) -> str:
        """Whether "the same" also holds with all versions in view; empty for one version."""
        shown = verdict.equivalence.shown_together
        if shown is None:
            return ""
        low, high = (self._size(self._against_margin(verdict, f"{end}_together"), places) for end in ("low", "high"))
        says = "too" if shown else "does not"
        return f" by itself; with all {len(self.found.verdicts)} versions in view {low} to {high} {says}"

    def _cautions(self, verdict: ArmVerdict) -> tuple[str, ...]:
        from kit.science.arm_verdict import NO_SHARED_DAY, TWO_AGAINST_TWO
        from kit.science.scatter_known import POORLY_KNOWN

        told = []
        if POORLY_KNOWN in verdict.cautions:
            told.append(f"{POORLY_KNOWN} ({verdict.df:.2g} df{self._scatter_range(verdict)})")
        if TWO_AGAINST_TWO in verdict.cautions:
            told.append(f"Welch at two against two is conservative ({TWO_AGAINST_TWO.partition(' holds ')[2]})")
        known = (POORLY_KNOWN, TWO_AGAINST_TWO, NO_SHARED_DAY)
        return (*told, *(caution for caution in verdict.cautions if caution not in known))

    def _scatter_range(self, verdict: ArmVerdict) -> str:
        """The scatter of batches with its interval for the degrees of freedom that are named beside it."""
        from kit.science.scatter_known import sd_interval

        if not self.found.sd or verdict.by_pairs:  # the scatter of all batches is not what pairs rest on
            return ""
        known = sd_interval(self.found.sd, verdict.df)
        if self.scale == LN:
            low, middle, high = (significant(100 * value, 2) for value in (known.low, known.sd, known.high))
            return f": {middle} % of the value, 95 % between {low} and {high} %"
        unit = "" if self.unit in ("", "1") else f" {self.unit}"
        low, middle, high = (significant(value, 2) for value in (known.low, known.sd, known.high))
        return f": {middle}{unit}, 95 % between {low} and {high}{unit}"

    def _short(self, verdict: ArmVerdict, named: str, by: str, places: int) -> str:
        gap = f"{verdict.kind} {self._size(verdict.value, places)}"
        if verdict.low is None:
            return f"{gap}\n{SINGLE if self._single(verdict) else 'no interval'}\n{named}"
        alone = "\nby itself, not with all in view" if _only_alone(verdict) else ""
        return f"{gap} ({self._size(verdict.low, places)} to {self._size(verdict.high, places)})\n{named}{alone}"

    @staticmethod
    def _single(verdict: ArmVerdict) -> bool:
        from kit.science.arm_analysis import NOTHING_REPEATED

        return verdict.reason == NOTHING_REPEATED

    def _size(self, value: float, places: int) -> str:
        return size_text(value, scale=self.scale, unit=self.unit, places=places)

    def _reach(self, value: float, places: int) -> str:
        size = self._size(value, places)
        return f"a factor of {size}" if self.scale == LN else f"± {size.lstrip('+')}"


def _only_alone(verdict: ArmVerdict) -> bool:
    """Whether a version is called the same by itself but not with all versions in view."""
    return verdict.verdict == "equivalent" and verdict.equivalence.shown_together is False
