"""Designs put together: a mixture crossed with the process, and hot bases divided into cool-downs."""

from __future__ import annotations

from collections.abc import Sequence

from kit.errors import KitError
from kit.science.design_layout import Design, require_few_runs

BETWEEN_BASES = "between bases"
WITHIN_A_BASE = "within a base"


def cross(first: Design, second: Design) -> Design:
    """Every run of one design with every run of the other, each a batch of its own.

    Parameters
    ----------
    first, second : Design   Usually a mixture and a process design; no factor may stand in both.

    Raises
    ------
    KitError   `design.names`, `design.levels`, `design.runs`.
    """
    _require_runs(first, second)
    require_few_runs(len(first) * len(second))
    levels = tuple((*row, *other) for row in first.levels for other in second.levels)
    return Design(
        (*first.names, *second.names),
        levels,
        (*first.kind, *second.kind),
        f"{first.title} crossed with {second.title}",
        (*first.categories, *second.categories),
    )


def split_plot(whole: Design, within: Design) -> Design:
    """One hot base for each run of the first design, divided into the cool-downs of the second.

    Parameters
    ----------
    whole : Design    What is set once a base: the hot phase, its temperatures, its stirring. Repeat it for a scatter
        between bases.
    within : Design   What is set for each part of a base: cool-down lines, rests.

    Returns
    -------
    Design   With its whole plots, and a sentence on what can be judged against which scatter.

    Raises
    ------
    KitError   `design.names`, `design.levels`, `design.runs`.
    """
    both = cross(whole, within)
    plots = tuple(plot for plot in range(len(whole)) for _ in within.levels)
    notes = whole_plot_notes(whole.names, within.names, whole.levels)
    return Design(
        both.names,
        both.levels,
        both.kind,
        f"split plot of {len(whole)} bases, each in {len(within)} parts",
        both.categories,
        whole_plot=plots,
        whole_factors=whole.names,
        notes=notes,
    )


def whole_plot_notes(whole: Sequence[str], within: Sequence[str], settings: Sequence[object]) -> tuple[str, ...]:
    """What is judged against which scatter, in sentences.

    Parameters
    ----------
    whole, within : sequence of str   Factors set once a base, and for each part of one.
    settings : sequence               Of the whole factors, one a base.
    """
    notes = [
        f"{', '.join(whole)}: judged against the scatter between bases; the parts of one base are not bases.",
        f"{', '.join(within)}, and interactions with {', '.join(whole)}: judged against the scatter within a base.",
    ]
    if len(set(settings)) == len(settings):
        notes.append("No base is made twice, so that the scatter between bases rests on the model or on history alone.")
    return tuple(notes)


def _require_runs(first: Design, second: Design) -> None:
    for design in (first, second):
        if not design.levels or design.whole_plot is not None:
            raise KitError(
                f"{design.title} has no runs to be crossed, or is divided into whole plots already",
                where="crossed design",
                allowed="two designs with runs, each run a batch of its own",
                mend="cross the plain designs",
                code="design.runs",
            )
