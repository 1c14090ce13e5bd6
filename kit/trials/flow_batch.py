"""What the flow curve of one filling tells: points with their error, models, yield value, hysteresis, recovery."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from kit.bench.geometry import SpindleGeometry, geometry_of
from kit.bench.readings import Instrument, Reading, viscosity_mpa_s
from kit.errors import KitError
from kit.science.flow_choice import CLEAR, DEFAULT_MODELS, FlowChoice, choose_model
from kit.science.flow_curve import FlowCurve
from kit.science.flow_fit import fit_flow
from kit.science.flow_models import CASSON, HERSCHEL_BULKLEY, NEWTONIAN, POWER_LAW, FlowModel
from kit.science.flow_result import FlowFit
from kit.science.thixotropy import Hysteresis, Recovery, hysteresis, recovery
from kit.science.viscometer import full_scale_accuracy_pct, relative_error_pct
from kit.science.viscometer_parts import spindle_constant, spindles, springs
from kit.science.viscometer_relative import RelativeFlowCurve, flow_index, relative_flow_curve
from kit.science.yield_stress import QuickYield, YieldRange, YieldStress, quick_yield, yield_range, yield_stress
from kit.show import Fielded
from kit.trials.flow_select import Filling
from kit.trials.flow_sweep import AFTER_REST

_HALF, _ONE = 0.5, 1.0  # the two speeds of the quick yield figure
_FEWEST_TO_CHOOSE = 5  # two parameters, the scatter, and readings to spare
_WITHOUT_BEND = (NEWTONIAN, POWER_LAW, CASSON, HERSCHEL_BULKLEY)  # a second run has lost the structure of a rest
_SPRING_NEAR = 0.02  # a constant within 2 % of a spring's belongs to it


@dataclass(frozen=True, slots=True, repr=False)
class CurvePoint(Fielded):
    """One reading of a flow curve.

    Parameters
    ----------
    run : str                            "up", "down", "after rest" or "no order".
    reading : Reading
    rpm, viscosity_mpa_s : float         [1/min], [mPa·s]
    torque_pct, error_pct : float, None  Of full scale; error of the value that the accuracy of full scale allows. [%]
    shear_rate_per_s, stress_pa : float, None   True values; None for a relative geometry. [1/s], [Pa]
    """

    run: str
    reading: Reading
    rpm: float
    viscosity_mpa_s: float
    torque_pct: float | None
    error_pct: float | None
    shear_rate_per_s: float | None = None
    stress_pa: float | None = None


@dataclass(frozen=True, slots=True, repr=False)
class RunFit(Fielded):
    """A run with the models that describe it. For a relative geometry only the flow index is told.

    Parameters
    ----------
    run : str                     "up", "down" or "no order".
    points : tuple of CurvePoint
    choice : FlowChoice, None     Of the true curve.
    fit : FlowFit, None           The model that is used and drawn: the one chosen, else a power law that holds.
    why_fit : str                 Why this model, or why none.
    yield_value : YieldStress, None
    yields : YieldRange, None     By every model that is not clearly worse than the best.
    index : tuple, None           Flow index of a power law in speed, and its standard error.
    why_no_index : str            Why it is not told.
    """

    run: str
    points: tuple[CurvePoint, ...]
    choice: FlowChoice | None = None
    fit: FlowFit | None = None
    why_fit: str = ""
    yield_value: YieldStress | None = None
    yields: YieldRange | None = None
    index: tuple[float, float] | None = None
    why_no_index: str = ""

    @property
    def offset_pa(self) -> float | None:
        """Stress by which a wrong zero within the accuracy of full scale would shift every point. [Pa]"""
        known = [point for point in self.points if point.stress_pa is not None and point.error_pct is not None]
        return max((point.stress_pa * point.error_pct / 100 for point in known), default=None)


@dataclass(frozen=True, slots=True, repr=False)
class BatchFlow(Fielded):
    """The flow of one batch at one age, read on one filling.

    Parameters
    ----------
    filling : Filling
    geometry : SpindleGeometry
    runs : tuple of RunFit                 The one that counts first; empty where fewer than three speeds are left.
    after_rest : tuple of CurvePoint
    hysteresis : Hysteresis, None          For a relative geometry only its share means something.
    recovery : Recovery, None
    quick : QuickYield, None               From 0.5 and 1 rpm.
    approximate : RelativeFlowCurve, None  Mean rates and stresses around a disc.
    """

    filling: Filling
    geometry: SpindleGeometry
    runs: tuple[RunFit, ...]
    after_rest: tuple[CurvePoint, ...] = ()
    hysteresis: Hysteresis | None = None
    recovery: Recovery | None = None
    quick: QuickYield | None = None
    approximate: RelativeFlowCurve | None = None

    @property
    def title(self) -> str:
        """Batch, age and spindle."""
        return self.filling.title

    @property
    def is_true(self) -> bool:
        """Whether shear rates and stresses are true."""
        return self.geometry.is_true

    @property
    def place(self) -> tuple[str, str]:
        """Curves of one place may stand side by side: true ones anywhere, relative ones by instrument and spindle."""
        return ("", "") if self.is_true else (self.filling.first.instrument, self.filling.first.spindle)

    @property
    def main(self) -> RunFit | None:
        """The run that counts; None without one."""
        return self.runs[0] if self.runs else None

    @property
    def points(self) -> tuple[CurvePoint, ...]:
        """Every point, run by run."""
        return (*(point for run in self.runs for point in run.points), *self.after_rest)


def flow_of(filling: Filling, instrument: Instrument | None) -> BatchFlow:
    """Work out what a filling tells.

    Parameters
    ----------
    filling : Filling
    instrument : Instrument   It was read on; None where it is not in the record.
    """
    sweep, geometry = filling.sweep, geometry_of(filling.first.spindle, instrument.geometry if instrument else None)
    runs = tuple(
        _fitted(name, _points(name, run, geometry), geometry.is_true, DEFAULT_MODELS if first else _WITHOUT_BEND)
        for first, (name, run) in zip((True, False, False), sweep.runs, strict=False)
    )
    if not runs:
        return BatchFlow(filling, geometry, ())
    by_name = {run.run: run.points for run in runs}
    return BatchFlow(
        filling,
        geometry,
        runs,
        _points(AFTER_REST, sweep.after_rest, geometry),
        _area(by_name, runs[0]),
        _recovered(filling),
        _quick(runs[0].points),
        _approximate(runs[0].points, geometry, instrument),
    )


def curve_of(points: Sequence[CurvePoint]) -> FlowCurve:
    """The points as a flow curve; for a relative geometry speed stands for the rate and torque for the stress.

    Parameters
    ----------
    points : sequence of CurvePoint
    """
    if all(point.shear_rate_per_s is not None for point in points):
        return FlowCurve([point.shear_rate_per_s for point in points], [point.stress_pa for point in points])
    return FlowCurve([point.rpm for point in points], [point.viscosity_mpa_s * point.rpm / 1000 for point in points])


def _points(run: str, readings: Sequence[Reading], geometry: SpindleGeometry) -> tuple[CurvePoint, ...]:
    return tuple(_point(run, reading, geometry) for reading in readings)


def _point(run: str, reading: Reading, geometry: SpindleGeometry) -> CurvePoint:
    value, torque = float(viscosity_mpa_s(reading)), reading.torque_pct
    rate = geometry.shear_rate_per_s(reading.rpm)
    return CurvePoint(
        run,
        reading,
        float(reading.rpm),
        value,
        None if torque is None else float(torque),
        relative_error_pct(float(torque)) if torque is not None and torque > 0 else None,
        rate,
        None if rate is None else value / 1000 * rate,
    )


def _fitted(run: str, points: tuple[CurvePoint, ...], is_true: bool, models: Sequence[FlowModel]) -> RunFit:
    index, why_no_index = _index(points)
    if not is_true:
        return RunFit(run, points, index=index, why_no_index=why_no_index)
    curve = curve_of(points)
    choice = choose_model(curve, models)
    fit, why = (choice.chosen, choice.reason) if len(points) >= _FEWEST_TO_CHOOSE else _power_law_only(curve)
    best = min((found.aicc for found in choice.fits if found.ok and found.aicc is not None), default=0.0)
    usable = [found for found in choice.fits if found.ok and found.model.has_yield and _near(found, best)]
    return RunFit(
        run,
        points,
        choice,
        fit,
        why,
        None if fit is None else yield_stress(fit),
        yield_range(usable),
        index,
        why_no_index,
    )


def _near(fit: FlowFit, best: float) -> bool:
    """Whether a model describes a curve about as well as the best of them."""
    return fit.aicc is not None and fit.aicc - best <= CLEAR


def _power_law_only(curve: FlowCurve) -> tuple[FlowFit | None, str]:
    """A power law where there are too few readings to compare models."""
    fit = fit_flow(curve, POWER_LAW)
    if not fit.ok:
        return None, "; ".join(fit.reasons)
    return fit, f"power law: with fewer than {_FEWEST_TO_CHOOSE} readings models cannot be compared"


def _index(points: Sequence[CurvePoint]) -> tuple[tuple[float, float] | None, str]:
    """Flow index of a power law in speed: torque goes with value times speed, whatever the spindle."""
    try:
        return flow_index([point.rpm for point in points], [point.viscosity_mpa_s * point.rpm for point in points]), ""
    except KitError as problem:
        return None, problem.what


def _area(by_name: dict[str, tuple[CurvePoint, ...]], main: RunFit) -> Hysteresis | None:
    if not {"up", "down"} <= set(by_name):
        return None
    scatter = main.fit.residual_sd if main.fit is not None and main.fit.weighting == "relative" else None
    return hysteresis(curve_of(by_name["up"]), curve_of(by_name["down"]), scatter)


def _recovered(filling: Filling) -> Recovery | None:
    """Viscosity at the lowest speed after rest over that at the same speed before, against the time of rest."""
    sweep, rest = filling.sweep, filling.sweep.after_rest
    if not rest:
        return None
    before = [reading for reading in sweep.up if reading.rpm == rest[0].rpm]
    if not before:
        return Recovery(reason=f"nothing was read at {rest[0].rpm} rpm before the shear")
    ended = sweep.before_rest.measured_at
    if ended is None or any(reading.measured_at is None for reading in rest):
        return Recovery(reason="the clock times of shear and rest were not recorded")
    began = datetime.fromisoformat(ended)
    times = [(datetime.fromisoformat(reading.measured_at) - began).total_seconds() for reading in rest]
    after = [float(viscosity_mpa_s(reading)) / 1000 for reading in rest]
    return recovery(float(viscosity_mpa_s(before[0])) / 1000, times, after)


def _quick(points: Sequence[CurvePoint]) -> QuickYield | None:
    at = {point.rpm: point.viscosity_mpa_s for point in points}
    return quick_yield(at[_HALF], at[_ONE]) if {_HALF, _ONE} <= set(at) else None


def _approximate(
    points: Sequence[CurvePoint], geometry: SpindleGeometry, instrument: Instrument | None
) -> RelativeFlowCurve | None:
    """Mean rates and stresses around a disc whose spring the constant tells; None for anything else."""
    spring = _spring(geometry, instrument)
    if spring is None or any(point.torque_pct is None for point in points):
        return None
    try:
        return relative_flow_curve(
            geometry.spindle, [point.rpm for point in points], [point.torque_pct for point in points], spring
        )
    except KitError:
        return None  # the torque does not rise with speed: said where the flow index is told


def _spring(geometry: SpindleGeometry, instrument: Instrument | None) -> str | None:
    known = spindles().get(geometry.spindle)
    constant = instrument.constants.get(geometry.spindle) if instrument else None
    if known is None or known.stress_pa_per_pct is None or constant is None:
        return None
    for name in springs():
        if math.isclose(float(constant), spindle_constant(name, geometry.spindle), rel_tol=_SPRING_NEAR):
            return name
    return None


def accuracy_words() -> str:
    """How the error of a point is worked out."""
    return f"error of a point: {full_scale_accuracy_pct():g} % of full scale, over its torque"
