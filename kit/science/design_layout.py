"""A design: which levels of which factors each run has, and what is known of it before a batch is made.

Process factors are coded from -1 to 1; mixture components are amounts or proportions with a constant total; an amount
stands in its own unit and has no total; a category is counted from 0 and carries its names. Nothing here knows a
formula: a factor is a name.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from kit.errors import KitError
from kit.science.design_checks import MOST_RUNS, factor_names
from kit.science.number_text import short
from kit.show import Block, Table, listing

PROCESS = "process"
MIXTURE = "mixture"
AMOUNT = "amount"
CATEGORY = "category"
KINDS = (PROCESS, MIXTURE, AMOUNT, CATEGORY)
"""What a factor can be."""


@dataclass(frozen=True)
class Design:
    """Runs by factors. A design without runs carries the `reason` for it.

    Parameters
    ----------
    names : tuple of str                Factors, in the order of the columns.
    levels : tuple of tuple of float    Runs x factors. Coded, -1 to 1 between the bounds, for a process factor; in its
        own unit for a mixture component or an amount; counted from 0 for a category.
    kind : tuple of str                 PROCESS, MIXTURE, AMOUNT or CATEGORY, one a factor.
    title : str                         What it is, such as "two-level fraction 2^(4-1), resolution IV".
    categories : tuple of tuple of str  Names of the categories, one tuple a factor, empty for the others.
    generators : tuple of str           How the added factors of a fraction are set, such as "D = A:B:C".
    defining_words : tuple of str       The defining relation: each product is a column of ones (or of minus ones).
    resolution : int                    Length of the shortest word; None where it is no regular fraction.
    aliases : tuple of str              Effects that cannot be told apart, such as "A:B = C:D".
    whole_plot : tuple of int           Which whole plot (one hot base) each run belongs to; None where every run is a
        batch of its own.
    whole_factors : tuple of str        Factors that are set once a whole plot.
    notes : tuple of str                Sentences for the reader.
    reason : str                        Why there are no runs; empty when there are.

    Raises
    ------
    KitError   `design.names`, `design.levels`, `design.kind`.
    """

    names: tuple[str, ...]
    levels: tuple[tuple[float, ...], ...]
    kind: tuple[str, ...] = ()
    title: str = "design"
    categories: tuple[tuple[str, ...], ...] = ()
    generators: tuple[str, ...] = ()
    defining_words: tuple[str, ...] = ()
    resolution: int | None = None
    aliases: tuple[str, ...] = ()
    whole_plot: tuple[int, ...] | None = None
    whole_factors: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    reason: str = ""

    def __post_init__(self) -> None:
        names = factor_names(self.names)
        object.__setattr__(self, "names", names)
        object.__setattr__(self, "kind", tuple(self.kind) or (PROCESS,) * len(names))
        object.__setattr__(self, "categories", tuple(self.categories) or ((),) * len(names))
        object.__setattr__(self, "levels", _levels(self.levels, len(names)))
        if len(self.kind) != len(names) or not set(self.kind) <= set(KINDS) or len(self.categories) != len(names):
            raise KitError(
                f"the kinds {', '.join(self.kind)} do not fit the factors {', '.join(names)}",
                where=self.title,
                allowed=f"one of {', '.join(KINDS)} for each factor",
                mend="give one kind for each factor",
                code="design.kind",
            )

    def __len__(self) -> int:
        """How many runs."""
        return len(self.levels)

    @property
    def runs(self) -> int:
        """How many runs."""
        return len(self.levels)

    @property
    def words(self) -> str:
        """The design in sentences."""
        if self.reason:
            return f"{_capital(self.title)}: no runs, as {self.reason}."
        told = f"{_capital(self.title)}: {_count(self.runs, 'run')} of {_count(len(self.names), 'factor')}"
        distinct = len(set(self.levels))
        parts = [
            f"{told} ({', '.join(self.names)})" + (f", {distinct} of them different." if distinct < self.runs else ".")
        ]
        if self.defining_words:
            parts.append(f"Defining relation: I = {' = '.join(self.defining_words)}.")
        if self.whole_plot is not None:
            parts.append(
                f"{len(set(self.whole_plot))} whole plots; set once a whole plot: {', '.join(self.whole_factors)}."
            )
        return " ".join([*parts, *self.notes])

    def column(self, name: str) -> tuple[float, ...]:
        """Levels of one factor, run by run.

        Raises
        ------
        KitError   `design.names` for a factor that is not there.
        """
        if name not in self.names:
            raise KitError(
                f"there is no factor {name!r}",
                where=self.title,
                allowed=", ".join(self.names),
                mend="name one of these",
                code="design.names",
            )
        index = self.names.index(name)
        return tuple(row[index] for row in self.levels)

    def real(self, ranges: Mapping[str, tuple[float, float]]) -> tuple[dict[str, float | str], ...]:
        """Runs in real units: a coded level of -1 is the low end of its range and 1 the high end.

        Parameters
        ----------
        ranges : mapping   Low and high of each process factor; one that is left out stays coded. [unit of the factor]

        Returns
        -------
        tuple of dict   One a run: factor to level; a category is its name.
        """
        return tuple(
            {name: self._real(index, row[index], ranges) for index, name in enumerate(self.names)}
            for row in self.levels
        )

    def _real(self, index: int, level: float, ranges: Mapping[str, tuple[float, float]]) -> float | str:
        if self.kind[index] == CATEGORY:
            return self.categories[index][int(level)]
        if self.kind[index] != PROCESS or self.names[index] not in ranges:
            return level
        low, high = ranges[self.names[index]]
        return (low + high) / 2 + level * (high - low) / 2

    def with_centre(self, count: int) -> Design:
        """The same with so many centre points added: every process factor at 0, mixtures and amounts at their mean.

        A design with categories has no centre.

        Raises
        ------
        KitError   `design.centre`; `design.levels` for more runs than a bench can make.
        """
        require_few_runs(len(self.levels) + max(count, 0))
        if count < 0 or (count and CATEGORY in self.kind) or not self.levels:
            raise KitError(
                f"{count} centre points cannot be added to {self.title}",
                where="centre points",
                allowed="0 or more, where no factor is a category",
                mend="repeat a run instead",
                code="design.centre",
            )
        total = len(self.levels)
        middle = tuple(
            0.0 if kind == PROCESS else math.fsum(row[index] for row in self.levels) / total
            for index, kind in enumerate(self.kind)
        )
        plots = self.whole_plot
        if plots is not None and count:  # a centre is a base of its own
            plots = (*plots, *(max(plots) + 1 + extra for extra in range(count)))
        return replace(self, levels=(*self.levels, *[middle] * count), whole_plot=plots)

    def repeated(self, times: int) -> Design:
        """Every run made so many times, each a batch of its own.

        Raises
        ------
        KitError   `design.runs`; `design.levels` for more runs than a bench can make.
        """
        require_few_runs(len(self.levels) * max(times, 0))
        if times < 1:
            raise KitError(
                f"a design made {times} times has no runs",
                where=self.title,
                allowed="1 or more",
                mend="say how often each run is made",
                code="design.runs",
            )
        plots = self.whole_plot
        if plots is not None:
            step = max(plots) + 1
            plots = tuple(plot + step * turn for turn in range(times) for plot in plots)
        return replace(self, levels=self.levels * times, whole_plot=plots)

    def taking(self, rows: Iterable[int]) -> Design:
        """Some of the runs, counted from 0, in the order asked for; what held for the whole is left out."""
        kept = tuple(rows)
        plots = None if self.whole_plot is None else tuple(self.whole_plot[row] for row in kept)
        return Design(
            self.names,
            tuple(self.levels[row] for row in kept),
            self.kind,
            self.title,
            self.categories,
            whole_plot=plots,
            whole_factors=self.whole_factors,
        )

    def table(self) -> Table:
        """The runs in standard order."""
        plots = () if self.whole_plot is None else ("base",)
        rows = [
            (
                str(number),
                *([] if self.whole_plot is None else [str(self.whole_plot[number - 1] + 1)]),
                *self.run_texts(number - 1),
            )
            for number in range(1, len(self.levels) + 1)
        ]
        columns = ("run", *plots, *self.names)
        note = "Coded: -1 is the low end, 1 the high end." if PROCESS in self.kind else ""
        return Table(columns, rows, title=_capital(self.title), note=note, numeric=frozenset(range(1, len(columns))))

    def run_texts(self, row: int) -> tuple[str, ...]:
        """The levels of one run, counted from 0, as they are printed."""
        return tuple(
            self.categories[index][int(level)] if self.kind[index] == CATEGORY else short(level, 4)
            for index, level in enumerate(self.levels[row])
        )

    def _block(self) -> Block:
        parts = [self.table()] if self.levels else []
        return Block((*parts, listing("What this design is", [self.words, *self._alias_sentences()])))

    def _alias_sentences(self) -> list[str]:
        return [f"Cannot be told apart: {text}." for text in self.aliases]

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()

    def __str__(self) -> str:
        return "\n".join([self.words, *self._alias_sentences(), *([str(self.table())] if self.levels else [])])

    __repr__ = __str__


def _levels(rows: Sequence[Sequence[float]], factors: int) -> tuple[tuple[float, ...], ...]:
    levels = tuple(tuple(float(level) + 0.0 for level in row) for row in rows)
    if any(len(row) != factors or not all(math.isfinite(level) for level in row) for row in levels):
        raise KitError(
            f"a run does not have a finite level for each of {factors} factors",
            where="levels of a design",
            allowed="runs x factors, finite numbers",
            mend="give every run one level a factor",
            code="design.levels",
        )
    require_few_runs(len(levels))
    return levels


def require_few_runs(runs: int) -> None:
    """Refuse more runs than a bench can make, before they are written out.

    Parameters
    ----------
    runs : int   How many there would be.

    Raises
    ------
    KitError   `design.levels`.
    """
    if runs > MOST_RUNS:
        raise KitError(
            f"{runs} runs are more than a bench can make",
            where="levels of a design",
            allowed=f"at most {MOST_RUNS} runs",
            mend="take a fraction, fewer factors or fewer levels",
            code="design.levels",
        )


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("" if number == 1 else "s")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
