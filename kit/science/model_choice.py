"""Which order of model: the one that Akaike's criterion for few batches prefers, the smaller of two that are level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.model_terms import Term
from kit.science.response_model import ResponseModel, fit_response
from kit.show import Worded

# models nearer to the best than this are level with it: Burnham and Anderson 2002, Model selection, 2.6 (from memory)
_LEVEL = 2.0
_EXACTLY = "it goes through every value exactly"


@dataclass(frozen=True, slots=True)
class TriedModel:
    """One candidate: its name, its fit, and why it was not judged, empty where it was."""

    name: str
    model: ResponseModel
    why_not: str = ""


@dataclass(frozen=True, slots=True, repr=False)
class ModelChoice(Worded):
    """The model that was chosen among some, with the reason.

    Parameters
    ----------
    name : str                     Of the chosen one, empty where none could be fitted.
    model : ResponseModel          The chosen one, else the smallest, whose `reason` says what is missing.
    tried : tuple of TriedModel    Smallest first.
    words : str                    The reason in a sentence.
    """

    name: str
    model: ResponseModel
    tried: tuple[TriedModel, ...]
    words: str


def choose_model(
    points: Sequence[Sequence[float]],
    y: Sequence[float],
    names: Sequence[str],
    candidates: Sequence[tuple[str, Sequence[Term]]],
    **options: object,
) -> ModelChoice:
    """Fit every candidate and choose.

    Parameters
    ----------
    points, y, names       As of `fit_response`.
    candidates : sequence of pairs   Name and terms, smallest first.
    options                Further ones of `fit_response`.

    Returns
    -------
    ModelChoice   By the least AICc; of models within 2 of it the one of fewest terms. A model that goes through every
                  value although batches are left has none; the smallest such goes before all others, and tells no
                  scatter of its own. Where no AICc can be had the smallest model that can be fitted.

    Raises
    ------
    KitError   `model.candidates` without any, and those of `fit_response`.

    Notes
    -----
    AICc: Hurvich and Tsai (1989), Biometrika 76:297, n ln(RSS/n) + 2k + 2k(k+1)/(n-k-1), k counting the variance.
    """
    if not candidates:
        raise KitError("there is no model to choose from", where="choose_model()", code="model.candidates")
    tried = tuple(_tried(name, fit_response(points, y, terms, names, **options)) for name, terms in candidates)
    judged = [item for item in tried if not item.why_not]
    fitted = [item for item in tried if item.model.is_fitted]
    if not fitted:
        return ModelChoice("", tried[0].model, tried, f"no model can be fitted: {tried[0].model.reason}")
    exact = next((item for item in fitted if item.why_not == _EXACTLY), None)
    if exact is not None:
        untold = ", so no scatter is told" if exact.model.reason else ""
        return ModelChoice(exact.name, exact.model, tried, f"{exact.name}: {_EXACTLY}{untold}")
    if not judged:
        words = f"{fitted[0].name}: the smallest; the batches are too few to judge between models"
        return ModelChoice(fitted[0].name, fitted[0].model, tried, words)
    best = min(judged, key=lambda item: item.model.aicc)
    level = [item for item in judged if item.model.aicc - best.model.aicc <= _LEVEL]
    chosen = min(level, key=lambda item: len(item.model.terms))
    return ModelChoice(chosen.name, chosen.model, tried, _words(chosen, best, judged, tried))


def _tried(name: str, model: ResponseModel) -> TriedModel:
    if not model.is_fitted:
        return TriedModel(name, model, model.reason)
    if model.aicc is None and model.df > 0 and model.residual_sd == 0:
        return TriedModel(name, model, _EXACTLY)
    if model.aicc is None:
        coefficients = len(model.values) - model.df
        return TriedModel(
            name,
            model,
            f"{coefficients} coefficients take {coefficients + 3} batches to judge, there are {len(model.values)}",
        )
    return TriedModel(name, model)


def _words(chosen: TriedModel, best: TriedModel, judged: Sequence[TriedModel], tried: Sequence[TriedModel]) -> str:
    why = "the least AICc" if chosen is best else f"level with {best.name} in AICc, with fewer terms"
    told = "; ".join(_figures(item) for item in judged)
    others = "; ".join(f"{item.name} not judged: {item.why_not}" for item in tried if item.why_not)
    return f"{chosen.name}: {why} (AICc {told}{'; ' + others if others else ''})"


def _figures(item: TriedModel) -> str:
    predicted = item.model.r2_predicted
    told = "" if predicted is None or predicted < 0 else f", predicted R² {predicted:.2f}"
    return f"{item.name} {item.model.aicc:.1f}{told}"
