"""The shape of what a panel found, and its verdicts."""

from __future__ import annotations

from dataclasses import dataclass

from kit.show import Table

SHOWN = "a difference is shown"
NOT_SHOWN = "no difference is shown"
PREFERRED = "a preference is shown"
NOT_PREFERRED = "no preference is shown"
ALIKE = "shown to be alike within the limit stated"
NOT_ALIKE = "not shown to be alike"
CANNOT_TELL = "cannot be told"


@dataclass(frozen=True)
class PanelFinding:
    """What the answers of a panel say.

    Parameters
    ----------
    verdict : str                 One of the verdicts of this module.
    test : object                 `PanelTest`, `Ranking` or `SignedRank`.
    numbers : tuple of str        Sentences that count and do not judge.
    judged : tuple of str         Sentences that judge, with intervals and with what could have been found.
    counts : tuple of Table       What was answered.
    tables : tuple of Table       What it is judged by.
    reason : str                  Why nothing can be told; empty where something can.
    trend : object                `Trend` of an order that was expected before; None without one.
    """

    verdict: str
    test: object
    numbers: tuple[str, ...]
    judged: tuple[str, ...]
    counts: tuple[Table, ...]
    tables: tuple[Table, ...] = ()
    reason: str = ""
    trend: object = None

    @property
    def sentences(self) -> tuple[str, ...]:
        """Counts, then what they say."""
        return (*self.numbers, *self.judged)


def p_words(p: float) -> str:
    """A probability as it is printed: "p = 0.012", "p < 0.001".

    Parameters
    ----------
    p : float   [-]
    """
    return "p < 0.001" if p < 0.001 else f"p = {p:.2g}"


def p_number(p: float) -> str:
    """A probability as a table prints it, to four decimals: "0.0125", "< 0.0001".

    Parameters
    ----------
    p : float   [-]
    """
    return "< 0.0001" if p < 0.0001 else f"{p:.4f}"


def per_cent(share: float) -> str:
    """A share in whole per cent: "29 %".

    Parameters
    ----------
    share : float   [-]
    """
    return f"{100 * share:.0f} %".replace("-", "−")
