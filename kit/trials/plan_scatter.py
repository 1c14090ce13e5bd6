"""How much batches of one version scatter: known, stated or assumed, and how well it is known."""

from __future__ import annotations

import re
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.number_text import short
from kit.show import Worded
from kit.units import percent

POORLY_KNOWN_DF = 5
"""Below so many degrees of freedom the scatter itself is poorly known."""
USUAL_SCATTER = 0.08
"""Batch scatter of viscosity taken where nothing is told; benches have 5 to 12 % (common practice, no source). [ln]"""
_TYPED = re.compile(r"^\s*(?P<sd>[0-9.,]+\s*%)(?:[,;]?\s*(?:with\s+)?(?P<df>[0-9]+)\s*(?:df|degrees of freedom))?\s*$")


@dataclass(frozen=True, slots=True, repr=False)
class Scatter(Worded):
    """How much batches of one version scatter, and where that is known from.

    Parameters
    ----------
    sd : float     Relative standard deviation of batches, in ln units: 0.08 is 8 %. [ln]
    df : int       Its degrees of freedom; 0 where it is assumed.
    words : str    Where it comes from.
    """

    sd: float
    df: int
    words: str


def read_scatter(text: str = "") -> Scatter:
    """A batch scatter as typed: "8 %" is an assumption, "8 % with 10 df" is a history; the usual 8 % where empty.

    Parameters
    ----------
    text : str   As typed.

    Raises
    ------
    KitError   `plan.scatter`.
    """
    if not text.strip():
        return Scatter(USUAL_SCATTER, 0, "8 % assumed (benches have 5 to 12 %: common practice, no source)")
    match = _TYPED.match(text)
    sd = float(percent(match["sd"], where="scatter of batches")) / 100 if match else 0.0
    if not 0 < sd < 1:
        raise KitError(
            f"{text!r} is no scatter of batches",
            where="history of the plan",
            allowed='"8 %" for an assumption, "8 % with 10 df" for a standard deviation that is known',
            mend="write it so",
            code="plan.scatter",
        )
    df = int(match["df"] or 0)
    return Scatter(sd, df, f"{100 * sd:g} % " + (f"with {df} df, as stated" if df else "assumed, as stated"))


def poorly_known(scatter: Scatter) -> str:
    """How far off the scatter may be that a plan is judged with; empty where it is known well enough.

    Parameters
    ----------
    scatter : Scatter
    """
    if scatter.df >= POORLY_KNOWN_DF:
        return ""
    if not scatter.df:
        return "Scatter itself poorly known: it is assumed. Twice the scatter squares every factor here."
    from kit.science.scatter_known import sd_interval

    found = sd_interval(scatter.sd, scatter.df)
    return (
        f"Scatter itself poorly known: from {scatter.df} df, 95 % between {short(100 * found.low, 2)} and "
        f"{short(100 * found.high, 2)} %. Twice the scatter squares every factor here."
    )
