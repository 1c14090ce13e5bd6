"""The band of the predicted pH beside what was read: an outlined bar an arm, split where the prediction lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kit.show import TOKENS
from kit.trials.arms import Arm
from kit.trials.batch_ph import PH, reads_undiluted
from kit.trials.compared import Compared
from kit.trials.judging import fold
from kit.trials.results import PropertyResult
from kit.trials.wording import plural

NAME = "predicted, 9 readings in 10"
_LEFT, _WIDTH = -0.42, 0.16  # of the room of an arm: to the left of its readings
_FILL = "rgba(0,0,0,0.05)"


@dataclass(frozen=True, slots=True)
class PredictedBand:
    """The prediction for one arm at the age of a result, over its batches as made.

    `low` and `high` are the outermost ends, `value` the mean of the batches' predictions. [pH] `batches` names those
    with a prediction; `memory` tells whether constants from memory are behind it.
    """

    arm_label: str
    value: float
    low: float
    high: float
    batches: tuple[str, ...]
    memory: bool


def predicted_bands(comparison: Compared, result: PropertyResult) -> list[PredictedBand]:
    """The band of each arm that has one; none but for the pH of the undiluted product at an age of the study."""
    if fold(result.property) != PH or not reads_undiluted(result.method) or result.window is None:
        return []
    return [band for arm in comparison.arms if (band := _band(comparison, arm, float(result.window.age_h))) is not None]


def band_trace(bands: Sequence[PredictedBand]) -> dict:
    """Two outlined boxes an arm, below and above the prediction: read in grey by the line between them."""
    halves = [(band, start, end) for band in bands for start, end in ((band.low, band.value), (band.value, band.high))]
    return {
        "type": "bar",
        "name": NAME,
        "x": [band.arm_label for band, _, _ in halves],
        "y": [end - start for _, start, end in halves],
        "base": [start for _, start, _ in halves],
        "offset": _LEFT,
        "width": _WIDTH,
        "marker": {"color": _FILL, "line": {"color": TOKENS["quiet"], "width": 1.2}},
        "hovertext": [
            f"predicted {band.value:.2f} ({band.low:.2f} to {band.high:.2f}), not tested" for band, _, _ in halves
        ],
        "hovertemplate": "%{hovertext}<extra></extra>",
    }


def band_rows(bands: Sequence[PredictedBand]) -> list[tuple[str, str, float, str]]:
    """What the boxes draw, three rows an arm: arm, its batches, the number, what it is."""
    return [
        (band.arm_label, ", ".join(band.batches), value, f"predicted, not tested: {what}")
        for band in bands
        for value, what in (
            (band.value, "the prediction" if len(band.batches) == 1 else "mean of the predictions"),
            (band.low, "low end of the band"),
            (band.high, "high end of the band"),
        )
    ]


def band_words(comparison: Compared, result: PropertyResult, bands: Sequence[PredictedBand]) -> list[str]:
    """What the boxes are, and of which arms there is none, in lines under the figure."""
    if not bands:
        return []
    several = " (outermost ends over its batches)" if any(len(band.batches) > 1 for band in bands) else ""
    memory = " Rests on constants from memory." if any(band.memory for band in bands) else ""
    told = [
        f"Boxes: pH predicted from what each was made of, for an age of {result.age}; nine readings in ten should lie "
        f"inside{several}, the line in it is the prediction. Predicted, not tested.{memory}"
    ]
    drawn = {band.arm_label for band in bands}
    missing = [arm.label for arm in comparison.arms if arm.label not in drawn]
    if missing:
        told.append(f"No prediction for {plural(len(missing), 'version')}, not computed: {'; '.join(missing)}.")
    return told


def _band(comparison: Compared, arm: Arm, age_h: float) -> PredictedBand | None:
    found = {batch.name: comparison.phs[batch.name].predicted(age_h) for batch in arm.batches}
    known = {name: one for name, one in found.items() if one.is_known}
    if not known:
        return None
    ends = [(float(one.value), float(one.low), float(one.high)) for one in known.values()]
    values, lows, highs = zip(*ends, strict=True)
    memory = any(one.memory for one in known.values())
    return PredictedBand(arm.label, sum(values) / len(values), min(lows), max(highs), tuple(known), memory)
