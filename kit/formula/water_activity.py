"""Water activity of a composition from its humectants: Norrish where the constant is known, ideal where it is not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from kit.formula.charge import shares_of
from kit.formula.composition import Composition, Share
from kit.formula.molar import mmol_per_100g
from kit.formula.network import content_pct
from kit.science.water_activity import norrish, ross

_WATER_G_PER_MOL = Decimal("18.015")


def water_mmol(composition: Composition) -> float:
    """Water of all sources. [mmol/100 g]"""
    return float(1000 * content_pct(composition, "water") / _WATER_G_PER_MOL)


@dataclass(frozen=True, slots=True)
class Solute:
    """Amount of one INCI part, as a function of a composition. [mmol/100 g]"""

    inci: str

    def __call__(self, composition: Composition) -> float:
        """The part of this composition."""
        share = composition.shares().get(self.inci)
        amount = None if share is None else mmol_per_100g(share.substance, share.pct)
        return float(amount or 0)


def water_activity(composition: Composition) -> float | None:
    """Water activity at 25 degC, an upper estimate; None without water. [-]

    Each humectant alone in all the water, by Norrish where its constant is known and ideal else; the product over all
    (Ross). Salts, acids and what has no molar mass are left out, which can only make the estimate higher. Polymers and
    the network hold water by structure and hardly lower its activity.
    """
    parts, combine = activity_parts(composition)
    return combine(*(part(composition) for part in parts)) if shares_of(composition, "water") else None


def activity_parts(composition: Composition) -> tuple[tuple[Callable, ...], Callable]:
    """The amounts that make the water activity, water first, and what makes it of them, on numbers and on arrays."""
    solutes = [share for share in shares_of(composition, "humectant") if mmol_per_100g(share.substance, share.pct)]
    constants = [_constant(share) for share in solutes]

    def combine(water, *amounts):
        return ross(norrish(water, amount, k) for amount, k in zip(amounts, constants, strict=True))

    return (water_mmol, *(Solute(share.substance.inci) for share in solutes)), combine


def _constant(share: Share) -> float:
    fact = share.substance.norrish_k
    return float(fact.value if fact is not None and fact.value is not None else Decimal(0))
