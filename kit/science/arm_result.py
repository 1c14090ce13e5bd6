"""What a comparison of arms with a control brings out: a verdict for every arm, with its interval and its words."""

from __future__ import annotations

from dataclasses import dataclass

from kit.errors import KitError
from kit.science.equivalence import Equivalence
from kit.show import Block, Table, Worded

REAL, NOT_SHOWN, EQUIVALENT = "real", "not_shown", "equivalent"
CANNOT_TELL, NO_SCATTER, NOT_COMPARABLE = "cannot_tell", "no_scatter", "not_comparable"
VERDICTS = (REAL, NOT_SHOWN, EQUIVALENT, CANNOT_TELL, NO_SCATTER, NOT_COMPARABLE)


@dataclass(frozen=True, slots=True, repr=False)
class ArmVerdict(Worded):
    """One arm against the control: a ratio on the ln scale, else a difference.

    Parameters
    ----------
    label : str                    Of the arm.
    kind : str                     "ratio" (arm over control) or "difference" (arm less control).
    value : float, None            Ratio [-] or difference. [unit]
    low, high : float, None        Interval, adjusted where several arms are compared. [as value]
    half_width : float, None       A factor for a ratio, else in the unit.
    detectable : float, None       What would be found four times in five, as half_width.
    df, standard_error : float, None   Degrees of freedom; standard error on the scale of the calculation.
    p, p_adjusted : float, None    Alone, and with all arms in view. [-]
    n_arm, n_control : int         Batches, or days where batches of one day count once.
    verdict : str                  One of `VERDICTS`.
    words : str                    The whole in a sentence.
    cautions : tuple of str        What weakens it.
    reason : str                   Why there is no interval, empty when there is one.
    equivalence : Equivalence, None  Against the margin, on the scale of the calculation; None without a margin.
    low_alone, high_alone : float, None   Interval as if it were the only arm. [as value]
    by_pairs : bool                Whether the interval is that of the pairs of each day, which came out narrower.
    """

    label: str
    kind: str
    value: float | None
    low: float | None
    high: float | None
    half_width: float | None
    detectable: float | None
    df: float | None
    standard_error: float | None
    p: float | None
    p_adjusted: float | None
    n_arm: int
    n_control: int
    verdict: str
    words: str
    cautions: tuple[str, ...] = ()
    reason: str = ""
    equivalence: Equivalence | None = None
    low_alone: float | None = None
    high_alone: float | None = None
    by_pairs: bool = False


@dataclass(frozen=True, slots=True, repr=False)
class ArmVerdicts(Worded):
    """All arms against the control.

    Parameters
    ----------
    analysis : str                     "pooled", "welch", "same-day", "mixed" or "none".
    why : str                          Which analysis, and why this one.
    multiplicity : str                 How several arms were allowed for; empty for one.
    sd, sd_low, sd_high : float, None  Scatter of batches and its 95 % interval, on the scale of the calculation.
    df : float                         Its degrees of freedom.
    verdicts : tuple of ArmVerdict     In the order of the arms.
    notes : tuple of str               What all have to be read with.
    """

    analysis: str
    why: str
    multiplicity: str
    sd: float | None
    sd_low: float | None
    sd_high: float | None
    df: float
    verdicts: tuple[ArmVerdict, ...]
    notes: tuple[str, ...] = ()

    def arm(self, label: str) -> ArmVerdict:
        """The verdict of one arm.

        Parameters
        ----------
        label : str   As given.

        Raises
        ------
        KitError   `verdict.arm` with what there is.
        """
        for found in self.verdicts:
            if found.label == label:
                return found
        raise KitError(
            f"there is no version {label!r}",
            where="comparison with a control",
            allowed=", ".join(found.label for found in self.verdicts),
            mend="name one of these",
            code="verdict.arm",
        )

    @property
    def words(self) -> str:
        """The analysis, then every verdict, a line each."""
        first = f"{self.why[:1].upper()}{self.why[1:]}."
        told = [first, self.multiplicity, *(f"{found.label}: {found.words}" for found in self.verdicts), *self.notes]
        return "\n".join(line for line in told if line)

    def table(self) -> Table:
        """Every verdict, a row an arm."""
        return Table(
            ("version", "batches", "verdict"),
            tuple((found.label, f"{found.n_arm} against {found.n_control}", found.words) for found in self.verdicts),
        )

    def _repr_html_(self) -> str:
        return Block((f"{self.why}. {self.multiplicity}".strip(), self.table(), *self.notes))._repr_html_()
