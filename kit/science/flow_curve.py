"""A measured flow curve: stresses at shear rates, and whether they are readings that a model can be fitted to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from kit.errors import KitError

SMALLEST, LARGEST = 1e-12, 1e12
"""Between these lies every rate, in 1/s, and every stress, in Pa, that an instrument reads."""


@dataclass(frozen=True, slots=True, eq=False)
class FlowCurve:
    """Stresses read at shear rates, in any order; a rate may occur more than once.

    Parameters
    ----------
    shear_rate_per_s : sequence, (n,)        True rates, of a coaxial or cone geometry. [1/s]
    stress_pa : sequence, (n,)               [Pa]
    standard_deviation_pa : sequence, (n,)   Of each stress where it is known, such as the share of full scale that the
                                             instrument allows; None where it is not. [Pa]

    Attributes
    ----------
    fault : str   Why no model can be fitted; empty where one can.

    Raises
    ------
    KitError   `flow.readings` for lists of different length.
    """

    shear_rate_per_s: Sequence[float]
    stress_pa: Sequence[float]
    standard_deviation_pa: Sequence[float] | None = None
    fault: str = field(init=False)

    def __post_init__(self) -> None:
        told = [self.shear_rate_per_s, self.stress_pa]
        told += [] if self.standard_deviation_pa is None else [self.standard_deviation_pa]
        rows = [_row(values) for values in told]
        if any(row.ndim != 1 or row.shape != rows[0].shape for row in rows):
            raise KitError(
                f"lists of {', '.join(str(row.size) for row in rows)} values do not fit together",
                where="flow curve",
                allowed="one stress, and one standard deviation where these are given, for each shear rate",
                mend="leave out a reading that is missing on one side",
                code="flow.readings",
            )
        for name, row in zip(("shear_rate_per_s", "stress_pa", "standard_deviation_pa"), rows, strict=False):
            object.__setattr__(self, name, row)
        object.__setattr__(self, "fault", self._find_fault())

    @classmethod
    def from_viscosity(
        cls,
        shear_rate_per_s: Sequence[float],
        viscosity_pa_s: Sequence[float],
        standard_deviation_pa_s: Sequence[float] | None = None,
    ) -> FlowCurve:
        """A flow curve from viscosities: stress is viscosity times rate.

        Parameters
        ----------
        shear_rate_per_s : sequence, (n,)          [1/s]
        viscosity_pa_s : sequence, (n,)            [Pa·s]
        standard_deviation_pa_s : sequence, (n,)   Of each viscosity, where it is known. [Pa·s]

        Raises
        ------
        KitError   `flow.readings`.
        """
        rates, viscosities = _row(shear_rate_per_s), _row(viscosity_pa_s)
        deviations = None if standard_deviation_pa_s is None else _row(standard_deviation_pa_s)
        alike = rates.shape == viscosities.shape and (deviations is None or deviations.shape == rates.shape)
        if not alike:  # refused below, in the words of a flow curve
            return cls(rates, viscosities, deviations)
        return cls(rates, rates * viscosities, None if deviations is None else rates * deviations)

    @property
    def viscosity_pa_s(self) -> np.ndarray:
        """Stress over rate. [Pa·s]"""
        return self.stress_pa / self.shear_rate_per_s

    @property
    def slowest_per_s(self) -> float:
        """The lowest rate. [1/s]"""
        return float(self.shear_rate_per_s.min())

    @property
    def fastest_per_s(self) -> float:
        """The highest rate. [1/s]"""
        return float(self.shear_rate_per_s.max())

    @property
    def distinct_rates(self) -> int:
        """How many different rates there are."""
        return int(np.unique(self.shear_rate_per_s).size)

    def _find_fault(self) -> str:
        rates, stresses, deviations = self.shear_rate_per_s, self.stress_pa, self.standard_deviation_pa
        if not rates.size:
            return "there is no reading"
        checks = [
            (~np.isfinite(rates), "has a shear rate that is not a number"),
            (~np.isfinite(stresses), "has a stress that is not a number"),
            (rates <= 0, "has a shear rate that is not above zero"),
            (stresses < 0, "has a negative stress or torque: zero of the instrument, or the direction, is wrong"),
            (stresses == 0, "has no stress: below what the instrument shows"),
        ]
        if deviations is not None:
            checks.append(
                (~(np.isfinite(deviations) & (deviations > 0)), "has a standard deviation that is not above zero")
            )
        for wrong, words in checks:
            if wrong.any():
                return f"reading {int(np.flatnonzero(wrong)[0]) + 1} {words}; leave it out and say why"
        if not all(row.min() > SMALLEST and row.max() < LARGEST for row in (rates, stresses)):
            return "a rate or a stress is of a size that no instrument reads: check its unit"
        if self.distinct_rates < 2:
            return "all readings are at one shear rate"
        if np.ptp(stresses) <= 1e-12 * stresses.max():
            return (
                "the stress is the same at every rate: a stuck display, slip at the wall, or a plug that does not flow"
            )
        return ""


def _row(values: Sequence[float]) -> np.ndarray:
    row = np.array(values, dtype=float)
    row.setflags(write=False)
    return row
