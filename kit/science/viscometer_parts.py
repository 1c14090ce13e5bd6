"""The springs and spindles of a rotational viscometer, and the constant of one with the other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from kit.errors import KitError
from kit.show import Worded
from kit.sources import read_data

COAXIAL = "coaxial cylinders"
DISC = "disc"
T_BAR = "T-bar"
CYLINDER = "cylinder in a beaker"

GEOMETRIES = (COAXIAL, DISC, T_BAR, CYLINDER)
"""Classes of geometry; only the first gives true shear rates."""


@dataclass(frozen=True, slots=True)
class Spring:
    """A spring by its full-scale torque.

    Parameters
    ----------
    name : str                Such as "RV".
    relative_torque : float   Full scale over that of RV. [-]
    torque_n_m : float        Full scale. [N·m]
    """

    name: str
    relative_torque: float
    torque_n_m: float


@dataclass(frozen=True, slots=True, repr=False)
class Spindle(Worded):
    """A spindle by its class of geometry and its multiplier.

    Parameters
    ----------
    name : str                            Such as "disc 5".
    geometry : str                        One of `GEOMETRIES`.
    multiplier : float                    Constant K over 100 times the relative torque of the spring. [mPa·s rpm]
    shear_rate_per_s_per_rpm : float      Of coaxial cylinders only. [1/s per rpm]
    stress_pa_per_pct : float             Of a disc on spring RV, after Mitschka. [Pa/%]
    """

    name: str
    geometry: str
    multiplier: float
    shear_rate_per_s_per_rpm: float | None = None
    stress_pa_per_pct: float | None = None

    @property
    def gives_true_rates(self) -> bool:
        """Whether one shear rate holds in the whole gap, and is known."""
        return self.geometry == COAXIAL and self.shear_rate_per_s_per_rpm is not None

    @property
    def words(self) -> str:
        """What its readings are."""
        if self.gives_true_rates:
            return f"{self.name}: true shear rate and stress"
        return (
            f"{self.name}: relative values, to be compared at the same spindle, spring and speed only; "
            "no one shear rate holds around it"
        )


@lru_cache(maxsize=1)
def springs() -> dict[str, Spring]:
    """The springs by name. Treat the result as read-only."""
    rows = read_data("viscometer.toml")["spring"]
    unit = next(float(row["torque_full_scale"]["value"]) for row in rows if "torque_full_scale" in row) / 1000
    relative = {row["key"]: float(row["relative_torque"]["value"]) for row in rows}
    return {key: Spring(key, ratio, ratio * unit) for key, ratio in relative.items()}


@lru_cache(maxsize=1)
def spindles() -> dict[str, Spindle]:
    """The spindles by name. Treat the result as read-only."""
    return {
        row["key"]: Spindle(
            row["key"],
            row["geometry"],
            float(row["multiplier"]["value"]),
            _number(row, "shear_rate_per_speed"),
            _number(row, "stress_per_torque"),
        )
        for row in read_data("viscometer.toml")["spindle"]
    }


def spring(name: str) -> Spring:
    """A spring by name.

    Parameters
    ----------
    name : str   In any case, such as "RV".

    Raises
    ------
    KitError   `viscometer.spring`.
    """
    return _named(springs(), name, "spring")


def spindle(name: str) -> Spindle:
    """A spindle by name.

    Parameters
    ----------
    name : str   In any case, such as "disc 5".

    Raises
    ------
    KitError   `viscometer.spindle`.
    """
    return _named(spindles(), name, "spindle")


def spindle_constant(spring_name: str, spindle_name: str) -> float:
    """Constant K of a spring with a spindle: the value is K torque / speed. [mPa·s rpm / %]

    Parameters
    ----------
    spring_name, spindle_name : str   Both belong to the reading: the same spindle has another K on another spring.

    Raises
    ------
    KitError   `viscometer.spring`, `viscometer.spindle`.

    Notes
    -----
    As makers print them; the manual of the own instrument goes first [viscometer-manual-calculations].
    """
    return 100 * spring(spring_name).relative_torque * spindle(spindle_name).multiplier


def _named(table: Mapping, name: str, what: str):
    wanted = " ".join(str(name).lower().split())
    for key, item in table.items():
        if key.lower() == wanted:
            return item
    raise KitError(
        f"{name!r} is not a {what} whose constants are known",
        where="viscometer",
        allowed=", ".join(table),
        mend=f"name one of these, or take the constant of the {what} from the manual of the instrument",
        code=f"viscometer.{what}",
    )


def _number(row: dict, name: str) -> float | None:
    return float(row[name]["value"]) if name in row else None
