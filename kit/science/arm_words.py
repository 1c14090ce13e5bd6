"""The sentence of a verdict: what was found, how sure, and what these batches could have found."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.science.number_text import degrees, plural

if TYPE_CHECKING:
    from kit.science.arm_result import ArmVerdict


def sentence(found: ArmVerdict, *, confidence: float, unit: str, margin: float | None, real: bool) -> str:
    """A verdict in words.

    Parameters
    ----------
    found : ArmVerdict    With its verdict, without its words.
    confidence : float    Of the interval.
    unit : str            Of a difference.
    margin : float        As stated, a ratio or a difference; None where none was.
    real : bool           Whether the interval leaves out "no difference".
    """
    size = _Size(found.kind, unit)
    counts = f"{plural(found.n_arm, 'batch', 'batches')} against {found.n_control}"
    gap = f"{found.kind} {size.value(found.value)}"
    if found.low is None:
        return "; ".join([f"not tested: {gap}, {found.reason}", counts, *found.cautions])
    interval = f"{gap} ({100 * confidence:.3g} %: {size.value(found.low)} to {size.value(found.high)})"
    half = f"half-width {size.reach(found.half_width)}"
    least = f"a difference of {size.reach(found.detectable, '')} is found four times in five"
    head = {
        "real": f"real: {interval}",
        "not_shown": f"not shown: {interval}",
        "cannot_tell": f"cannot be told with these batches: {interval}",
        "equivalent": f"the same within {size.reach(margin) if margin else ''}: {interval}",
    }[found.verdict]
    if found.verdict == "equivalent" and found.equivalence.shown_together is not None:
        head += _together(found.equivalence.shown_together)
    if found.verdict == "equivalent" and real:
        head += ", a real difference, but too small to matter"
    if found.verdict == "cannot_tell" and margin and found.detectable > margin:
        least = f"only {least}, more than the margin, {size.reach(margin)}"
    rests = f"{counts}, {degrees(found.df)}{' by the pairs of each day' if found.by_pairs else ''}"
    return "; ".join([head, half, least, rests, *found.cautions])


def _together(shown: bool) -> str:
    return ", for all versions together too" if shown else ", told of this version by itself, not of all together"


class _Size:
    """Numbers as a ratio, or as a difference with its unit."""

    def __init__(self, kind: str, unit: str) -> None:
        self._ratio, self._unit = kind == "ratio", f" {unit}" if unit not in ("", "1") else ""

    def value(self, number: float) -> str:
        return _three(number) if self._ratio else f"{number:+.3g}{self._unit}"

    def reach(self, number: float, sign: str = "± ") -> str:
        return f"a factor of {_three(number)}" if self._ratio else f"{sign}{number:.3g}{self._unit}"


def _three(number: float) -> str:
    """Three significant digits; very large factors to one, as they only say "anything"."""
    if number >= 100:
        return f"{number:.1g}"
    return f"{number:.3g}" if number < 1 or number >= 10 else f"{number:.2f}"
