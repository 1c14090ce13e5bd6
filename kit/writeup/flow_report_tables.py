"""The tables of a write-up about flow and feel."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kit.science.flow_result import FlowFit
from kit.science.viscometer_relative import LIMITS
from kit.show import Block, Cell, Table
from kit.trials.flow import FlowStudy
from kit.trials.flow_batch import BatchFlow, RunFit
from kit.trials.flow_build import BatchBuild
from kit.trials.flow_feel import Felt
from kit.trials.flow_temperature import OffTemperature, ProductSlope
from kit.trials.flow_words import duration, index_words
from kit.trials.results import LeftOut
from kit.trials.wording import significant
from kit.units import plain

MODELS_NOTE = (
    "AICc: the lower, the better, on the same readings; below a difference of 2 models are not told apart. Scatter: of "
    "the readings about the curve, as a share of the stress. The power law in speed is the slope of torque against "
    "speed: it needs no geometry, and a yield value makes it smaller than the flow index of a model that has one."
)
_ABSENT = "–"


def model_tables(curves: Sequence[BatchFlow]) -> Iterable[Table]:
    """For every run the models tried: parameters with standard errors, or why they are not told; the flow index.

    Parameters
    ----------
    curves : sequence of BatchFlow
    """
    for flow in curves:
        for run in flow.runs:
            yield Table(
                ("model", "parameters ± standard error", "scatter\nAICc"),
                [*(_model_row(fit, run) for fit in (run.choice.fits if run.choice else ())), _index_row(run)],
                title=f"{flow.title}, {run.run}",
                numeric=frozenset({2}),
            )


def _model_row(fit: FlowFit, run: RunFit) -> tuple[object, ...]:
    if not fit.ok:
        return f"{fit.model.name}\nnot told", fit.reasons[0], _ABSENT
    chosen = run.fit is not None and fit.model is run.fit.model
    name = Cell(f"{fit.model.name}\nused", "strong") if chosen else fit.model.name
    scatter = _ABSENT if fit.residual_sd is None else f"{fit.residual_sd:.1%}"
    aicc = _ABSENT if fit.aicc is None else f"{fit.aicc:.1f}".replace("-", "−")
    return name, "\n".join(str(estimate) for estimate in fit.estimates), f"{scatter}\n{aicc}"


def _index_row(run: RunFit) -> tuple[object, ...]:
    return "power law in speed", f"flow index {index_words(run)}", _ABSENT


def structure_table(curves: Sequence[BatchFlow]) -> Table:
    """Yield value, hysteresis and recovery of every curve.

    Parameters
    ----------
    curves : sequence of BatchFlow
    """
    rows = [
        (flow.title, _yield_cell(flow), _quick_cell(flow), _area_cell(flow), _recovery_cell(flow)) for flow in curves
    ]
    return Table(
        ("curve", "yield value", "quick figure, 0.5 and 1 rpm", "hysteresis", "recovery after rest"),
        rows,
        title="Yield, hysteresis and recovery",
        note="A yield value is the curve prolonged to no flow, never a measurement. Hysteresis hangs on the programme "
        "of speeds. The quick figure ranks samples on one spindle only.",
    )


def _yield_cell(flow: BatchFlow) -> str:
    found = flow.main.yield_value
    if not flow.is_true:
        return "cannot be told by this spindle"
    return "cannot be told: no model is used" if found is None else str(found)


def _quick_cell(flow: BatchFlow) -> str:
    if flow.quick is None or flow.quick.pa is None:
        return _ABSENT if flow.quick is None else str(flow.quick)
    return f"{flow.quick.dyn_per_cm2:.3g} dyn/cm²\n({flow.quick.pa:.3g} Pa)"


def _area_cell(flow: BatchFlow) -> str:
    if flow.hysteresis is None:
        return "not read up and down"
    if flow.is_true or flow.hysteresis.area_pa_per_s is None:
        return str(flow.hysteresis)
    return f"{flow.hysteresis.share:.1%} of the area under the run up"


def _recovery_cell(flow: BatchFlow) -> str:
    if flow.recovery is None:
        return "not read after rest"
    if flow.recovery.reason:
        return flow.recovery.reason
    pairs = zip(flow.recovery.times_s, flow.recovery.shares, strict=True)
    return "\n".join(f"{share:.0%} after {duration(time)}" for time, share in pairs)


def approximate_tables(curves: Sequence[BatchFlow]) -> Iterable[Table]:
    """Mean shear rates and stresses around discs, as far as they go.

    Parameters
    ----------
    curves : sequence of BatchFlow
    """
    for flow in curves:
        found = flow.approximate
        if found is None:
            continue
        points = zip(flow.main.points, found.shear_rate_per_s, found.shear_stress_pa, strict=True)
        yield Table(
            ("speed, rpm", "mean shear rate, 1/s", "mean stress, Pa"),
            [(f"{point.rpm:g}", significant(rate, 2), significant(stress, 2)) for point, rate, stress in points],
            title=f"{flow.title}: approximate means over the disc",
            note="; ".join(LIMITS) + ". No model is fitted to them.",
            numeric=frozenset({0, 1, 2}),
        )


def build_table(builds: Sequence[BatchBuild]) -> Table:
    """Where each batch settles and how fast, or why that is not told.

    Parameters
    ----------
    builds : sequence of BatchBuild
    """
    return Table(
        ("batch, read with", "ages", "settles at, mPa.s", "time constant, h", "95 % done, h", "says"),
        [_build_row(build) for build in builds],
        title="Viscosity build",
        note="Settled value less what is left of the build, which fades with the time constant; three unknowns, so "
        "four ages at least. ± standard error. One batch only: nothing is said of other batches.",
        numeric=frozenset({1, 2, 3, 4}),
    )


def _build_row(build: BatchBuild) -> tuple[object, ...]:
    found, name = build.build, f"{build.batch.name}\n{build.way}"
    if not found.ok:
        return name, build.ages, _ABSENT, _ABSENT, _ABSENT, f"cannot be told: {found.reason}"
    return (
        name,
        build.ages,
        f"{significant(found.settled_mpa_s, 4)} ± {significant(found.settled_error_mpa_s, 2)}",
        f"{significant(found.time_constant_h, 3)} ± {significant(found.time_constant_error_h, 2)}",
        significant(found.age_at_share(0.95), 3),
        "builds" if found.grows else "falls",
    )


def temperature_block(flow: FlowStudy) -> Block:
    """Slopes that were measured, and what was read off the temperature of its method.

    Parameters
    ----------
    flow : FlowStudy
    """
    slopes = [_slope_words(found) for found in flow.slopes]
    if not slopes:
        slopes = ["No slope with temperature was measured: it takes readings of one batch at three temperatures."]
    if not flow.off_temperature:
        return Block((*slopes, "No viscosity was read off the temperature of its method."))
    table = Table(
        ("batch", "age, h", "read, mPa.s", "at, degC", "corrected, mPa.s", "to, degC", "says"),
        [_off_row(found) for found in flow.off_temperature],
        title="Read off the temperature of the method",
        note="A corrected value is shown beside the reading and is in no mean.",
        numeric=frozenset({1, 2, 3, 4, 5}),
    )
    return Block((*slopes, table))


def _slope_words(found: ProductSlope) -> str:
    energy = f" {found.activation}" if found.activation is not None else ""
    return f"Slope of ln viscosity with temperature: {found.words}.{energy}"


def _off_row(found: OffTemperature) -> tuple[object, ...]:
    reading = found.reading
    corrected = Cell("REFUSED", "flag") if found.corrected is None else significant(found.corrected.corrected_mpa_s, 4)
    age = _ABSENT if reading.age_h is None else f"{reading.age_h:.4g}"
    return (
        reading.batch,
        age,
        plain(reading.value),
        plain(reading.temp_c),
        corrected,
        f"{found.wanted_c:g}",
        found.words,
    )


def felt_table(felt: Sequence[Felt]) -> Table:
    """Wet combing and coded words of each batch.

    Parameters
    ----------
    felt : sequence of Felt
    """
    names = list(dict.fromkeys(found.property for found in felt))
    note = "Each batch for itself: nothing is tested here. A panel is planned, coded and judged as a test of its own."
    return Table(
        ("batch", "what", "age", "mean or word", "SD", "readings", "left out"),
        [_felt_row(found) for found in sorted(felt, key=lambda found: (not found.values, names.index(found.property)))],
        title="Feel and look",
        note=note,
        numeric=frozenset({4, 5}),
    )


def _felt_row(found: Felt) -> tuple[object, ...]:
    unit = "" if found.unit in ("", "1") else f" {found.unit}"
    mean = "" if found.mean is None else f"{significant(found.mean, 3)}{unit}"
    told = ", ".join(part for part in (mean, ", ".join(found.words)) if part)
    return (
        found.batch,
        found.property,
        found.age or _ABSENT,
        told or _ABSENT,
        _ABSENT if found.sd is None else significant(found.sd, 2),
        len(found.values) + len(found.words),
        "; ".join(found.left_out),
    )


def left_out_table(left: Sequence[LeftOut]) -> Table:
    """Readings that are in no curve, with the reason.

    Parameters
    ----------
    left : sequence of LeftOut
    """
    return Table(
        ("batch", "spindle", "speed, rpm", "read", "state", "why", "code"),
        [_left_row(item) for item in left],
        title="Readings in no curve",
        note="" if left else "None: every reading that was tried counts.",
        numeric=frozenset({2, 3}),
    )


def _left_row(item: LeftOut) -> tuple[object, ...]:
    reading = item.reading
    speed = _ABSENT if reading.rpm is None else plain(reading.rpm)
    value = _ABSENT if reading.value is None else f"{plain(reading.value)} {reading.unit}"
    state = Cell(item.state, "flag") if item.state == "FLAGGED" else item.state
    return item.batch, reading.spindle or _ABSENT, speed, value, state, item.words, item.code
