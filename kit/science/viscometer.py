"""A rotational viscometer that shows torque in % of full scale: values, window and error.

value = K torque / speed, with one constant K for a spring with a spindle, of `viscometer_parts`. What the value means
depends on the geometry: only where one shear rate holds everywhere in the gap are rate and stress true; with a disc, a
T-bar or a cylinder in a beaker they are relative, good for comparing at the same spindle and speed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.number_text import short
from kit.science.required import require_finite, require_not_negative, require_positive
from kit.science.viscometer_parts import spindle, spring
from kit.show import Worded
from kit.sources import read_data

_DYN_PER_CM2_IN_PA = 0.1
_USUAL_SPEEDS = (0.5, 1.0, 2.0, 2.5, 4.0, 5.0, 10.0, 20.0, 50.0, 100.0)


@dataclass(frozen=True, slots=True, repr=False)
class FlowPoint(Worded):
    """A true point of a flow curve.

    Parameters
    ----------
    shear_rate_per_s : float    [1/s]
    shear_stress_pa : float     [Pa]
    """

    shear_rate_per_s: float
    shear_stress_pa: float

    @property
    def viscosity_mpa_s(self) -> float:
        """Stress over rate. [mPa·s]"""
        return 1000 * self.shear_stress_pa / self.shear_rate_per_s

    @property
    def words(self) -> str:
        """Rate and stress."""
        return f"{short(self.shear_stress_pa)} Pa at {short(self.shear_rate_per_s)} 1/s"


@dataclass(frozen=True, slots=True, repr=False)
class TorqueJudgement(Worded):
    """Where a torque lies in the window of the instrument.

    Parameters
    ----------
    torque_pct : float           [%]
    state : str                  "below", "low", "good", "high", "above"; the first and the last are outside.
    relative_error_pct : float   Of the value, from full scale; None without torque. [%]
    words : str                  What it means and what to do.
    """

    torque_pct: float
    state: str
    relative_error_pct: float | None
    words: str

    @property
    def inside(self) -> bool:
        """Whether the reading may be used."""
        return self.state not in ("below", "above")


@dataclass(frozen=True, slots=True)
class Setting:
    """A spindle and speed for an expected viscosity.

    Parameters
    ----------
    spindle : str                Name.
    rpm : float                  [1/min]
    torque_pct : float           Expected. [%]
    relative_error_pct : float   From full scale. [%]
    """

    spindle: str
    rpm: float
    torque_pct: float
    relative_error_pct: float


def viscosity_mpa_s(constant: float, torque_pct: float, rpm: float) -> float:
    """Value of a reading, K torque / speed. [mPa·s]

    Parameters
    ----------
    constant : float     [mPa·s rpm / %]
    torque_pct : float   [%]
    rpm : float          [1/min]

    Raises
    ------
    KitError   `science.not_positive`, `science.negative` (a negative torque is a wrong zero or a wrong turn).
    """
    require_positive("viscometer reading", constant=constant, rpm=rpm)
    require_not_negative("viscometer reading", torque_pct=torque_pct)
    return constant * torque_pct / rpm


def full_scale_mpa_s(constant: float, rpm: float) -> float:
    """The largest value at a speed, 100 K / speed. [mPa·s]

    Parameters
    ----------
    constant : float   [mPa·s rpm / %]
    rpm : float        [1/min]

    Raises
    ------
    KitError   `science.not_positive`.
    """
    return viscosity_mpa_s(constant, 100.0, rpm)


def full_scale_accuracy_pct() -> float:
    """Accuracy that makers print, of full scale. [%]"""
    return float(read_data("viscometer.toml")["accuracy"]["full_scale_accuracy"]["value"])


def relative_error_pct(torque_pct: float, accuracy_pct: float | None = None) -> float:
    """What the accuracy of full scale means for a value: 100 times it over the torque. [%]

    Parameters
    ----------
    torque_pct : float     [%]
    accuracy_pct : float   Of full scale; 1 when omitted [viscometer-course-note]. [%]

    Raises
    ------
    KitError   `science.not_positive`.
    """
    accuracy = full_scale_accuracy_pct() if accuracy_pct is None else accuracy_pct
    require_positive("error from full scale", torque_pct=torque_pct, accuracy_pct=accuracy)
    return 100 * accuracy / torque_pct


def judge_torque(
    torque_pct: float, window: tuple[float, float] | None = None, aim: tuple[float, float] | None = None
) -> TorqueJudgement:
    """Where a torque lies, what its value is good for, and what to do.

    Parameters
    ----------
    torque_pct : float   As read; negative or above 100 is outside. [%]
    window : tuple       Lowest and highest torque allowed; 10 to 100 when omitted [viscometer-course-note]. [%]
    aim : tuple          Where to read if there is a choice; 30 to 80 when omitted, common practice, no source. [%]

    Raises
    ------
    KitError   `science.not_finite`.
    """
    require_finite("viscometer reading", torque_pct=torque_pct)
    low, high = window or _range("torque")
    aim_low, aim_high = aim or _range("torque_aim")
    error = relative_error_pct(torque_pct) if torque_pct > 0 else None
    told = "" if error is None else f" (the value is good to {short(error, 2)} %)"
    if torque_pct <= 0:
        state = "below"
        words = "Not above zero: no reading. Set the zero with the spindle in air, see that it turns, and read again."
    elif torque_pct < low:
        state = "below"
        words = f"Below {low:g} %{told}: take a larger spindle or a higher speed and read again."
    elif torque_pct > high:
        state = "above"
        words = f"Above {high:g} %: over range. Take a smaller spindle or a lower speed and read again."
    elif torque_pct < aim_low:
        state, words = "low", f"Inside the window, low{told}; {aim_low:g} to {aim_high:g} % is better."
    elif torque_pct > aim_high:
        state, words = "high", f"Inside the window, near its end{told}; little room if the product thickens."
    else:
        state, words = "good", f"Well inside the window{told}."
    return TorqueJudgement(torque_pct, state, error, words)


def settings_for(
    viscosity_mpa_s: float,
    constants: Mapping[str, float],
    speeds_rpm: Iterable[float] = _USUAL_SPEEDS,
    window: tuple[float, float] | None = None,
) -> tuple[Setting, ...]:
    """Spindles and speeds that would read an expected viscosity inside the window, the most torque first.

    Parameters
    ----------
    viscosity_mpa_s : float   Expected at the speed; a product that thins has another at another speed. [mPa·s]
    constants : mapping       Spindle to its constant K on this instrument. [mPa·s rpm / %]
    speeds_rpm : iterable     Speeds the instrument has. [1/min]
    window : tuple            Torque; 30 to 80 % when omitted. [%]

    Raises
    ------
    KitError   `science.not_positive`.
    """
    require_positive("choice of spindle", viscosity=viscosity_mpa_s)
    low, high = window or _range("torque_aim")
    found = [
        Setting(name, rpm, torque, relative_error_pct(torque))
        for name, constant in constants.items()
        for rpm in speeds_rpm
        if low <= (torque := viscosity_mpa_s * rpm / constant) <= high
    ]
    return tuple(sorted(found, key=lambda setting: -setting.torque_pct))


def flow_point(spring_name: str, spindle_name: str, torque_pct: float, rpm: float) -> FlowPoint:
    """True shear rate and stress of a reading in coaxial cylinders.

    Parameters
    ----------
    spring_name, spindle_name : str   As in `spring` and `spindle`.
    torque_pct : float                [%]
    rpm : float                       [1/min]

    Raises
    ------
    KitError   `viscometer.relative` for a disc, a T-bar or a cylinder in a beaker; `viscometer.spring`,
               `viscometer.spindle`, `science.not_positive`, `science.negative`.

    Notes
    -----
    rate = c rpm and stress = 0.1 k m c torque in Pa, with relative torque k of the spring, multiplier m and shear rate
    constant c of the spindle [viscometer-manual-calculations].
    """
    chosen = spindle(spindle_name)
    if not chosen.gives_true_rates:
        raise KitError(
            f"{chosen.name} gives no true shear rate",
            where="flow curve from a viscometer",
            allowed="coaxial cylinders with a printed shear rate",
            mend="compare readings at the same spindle and speed, or fit a relative curve and say so",
            code="viscometer.relative",
        )
    require_positive("flow point", rpm=rpm)
    require_not_negative("flow point", torque_pct=torque_pct)
    rate = chosen.shear_rate_per_s_per_rpm
    stress = _DYN_PER_CM2_IN_PA * spring(spring_name).relative_torque * chosen.multiplier * rate * torque_pct
    return FlowPoint(rate * rpm, stress)


def _range(name: str) -> tuple[float, float]:
    fact = read_data("viscometer.toml")["accuracy"][name]
    return float(fact["low"]), float(fact["high"])
