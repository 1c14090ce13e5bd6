"""What a flow curve tells, in sentences, and what it cannot tell."""

from __future__ import annotations

from collections.abc import Iterable

from kit.bench.exact import upper_first
from kit.science.student_t import t_quantile
from kit.trials.flow_batch import BatchFlow, RunFit
from kit.trials.flow_sweep import DOWN, LEAST_SPEEDS, MIXED
from kit.trials.wording import significant

ONE_BATCH = "One filling of one batch: whether batches differ is not tested by it."
MEASURE = (
    f"Read one batch at one age at {LEAST_SPEEDS} speeds or more, better six, with one spindle on one instrument: up "
    "from the slowest speed to the fastest, then down again, the same reading time at each.",
    "Keep the torque between 10 and 100 % at every speed, better 30 to 80 %; record speed, torque, temperature, "
    "reading time and the clock time of each.",
    "Give these readings a method of their own, or none: under the method of the spec the one at its speed would count "
    "in the mean, though the filling was sheared.",
    "For recovery go back to the slowest speed after the run down, and read after 1, 5 and 15 minutes of rest.",
    "For a yield value use coaxial cylinders: around a disc or a T-bar the shear rate is not known. For the quick "
    "figure of the trade read 0.5 and 1 rpm.",
    "For the viscosity build read one batch at four ages or more, always the same way: 1 h, 24 h, 72 h and 7 d.",
    "For a correction to 25 degC read one batch at 20, 25 and 30 degC, down and then up.",
)


def sentences(flow: BatchFlow) -> tuple[str, ...]:
    """What the curve of one filling tells and cannot tell.

    Parameters
    ----------
    flow : BatchFlow
    """
    if not flow.runs:
        left = len({reading.rpm for reading in flow.filling.sweep.mixed})
        return (f"No flow curve: {left} of the speeds read count, {LEAST_SPEEDS} are needed.",)
    thinning = [_thinning(flow.main)] if flow.main.fit is None else []  # a model says it itself
    told = [_how_read(flow), *_model(flow), *thinning, *_yield(flow), *_structure(flow)]
    told += [f"Caution: {caution}." for caution in flow.filling.cautions]
    return tuple(told)


def index_words(run: RunFit) -> str:
    """The flow index with its interval; why it is not told where it is not."""
    if run.index is None:
        return f"not told: {run.why_no_index}"
    index, error = run.index
    half = _half_width(run)
    if half < 0.001:
        return f"{index:.3f} (95 % to better than 0.001)"
    return f"{index:.3f} ± {half:.2g} (95 %, standard error {error:.2g})"


def _half_width(run: RunFit) -> float:
    return t_quantile(len(run.points) - 2, 0.95) * run.index[1]


def _how_read(flow: BatchFlow) -> str:
    first, main = flow.filling.first, flow.main
    speeds = sorted({point.rpm for point in main.points})
    read = f"{len(main.points)} readings from {speeds[0]:g} to {speeds[-1]:g} rpm on {first.instrument}"
    order = {DOWN: ", down only", MIXED: ", the speeds in no order"}.get(main.run, "")
    return f"{read}{order}. {upper_first(flow.geometry.words)}."


def _model(flow: BatchFlow) -> Iterable[str]:
    main = flow.main
    if not flow.is_true:
        yield "A flow model of stress and rate cannot be told from this spindle; the flow index needs no geometry."
        return
    if main.fit is None:
        yield f"No model is used: {main.why_fit}."
        return
    estimates = upper_first("; ".join(str(estimate) for estimate in main.fit.estimates))
    yield f"Model {main.why_fit}. {estimates} (± standard error; {main.fit.weighting} weighting)."
    yield from (f"{upper_first(note)}." for note in main.fit.notes)


def _thinning(run: RunFit) -> str:
    if run.index is None:
        return f"The flow index is not told: {run.why_no_index}."
    index, half = run.index[0], _half_width(run)
    if index <= 0:
        return "The torque does not rise with speed: the product slips, or breaks down as it is read. No index is told."
    what = "thins" if index + half < 1 else "thickens" if index - half > 1 else "is not shown to thin"
    words = f"Flow index of a power law in speed {index_words(run)}: it {what} with speed."
    if what != "thins":
        return words
    return f"{words} On that line ten times the speed reads {significant(10 ** (1 - index), 2)} times less."


def _yield(flow: BatchFlow) -> Iterable[str]:
    main = flow.main
    if not flow.is_true:
        yield "A yield value cannot be told: no shear rate is known around this spindle."
    elif main.yield_value is None or main.yield_value.value_pa is None:
        reason = main.yield_value.reason if main.yield_value else "no model is used"
        yield f"A yield value cannot be told: {reason}."
    else:
        yield f"Yield value {main.yield_value}."
        yield from _yield_range(main)
    if flow.quick is not None:
        yield f"Quick yield figure from 0.5 and 1 rpm: {flow.quick}."


def _yield_range(main: RunFit) -> Iterable[str]:
    found = main.yields
    if found is not None and len(found.values) > 1:
        names = ", ".join(value.model for value in found.values)
        yield f"It hangs on the model: {found.low_pa:.3g} to {found.high_pa:.3g} Pa by {names}."
    if main.offset_pa is not None:
        yield (
            f"A zero that is off by the accuracy of full scale would shift it by {main.offset_pa:.2g} Pa, which is not "
            "in its standard error."
        )


def _structure(flow: BatchFlow) -> Iterable[str]:
    if flow.hysteresis is None:
        yield "Hysteresis cannot be told: it takes a run up and a run down, of three speeds each."
    elif flow.hysteresis.area_pa_per_s is None:
        yield f"Hysteresis cannot be told: {flow.hysteresis.reason}."
    elif flow.is_true:
        yield f"Hysteresis {flow.hysteresis}; comparable between runs of one programme only."
    else:
        crossing = "; the curves cross" if flow.hysteresis.crosses else ""
        share = f"{flow.hysteresis.share:.1%} of the area under the run up{crossing}"
        yield f"Hysteresis {share}; comparable between runs of one programme on this spindle only."
    if flow.recovery is None:
        yield "Recovery cannot be told: nothing was read after rest at the slowest speed."
    elif flow.recovery.reason:
        yield f"Recovery cannot be told: {flow.recovery.reason}."
    else:
        told = ", ".join(
            f"{share:.0%} after {duration(time)}"
            for time, share in zip(flow.recovery.times_s, flow.recovery.shares, strict=True)
        )
        yield f"Recovery of the viscosity before the shear, at {flow.after_rest[0].rpm:g} rpm: {told}."


def duration(seconds: float) -> str:
    """A time in seconds or minutes: "60 s", "5 min".

    Parameters
    ----------
    seconds : float   [s]
    """
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.3g} min"
