"""Which figures a fitted response has.

    from kit import fit_response
    from kit.figures.fitted import fitted_figures

    response = fit_response(book, "NET", "viscosity", "72 h", ["combine rpm", "combine minutes"])
    for figure in fitted_figures(response):
        display(figure)            # the effect of each factor, the two together, measured against the model

Factors that a figure does not move are held at the middle of the batches, or at a batch: `at="NET-05/1"`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.figures.figure import Figure
from kit.figures.fitted_check import fitted_check
from kit.figures.fitted_effects import fitted_effects
from kit.figures.fitted_mixture import fitted_mixture
from kit.figures.fitted_surface import fitted_surface, pairs_of

if TYPE_CHECKING:
    from kit.trials.response import Response


def fitted_figures(response: Response, at: str = "") -> list[Figure]:
    """The figures that apply: effects, contours of pairs, the triangle of a mixture of three, the check.

    Parameters
    ----------
    response : Response
    at : str              The batch at which other factors are held; the middle of the batches when empty.

    Returns
    -------
    list of Figure   Empty where there is no model; its `reason` says why.

    Raises
    ------
    KitError   `figure.batch` for a batch that is not in the fit.
    """
    surfaces = [fitted_surface(response, first, second, at) for first, second in pairs_of(response)]
    found = [fitted_effects(response, at), fitted_mixture(response, at), *surfaces, fitted_check(response)]
    return [figure for figure in found if figure is not None]
