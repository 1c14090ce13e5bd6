"""Panels and tresses on a page: nothing where there are none."""

from __future__ import annotations

from collections.abc import Sequence

from kit.figures.figure import Figure
from kit.labbook.source import Source
from kit.show import Block, Listing, Table, listing

Shown = Figure | Listing | Table | Block


def panel_parts(source: Source, study: str, trials: Sequence[str] = ()) -> list[Shown]:
    """Every panel of a study, or of batches of some of its trials: words, figure and tables.

    Parameters
    ----------
    source : Source
    study : str
    trials : sequence of str   All of the study when empty.
    """
    parts: list[Shown] = []
    panels = source.panels(study, trials=trials)
    if not panels:
        return parts  # as for most trials; what judges panels is not loaded for them
    from kit.figures.panel import panel_figure
    from kit.trials.panel import evaluated

    for kept in panels:
        result = evaluated(kept)
        figure = panel_figure(result)
        parts += [listing(f"Panel {kept.name}", result.sentences), *([figure] if figure else []), *result.tables()]
    return parts


def combing_parts(source: Source, study: str, trials: Sequence[str] = ()) -> list[Shown]:
    """The wet-combing force of some trials: words, figure and tables; nothing where no tress counts.

    Parameters
    ----------
    source : Source
    study : str
    trials : sequence of str   All of the study when empty.
    """
    from kit.figures.panel import tress_residuals
    from kit.trials.combing import combing

    found = combing(source, trials, study=study)
    if trials and not {treated.name.partition("/")[0] for treated in found.treatments} & set(trials):
        return []  # of the control alone, which stands beside every trial
    figure = tress_residuals(found)
    return [] if figure is None else [listing("Wet-combing force", found.sentences), figure, *found.tables()]
