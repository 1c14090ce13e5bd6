"""What a demo tells of planned and made, of a response, of a stability study and of a panel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from kit.demo.green_tea import FIRST_BOUNDS, GREEN_TEA
from kit.demo.keeping import plan_of
from kit.labbook.book import Labbook
from kit.show import Table, listing
from kit.trials.arms import day_made
from kit.trials.wording import significant
from kit.units import plain

if TYPE_CHECKING:
    from kit.formula.formula import Formula
    from kit.trials.plan_made import PlanMade
    from kit.trials.plan_run_made import RunMade
    from kit.trials.response import Response


def first_plan(formula: Formula) -> str:
    """What the review says of the first plan of the green tea study, and which bound it moves.

    Parameters
    ----------
    formula : Formula   As the file has it.
    """
    from dataclasses import replace

    plan = plan_of(formula, replace(GREEN_TEA.planned, factors=FIRST_BOUNDS))
    return "\n".join(map(str, plan.tightened))


def planned_and_made(book: Labbook, study: str) -> str:
    """The plan of a study beside what was made, narrow enough for a terminal, and what goes with the day.

    Parameters
    ----------
    book : Labbook
    study : str      Its name.
    """
    from kit.trials.plan_made import plan_made

    made = plan_made(book, study=study)
    rows = [
        (
            one.run.label,
            _levels(made, one),
            f"{one.run.date}, {one.run.place}",
            one.batch.name if one.batch else "",
            f"{day_made(one.batch)}, {one.place}" if one.batch else "",
            "as planned" if one.batch and not one.done_otherwise else "OTHERWISE",
        )
        for one in made.runs
    ]
    columns = ("what", "levels", "planned: day, place", "made as", "made: day, place", "day and order")
    note = f"Levels: {' / '.join(factor.head for factor in made.plan.factors)}.\n{made.words}"
    told = [Table(columns, rows, note=note)]
    if made.days_and_factors():
        told.append(listing("As made, what goes with the day", made.days_and_factors()))
    if made.others:
        told.append(listing("Made since, and not in the plan", [batch.name for batch in made.others]))
    return "\n\n".join(map(str, told))


def _levels(made: PlanMade, one: RunMade) -> str:
    """The levels of a planned batch, in the order of the factors; nothing for a control that is no point."""
    return " / ".join(plain(level) for _, level in made.plan.version(one.run.version).levels)


def effects_told(book: Labbook, study: str, factors: Sequence[str], without: Sequence[str]) -> str:
    """How viscosity at 72 h goes with the settings of the making.

    Parameters
    ----------
    book : Labbook
    study : str             Its name.
    factors, without        As of `kit.fit_response`.
    """
    found = _viscosity(book, study, factors, without=without)
    return f"{found.words}\n\n{found.two_level_table()}"


def mixture_told(book: Labbook, study: str, bounds: Mapping[str, str], without: Sequence[str]) -> str:
    """How viscosity at 72 h goes with the mixture, as meant, and whether a batch kept back lies inside.

    Parameters
    ----------
    book : Labbook
    study : str             Its name.
    bounds, without         As of `kit.fit_response`.
    """
    found = _viscosity(book, study, bounds, model="linear", without=without, levels="meant", days="none")
    return f"{found.words}\n\n{_blends(found)}\n\n{found.held_out_table()}"


def _viscosity(book: Labbook, study: str, factors: Sequence[str] | Mapping[str, str], **asked: object) -> Response:
    """The response that the tour shows: viscosity at 72 h."""
    from kit.trials.response import fit_response

    return fit_response(book, study, "viscosity", "72 h", factors, **asked)


def _blends(found: Response) -> str:
    """What each part alone would give above the lower bounds of the others: it lies outside what was tried."""
    told = ", ".join(f"{name} {significant(value, 3)}" for name, value in found.pseudo_vertices())
    return f"All that is free as one part, in {found.unit} (beyond what was tried, it only tells the slope): {told}."


def next_told(book: Labbook, study: str, bounds: Mapping[str, str], without: Sequence[str]) -> str:
    """What would have been suggested before the last batch, and why.

    Parameters
    ----------
    book : Labbook
    study : str             Its name.
    bounds, without         As of `kit.next_trial`.
    """
    from kit.trials.next_trial import next_trial

    found = next_trial(book, study, bounds, without=without)
    levels = [
        ", ".join(f"{factor.head} {significant(one.levels[factor.name], 3)}" for factor in found.space.factors)
        for one in found.suggestions
    ]
    return "\n".join([found.words, *(f"Suggested: {words}." for words in levels)])


def kept_told(book: Labbook, study: str) -> str:
    """The stability of a study in words: each verdict a line.

    Parameters
    ----------
    book : Labbook
    study : str      Its name.
    """
    from kit.trials.stability import stability

    found = stability(book, study)
    return "\n".join([*found.words, *map(str, found.verdicts)])


def panel_told(book: Labbook, name: str) -> str:
    """What a panel found, a sentence a line.

    Parameters
    ----------
    book : Labbook
    name : str       Of the panel.
    """
    from kit.trials.panel import panel

    return "\n".join(panel(book, name).sentences)
