"""Viscosity of a blend of oils from those of its parts: three rules that disagree, and none for a gel."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.number_text import short
from kit.science.required import require_not_negative, require_positive
from kit.show import Worded

_SUM_TOLERANCE = 1e-6

LIMITS = (
    "rules for oils that mix without reacting, all at one temperature",
    "they differ by more than a measurement does: measure the blend where it matters",
    "none holds for an emulsion or a gel",
)
"""What every blend is printed with."""


@dataclass(frozen=True, slots=True, repr=False)
class BlendViscosity(Worded):
    """Kinematic viscosity of a blend by each rule.

    Parameters
    ----------
    refutas_mm2_s : float          [mm2/s]
    logarithmic_mm2_s : float      Weighted geometric mean. [mm2/s]
    cube_root_mm2_s : float        Mean of cube roots. [mm2/s]
    limits : tuple of str          What they do not hold for.
    """

    refutas_mm2_s: float
    logarithmic_mm2_s: float
    cube_root_mm2_s: float
    limits: tuple[str, ...] = LIMITS

    @property
    def low_mm2_s(self) -> float:
        """The lowest of the three. [mm2/s]"""
        return min(self.refutas_mm2_s, self.logarithmic_mm2_s, self.cube_root_mm2_s)

    @property
    def high_mm2_s(self) -> float:
        """The highest of the three. [mm2/s]"""
        return max(self.refutas_mm2_s, self.logarithmic_mm2_s, self.cube_root_mm2_s)

    @property
    def words(self) -> str:
        """The three rules and what they do not hold for."""
        return (
            f"{short(self.low_mm2_s)} to {short(self.high_mm2_s)} mm2/s: {short(self.refutas_mm2_s)} after Refutas, "
            f"{short(self.logarithmic_mm2_s)} by logarithms, {short(self.cube_root_mm2_s)} by cube roots. "
            f"Limits: {'; '.join(self.limits)}."
        )


def refutas_index(viscosity_mm2_s: float) -> float:
    """Viscosity blending number of Refutas, 14.534 ln(ln(v + 0.8)) + 10.975. [-]

    Parameters
    ----------
    viscosity_mm2_s : float   Above 0.2. [mm2/s]

    Raises
    ------
    KitError   `blend.viscosity` at 0.2 and below, where it does not exist.

    Notes
    -----
    R. E. Maples, Petroleum Refinery Process Economics, 2000; constants from memory.
    """
    if not viscosity_mm2_s > 0.2:
        raise KitError(
            f"a viscosity of {viscosity_mm2_s} mm2/s has no blending number",
            where="viscosity of a blend",
            allowed="above 0.2 mm2/s",
            mend="check the unit: mPa.s over density in g/mL is mm2/s",
            code="blend.viscosity",
        )
    return 14.534 * math.log(math.log(viscosity_mm2_s + 0.8)) + 10.975


def blend_viscosity(mass_fractions: Sequence[float], viscosities_mm2_s: Sequence[float]) -> BlendViscosity:
    """Kinematic viscosity of a blend by three rules.

    Parameters
    ----------
    mass_fractions : sequence, (n,)       Adding up to 1. [g/g]
    viscosities_mm2_s : sequence, (n,)    Of the parts, at one temperature. [mm2/s]

    Returns
    -------
    BlendViscosity   All three: how far they lie apart is what is known.

    Raises
    ------
    KitError   `blend.fractions`, `blend.viscosity`, `science.not_positive`, `science.negative`.

    Notes
    -----
    Refutas; mean of logarithms, Arrhenius 1887; mean of cube roots, Kendall and Monroe 1917. From memory.
    """
    shares, values = list(mass_fractions), list(viscosities_mm2_s)
    for share, value in zip(shares, values, strict=False):
        require_not_negative("viscosity of a blend", mass_fraction=share)
        require_positive("viscosity of a blend", viscosity=value)
    if len(shares) != len(values) or not shares or abs(math.fsum(shares) - 1) > _SUM_TOLERANCE:
        raise KitError(
            f"{len(shares)} fractions adding up to {math.fsum(shares):g}, {len(values)} viscosities",
            where="viscosity of a blend",
            allowed="one viscosity for each part, fractions that add up to 1",
            mend="divide each mass by their sum",
            code="blend.fractions",
        )
    return BlendViscosity(
        _mean(shares, values, refutas_index, _from_refutas),
        _mean(shares, values, math.log, math.exp),
        _mean(shares, values, math.cbrt, lambda root: root**3),
    )


def _mean(shares: list[float], values: list[float], scale: Callable, back: Callable) -> float:
    return back(math.fsum(share * scale(value) for share, value in zip(shares, values, strict=True)))


def _from_refutas(index: float) -> float:
    return math.exp(math.exp((index - 10.975) / 14.534)) - 0.8
