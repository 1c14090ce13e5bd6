"""Which flow model to use for a curve: by Akaike's criterion for few readings, with the reason in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.science.flow_curve import FlowCurve
from kit.science.flow_fit import fit_flow
from kit.science.flow_models import CARREAU, CASSON, CROSS, HERSCHEL_BULKLEY, NEWTONIAN, POWER_LAW, FlowModel
from kit.science.flow_result import RELATIVE, FlowFit
from kit.show import Worded

DEFAULT_MODELS = (NEWTONIAN, POWER_LAW, CASSON, HERSCHEL_BULKLEY, CROSS, CARREAU)
"""What is tried when nothing is named."""

NOT_TOLD_APART, CLEAR = 2.0, 10.0
"""Differences of the criterion: below the first, models describe a curve alike; above the second one is better."""

ROUGH = 0.15
"""Relative scatter beyond which no model describes a curve: common practice, no source."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class FlowChoice(Worded):
    """Flow models fitted to one curve, and the one to use.

    Parameters
    ----------
    fits : tuple of FlowFit       All of them, those that may be used first, best first.
    chosen : FlowFit, None        None where none may be used.
    reason : str                  Why this one, or why none.
    alike : tuple of FlowFit      Others that describe the curve as well: the choice says nothing against them.
    left_out : tuple of str       Models that may not be used, each with why.
    """

    fits: tuple[FlowFit, ...]
    chosen: FlowFit | None
    reason: str
    alike: tuple[FlowFit, ...] = ()
    left_out: tuple[str, ...] = ()

    def __str__(self) -> str:
        return "\n".join([self.reason, *self.left_out])


def choose_model(
    curve: FlowCurve, models: Sequence[FlowModel] = DEFAULT_MODELS, *, weighting: str | None = None
) -> FlowChoice:
    """Fit some models to a curve and choose one.

    Parameters
    ----------
    curve : FlowCurve
    models : sequence of FlowModel
    weighting : str     As in `fit_flow`.

    Returns
    -------
    FlowChoice

    Raises
    ------
    KitError   `flow.weighting`.

    Notes
    -----
    Hurvich, Tsai (1989), Biometrika 76:297. A model may be used when each of its parameters is told and rests on no
    bound: on a bound it is a simpler model written longer. Among models within 2 of the lowest criterion the one with
    the fewest parameters is chosen, then that with the lowest. The bounds of 2 and 10: Burnham, Anderson (2002), Model
    Selection and Multimodel Inference, p. 70, from memory.
    """
    fits = [fit_flow(curve, model, weighting=weighting) for model in models]
    usable = sorted((fit for fit in fits if not _why_not(fit)), key=lambda fit: fit.aicc)
    others = [fit for fit in fits if _why_not(fit)]
    left_out = tuple(f"{fit.model.name}: {_why_not(fit)}" for fit in others)
    every = (*usable, *others)
    if curve.fault or not usable:
        why = curve.fault or "no model can be told from these readings"
        return FlowChoice(every, None, why, (), () if curve.fault else left_out)
    near = [fit for fit in usable if fit.aicc - usable[0].aicc <= NOT_TOLD_APART]
    chosen = min(near, key=lambda fit: (len(fit.model.parameters), fit.aicc))
    if chosen.weighting == RELATIVE and chosen.residual_sd > ROUGH:
        why = f"no model describes the curve: the nearest, {chosen.model.name}, misses by {chosen.residual_sd:.0%}"
        return FlowChoice(every, None, why, (), left_out)
    alike = tuple(fit for fit in near if fit is not chosen)
    return FlowChoice(every, chosen, _reason(chosen, alike, usable), alike, left_out)


def _why_not(fit: FlowFit) -> str:
    if fit.reasons:
        return fit.reasons[0]
    if fit.at_bound:
        return f"{fit[fit.at_bound[0]].parameter.label} rests on its bound: a simpler model says the same"
    return "" if fit.aicc is not None else "too few readings to compare it"


def _reason(chosen: FlowFit, alike: Sequence[FlowFit], usable: Sequence[FlowFit]) -> str:
    name = chosen.model.name
    if len(usable) == 1:
        return f"{name}: the only model that these readings tell"
    if alike:
        names = " and ".join(fit.model.name for fit in alike)
        count = len(chosen.model.parameters)
        same = any(len(fit.model.parameters) == count for fit in alike)
        why = "no other has fewer parameters" if same else "it is the simplest"
        return f"{name}: {names} cannot be told apart from it by these readings (AICc within 2); {why}"
    lead = usable[1].aicc - chosen.aicc
    how = "clearly " if lead > CLEAR else ""
    lead_words = f"{lead:.1f}" if math.isfinite(lead) else "far"
    return f"{name}: {how}better than the next, {usable[1].model.name} (AICc lower by {lead_words})"
