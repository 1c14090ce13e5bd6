"""What a design can tell, as a result: term by term, in words and as a table."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.number_text import degrees, short
from kit.science.scatter_known import ENOUGH_DF, POORLY_KNOWN
from kit.show import Block, Fielded, Table, listing


@dataclass(frozen=True, slots=True, repr=False)
class TermValue(Fielded):
    """What a design tells of one term.

    Parameters
    ----------
    term : str                     Name.
    standard_error : float         Of its coefficient, as a multiple of the standard deviation of a batch. [-]
    variance_inflation : float     How much larger its variance is than if it were free of all other terms, 1 or more;
        about the mean where the model has an intercept, else about zero; None for the intercept. [-]
    span : float                   Largest less smallest value of the term in the design, 2 for a coded factor.
    df : float                     Degrees of freedom of the scatter it is judged against.
    judged : str                   BETWEEN_BASES or WITHIN_A_BASE: which scatter that is.
    half_width : float             Of the interval of the change over the span. [unit of the scatter]
    detectable : float             Change over the span that is found with the chance stated. [unit of the scatter]
    """

    term: str
    standard_error: float
    variance_inflation: float | None
    span: float
    df: float
    judged: str
    half_width: float | None
    detectable: float | None


@dataclass(frozen=True, repr=False)
class DesignValue:
    """What a design can tell of a model.

    Parameters
    ----------
    terms : tuple of TermValue        Empty with a `reason`.
    leverage : tuple of float         Of each run, 0 to 1; a run of 1 is fitted whatever it reads. [-]
    aliases : tuple of tuple          Term, what is not in the model, and how much of it the coefficient takes up.
    df_residual : int                 Runs less terms.
    df_repeats : int                  Of these, from runs made more than once.
    df : float                        Degrees of freedom of the scatter, those told and those left; of a split plot the
        fewer.
    sd : float                        Standard deviation of a batch, in ln units where it is relative; None unknown. Of
        a split plot that within a base.
    relative : bool                   Whether it is, so that changes are told as ratios.
    power : float                     Chance that the detectable change is found. [-]
    is_split_plot : bool              Whether terms are judged against two scatters.
    reason : str                      Why nothing, or no half-width, can be told; empty otherwise.
    """

    terms: tuple[TermValue, ...]
    leverage: tuple[float, ...]
    aliases: tuple[tuple[str, str, float], ...]
    df_residual: int
    df_repeats: int
    df: float
    sd: float | None
    relative: bool
    power: float
    is_split_plot: bool = False
    reason: str = ""

    def term(self, name: str) -> TermValue:
        """One term by its name.

        Raises
        ------
        KitError   `design.term`.
        """
        for value in self.terms:
            if value.term == name:
                return value
        raise KitError(
            f"there is no term {name!r}",
            where="what a design can tell",
            allowed=", ".join(value.term for value in self.terms),
            mend="name one of these",
            code="design.term",
        )

    @property
    def words(self) -> str:
        """In sentences."""
        if not self.terms:
            return f"Nothing can be told: {self.reason}."
        parts = [f"{len(self.terms)} terms, {degrees(self.df_residual)} left, {self.df_repeats} of them from repeats."]
        if self.reason:
            parts.append(f"No half-width: {self.reason}.")
        elif self.sd is not None and self.df < ENOUGH_DF:
            parts.append(f"{POORLY_KNOWN[:1].upper()}{POORLY_KNOWN[1:]}.")
        if full := [str(run) for run, own in enumerate(self.leverage, start=1) if own > 1 - 1e-9]:
            parts.append(f"Fitted whatever they read: run {', '.join(full)}.")
        parts += [self._alias_sentence(*alias) for alias in self.aliases]
        return " ".join(parts)

    def _alias_sentence(self, term: str, other: str, share: float) -> str:
        return f"{term} takes up {short(share, 2)} of {other}, which is not in the model."

    def table(self) -> Table:
        """Term by term."""
        judged = (lambda value: [value.judged]) if self.is_split_plot else (lambda value: [])
        rows = [
            (
                value.term,
                *judged(value),
                short(value.standard_error),
                "" if value.variance_inflation is None else short(value.variance_inflation),
                self._change(value.half_width),
                self._change(value.detectable),
            )
            for value in self.terms
        ]
        against = ("judged against the scatter",) if self.is_split_plot else ()
        numbers = ("standard error, in SD", "variance inflation", "half-width of the change", self._found())
        columns = ("term", *against, *numbers)
        note = "The change is that from the smallest to the largest value of the term in the design."
        return Table(
            columns,
            rows,
            title="What this design can tell",
            note=note,
            numeric=frozenset(range(len(against) + 1, len(columns))),
        )

    def _found(self) -> str:
        return "found four times in five" if self.power == 0.8 else f"found in {short(100 * self.power)} %"

    def _change(self, value: float | None) -> str:
        if value is None:
            return "not known"
        return f"x {short(math.exp(value))}" if self.relative else short(value)

    def _repr_html_(self) -> str:
        parts = [self.table()] if self.terms else []
        return Block((*parts, listing("In words", [self.words])))._repr_html_()

    def __str__(self) -> str:
        return "\n".join([self.words, *([str(self.table())] if self.terms else [])])

    __repr__ = __str__
