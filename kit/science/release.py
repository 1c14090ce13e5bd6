"""First-order release of acid or base in a mixture, and the pH it leads to over age."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import least_squares

from kit.science.acidbase import AcidBaseError, AcidSystem, solve, strong_ions_for_ph
from kit.science.first_order import fit_first_order, rate_bounds, standard_errors

LATENT, RATE, OFFSET = "latent", "rate", "offset"
_MOST_LATENT = 1.0  # mol/kg water: more than any product holds
_ON_BOUND = (1e-5, 1e-4, 1e-4)  # share of what an unknown can be within which it counts as lying at an end of it


@dataclass(frozen=True)
class Aging:
    """A mixture in which a latent substance sets acids, bases or strong ions free, first order.

    What consumes acid is here what releases a base: ammonia from urea, or strong ions of positive charge.

    Parameters
    ----------
    totals : mapping                         System to its total. [mol/kg water]
    releases : mapping                       System to the moles that one mole of the latent substance sets free. [-]
    released_strong_ions : float             Net charge of strong ions that it sets free, cations positive. [-]
    settled : bool                           Whether `totals` are those at the end, all released (an assay after
                                             hydrolysis), or those that are free at age zero.
    strong_ions_mol_per_kg : float           Of the mixture, at every age. [mol/kg water]
    spectators_z2_mol_per_kg : float         As in `solve`. [mol/kg water]
    temp_c : float                           At which the pH is read, whatever the mixture is kept at. [degC]
    activity : str                           As in `solve`.

    Raises
    ------
    AcidBaseError   `ph.release` for a system that is released and is not among the totals of a settled mixture.
    """

    totals: Mapping[AcidSystem, float]
    releases: Mapping[AcidSystem, float] = field(default_factory=dict)
    released_strong_ions: float = 0.0
    settled: bool = False
    strong_ions_mol_per_kg: float = 0.0
    spectators_z2_mol_per_kg: float = 0.0
    temp_c: float = 25.0
    activity: str = "davies"

    def __post_init__(self) -> None:
        """Refuse a release out of nothing."""
        missing = [system.name for system in self.releases if self.settled and system not in self.totals]
        if missing or not (self.releases or self.released_strong_ions):
            raise AcidBaseError(
                f"{', '.join(missing) or 'nothing'} is released, but is not among the totals",
                where="Aging",
                allowed="systems of the mixture, or strong ions",
                mend="name what is set free; with settled=True its total counts it already",
                code="ph.release",
            )

    @property
    def most_latent_mol_per_kg(self) -> float:
        """The most that can be latent: with settled totals no more than there is in the end. [mol/kg water]"""
        if not self.settled or not self.releases:
            return _MOST_LATENT
        return min(self.totals[system] / moles for system, moles in self.releases.items())

    def ph(self, latent_mol_per_kg: float, rate_per_d: float, age_d, offset_mol_per_kg: float = 0.0):
        """The pH at some ages.

        Parameters
        ----------
        latent_mol_per_kg : float   Latent substance at age zero. [mol/kg water]
        rate_per_d : float          [1/d]
        age_d : float or array      [d]
        offset_mol_per_kg : float   Strong ions that the mixture holds besides, cations positive. [mol/kg water]

        Returns
        -------
        float or array   In the shape of the ages. [-]

        Raises
        ------
        AcidBaseError   As `solve`; `ph.amount` where more is latent than there is.
        """
        free = released_mol_per_kg(latent_mol_per_kg, rate_per_d, age_d)
        free = free - latent_mol_per_kg if self.settled else free
        totals = dict(self.totals)
        for system, moles in self.releases.items():
            totals[system] = totals.get(system, 0.0) + moles * free
        strong = self.strong_ions_mol_per_kg + offset_mol_per_kg + self.released_strong_ions * free
        return solve(totals, strong, self.temp_c, self.activity, self.spectators_z2_mol_per_kg).ph


@dataclass(frozen=True, slots=True)
class ReleaseFit:
    """What readings of pH over age tell of a release. Parts that cannot be told are None.

    Parameters
    ----------
    latent_mol_per_kg, rate_per_d, offset_mol_per_kg : float, None     Fitted. [mol/kg water], [1/d], [mol/kg water]
    latent_error, rate_error, offset_error : float, None               Standard errors. [as the values]
    residual_sd : float, None   Scatter about the curve. [pH]
    df : int                    Readings less unknowns.
    at_bound : tuple of str     Unknowns that lie at the end of what can be: "latent", "rate".
    reason : str                Why a part is missing.
    """

    latent_mol_per_kg: float | None = None
    rate_per_d: float | None = None
    offset_mol_per_kg: float | None = None
    latent_error: float | None = None
    rate_error: float | None = None
    offset_error: float | None = None
    residual_sd: float | None = None
    df: int = 0
    at_bound: tuple[str, ...] = ()
    reason: str = ""


def released_mol_per_kg(latent_mol_per_kg, rate_per_d, age_d):
    """What a latent substance has set free by an age: n0 (1 - exp(-k t)). [mol/kg]

    Parameters
    ----------
    latent_mol_per_kg : float or array   At age zero. [mol/kg]
    rate_per_d : float or array          [1/d]
    age_d : float or array               [d]

    Returns
    -------
    float or array   [mol/kg]
    """
    return -latent_mol_per_kg * np.expm1(-rate_per_d * np.asarray(age_d, dtype=float))


def approximate_ph_change(
    latent_mol_per_kg, rate_per_d, age_d, buffer_capacity_mol_per_kg, protons_per_mol: float = 1.0
):
    """The pH change of a release by the buffer capacity alone: for a quick look, not beyond about 0.3 pH.

    Parameters
    ----------
    latent_mol_per_kg : float or array            At age zero. [mol/kg water]
    rate_per_d, age_d : float or array            [1/d], [d]
    buffer_capacity_mol_per_kg : float or array   Strong base per pH unit. [mol/kg water]
    protons_per_mol : float                       Given off by each mole set free; negative for a base. [-]

    Returns
    -------
    float or array   Negative for an acid: the pH falls. [-]

    Notes
    -----
    -S n0 (1 - exp(-k t)) / beta.
    """
    return -protons_per_mol * released_mol_per_kg(latent_mol_per_kg, rate_per_d, age_d) / buffer_capacity_mol_per_kg


def fit_release(aging: Aging, ages_d: Sequence[float], ph: Sequence[float]) -> ReleaseFit:
    """Latent amount, rate, and an offset of the mixture's strong ions, from readings of pH over age.

    Parameters
    ----------
    aging : Aging                The mixture, and what is set free in it.
    ages_d : sequence of float   [d]
    ph : sequence of float       Read at each, of one batch in one condition. [-]

    Returns
    -------
    ReleaseFit   With `reason` and without values where the readings tell nothing: fewer than three ages, no change.

    Raises
    ------
    KitError        `drift.readings`.
    AcidBaseError   As `solve`.

    Notes
    -----
    Least squares from the rate of the first-order curve through the pH, which is searched over all that these ages can
    tell. The offset lets the curve begin where the batch was read: what else the mixture holds is not known to 0.1 pH
    before a titration.
    """
    outline = fit_first_order(ages_d, ph)
    if outline.change is None:
        return ReleaseFit(reason=outline.reason)
    ages, read = np.asarray(ages_d, dtype=float), np.asarray(ph, dtype=float)
    slow, fast = rate_bounds(ages)
    most = aging.most_latent_mol_per_kg
    begin_offset, begin_latent = _beginning(aging, outline.start, outline.settled, most)
    low, high = np.array([0.0, slow, -_MOST_LATENT]), np.array([most, fast, _MOST_LATENT])

    def left(unknown: np.ndarray) -> np.ndarray:
        return read - aging.ph(unknown[0], math.exp(unknown[1]), ages, unknown[2])

    scale = (max(begin_latent, 1e-5), 1.0, max(begin_latent, 1e-5))
    rate = min(max(math.log(outline.rate_per_d), slow + 1e-3), fast - 1e-3)
    found = least_squares(
        left,
        (begin_latent, rate, begin_offset),
        bounds=(low, high),
        x_scale=scale,
        xtol=1e-11,
        ftol=1e-12,
        gtol=1e-12,
        jac="3-point",
    )
    return _told(found, low, high)


def _beginning(aging: Aging, start: float, settled: float, most: float) -> tuple[float, float]:
    """A first offset and a first latent amount: what brings the mixture to the first pH, and from there to the last."""

    def needed(ph: float) -> float:
        found = strong_ions_for_ph(aging.totals, ph, aging.temp_c, aging.activity, aging.spectators_z2_mol_per_kg)
        return float(found) - aging.strong_ions_mol_per_kg

    first, last = needed(start), needed(settled)
    protons = max(sum(abs(moles) for moles in aging.releases.values()) + abs(aging.released_strong_ions), 1e-3)
    latent = min(abs(first - last) / protons, 0.5 * most)
    return (last if aging.settled else first), max(latent, 1e-6 * most)


def _told(found, low: np.ndarray, high: np.ndarray) -> ReleaseFit:
    near = np.array(_ON_BOUND) * (high - low)
    on_bound = (found.x - low < near) | (high - found.x < near)
    errors, scatter = standard_errors(-found.jac, found.fun)
    latent, rate, offset = float(found.x[0]), math.exp(found.x[1]), float(found.x[2])
    df = found.fun.size - found.x.size
    at_bound = tuple(name for name, held in zip((LATENT, RATE, OFFSET), on_bound, strict=True) if held)
    if df < 1:
        reason = "as many unknowns as readings: the curve goes through all of them"
    elif at_bound:
        reason = f"{' and '.join(at_bound)} at the end of what these readings can tell"
    else:
        reason = "" if errors is not None else "these readings do not tell latent amount and rate apart"
    known = errors is not None and not at_bound
    return ReleaseFit(
        latent_mol_per_kg=latent,
        rate_per_d=rate,
        offset_mol_per_kg=offset,
        latent_error=float(errors[0]) if known else None,
        rate_error=float(errors[1]) * rate if known else None,
        offset_error=float(errors[2]) if known else None,
        residual_sd=scatter,
        df=df,
        at_bound=at_bound,
        reason=reason,
    )
