"""What the figures of a fitted response share: where the other factors are held, the spec, repeats side by side."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.figures.figure import series, shown
from kit.figures.marks import number, white_rimmed
from kit.science.number_text import short
from kit.show import TOKENS
from kit.trials.response_levels import LevelFactor

if TYPE_CHECKING:
    from kit.trials.response import Response
    from kit.trials.response_data import ResponseBatch

_TOGETHER = 0.02  # of the drawn range: batches nearer than this stand side by side (own choice)
_APART = 0.026  # of the drawn range, between two that stand side by side


@dataclass(frozen=True)
class Held:
    """Where the factors are held that a figure does not move.

    Parameters
    ----------
    levels : tuple of float   One a factor. [unit of each]
    where : str               "the middle of the batches" or "the levels of TEA-07/1".
    """

    levels: tuple[float, ...]
    where: str

    def words(self, response: Response, moved: Sequence[int]) -> str:
        """The others with their levels, in words; empty where every factor moves.

        Parameters
        ----------
        response : Response
        moved : sequence of int   Places of the factors that the figure moves.
        """
        factors = response.space.factors
        rest = [place for place in range(len(factors)) if place not in moved]
        told = ", ".join(level_words(factors[place], self.levels[place]) for place in rest)
        return f"{told} ({self.where})" if told else ""


def held_at(response: Response, at: str = "") -> Held:
    """The levels at which factors are held.

    Parameters
    ----------
    response : Response
    at : str              A batch, "TEA-07/1"; the middle of the batches when empty.

    Raises
    ------
    KitError   `figure.batch` for a batch that is not in the fit.
    """
    batches = response.batches
    if not at:
        middle = tuple(math.fsum(levels) / len(batches) for levels in zip(*(b.levels for b in batches), strict=True))
        return Held(middle, "the middle of the batches")
    found = [batch for batch in batches if batch.batch == at]
    if not found:
        raise KitError(
            f"batch {at!r} is not in this fit",
            where="figure of a response",
            allowed=", ".join(batch.batch for batch in batches),
            mend="name one of these, or none for the middle of the batches",
            code="figure.batch",
        )
    return Held(found[0].levels, f"the levels of {at}")


def unit_of(factor: LevelFactor) -> str:
    """The unit of a factor as printed: "% w/w active", "°C", "rpm"; empty without one."""
    return factor.head.removeprefix(factor.name).removeprefix(", ")


def level_words(factor: LevelFactor, level: float) -> str:
    """ "combine rpm 6500 rpm" """
    return f"{factor.name} {short(level, 4)} {unit_of(factor)}".strip()


def spec_limits(response: Response) -> tuple[float | None, float | None]:
    """Low and high limit of the property; None for a side without one. [unit]"""
    spec = response.result.spec
    if spec is None:
        return None, None
    return tuple(None if limit is None else float(limit) for limit in (spec.low, spec.high))


def is_inside(value: float, limits: Sequence[float | None]) -> bool:
    """Whether a value lies inside limits, of which either may be missing."""
    low, high = limits
    return (low is None or value >= low) and (high is None or value <= high)


def by_spec(response: Response) -> list[tuple[str, int, list[ResponseBatch]]]:
    """The batches by whether they lie inside the spec: name, number of the series, batches."""
    limits = spec_limits(response)
    if limits == (None, None):
        return [("batch", 0, list(response.batches))]
    inside = [batch for batch in response.batches if is_inside(batch.value, limits)]
    outside = [batch for batch in response.batches if batch not in inside]
    groups = [("batch inside the spec", 0, inside), ("batch outside the spec", 1, outside)]
    return [group for group in groups if group[2]]


def side_by_side(places: Sequence[tuple[float, float]], spans: tuple[float, float]) -> list[tuple[float, float, int]]:
    """Where each batch is drawn, those at one place beside each other, and the number of its group.

    Parameters
    ----------
    places : sequence of pairs   True places.
    spans : pair                 Width and height of what is drawn, in the same units.
    """
    groups: list[list[int]] = []
    for index, place in enumerate(places):
        for group in groups:
            first = places[group[0]]
            if all(abs(a - b) <= _TOGETHER * span for a, b, span in zip(place, first, spans, strict=True)):
                group.append(index)
                break
        else:
            groups.append([index])
    drawn = [(0.0, 0.0, 0)] * len(places)
    for count, group in enumerate(groups):
        for turn, index in enumerate(group):
            step = (turn - (len(group) - 1) / 2) * _APART * spans[0]
            base = places[group[0]][0] if len(group) > 1 else places[index][0]
            drawn[index] = (base + step, places[index][1], count)
    return drawn


def marks_by_spec(response: Response, spots: Mapping[str, tuple[float, float]], size: int) -> list[dict]:
    """Markers of the batches at their spots, a trace for each standing against the spec.

    Parameters
    ----------
    response : Response
    spots : dict          Batch to its place in the drawing.
    size : int            Of a marker. [px]
    """
    return [
        white_rimmed(
            name,
            [spots[batch.batch] for batch in batches],
            [f"{batch.batch}: {value_words(response, batch.value)}" for batch in batches],
            series(index),
            size,
        )
        for name, index, batches in by_spec(response)
    ]


def batch_marks(
    response: Response, places: Sequence[tuple[float, float]], spans: tuple[float, float]
) -> tuple[list[dict], list[dict]]:
    """Markers of the batches of a plane, by the spec, and their names: (traces, annotations).

    Parameters
    ----------
    response : Response
    places : sequence of pairs   Of each batch in the plane.
    spans : pair                 Width and height of what is drawn.
    """
    drawn = side_by_side(places, spans)
    spots = {batch.batch: spot for batch, spot in zip(response.batches, drawn, strict=True)}
    traces = marks_by_spec(response, spots, 11)
    groups: dict[int, list[str]] = {}
    for batch, (_, _, group) in spots.items():
        groups.setdefault(group, []).append(batch)
    return traces, [_names(names, spots) for names in groups.values()]


def _names(batches: Sequence[str], spots: dict[str, tuple[float, float, int]]) -> dict:
    """Name over name, from left to right as the markers stand."""
    return {
        "x": sum(spots[batch][0] for batch in batches) / len(batches),
        "y": max(spots[batch][1] for batch in batches),
        "yanchor": "bottom",
        "yshift": 7,
        "text": "<br>".join(shown(batch) for batch in batches),
        "showarrow": False,
        "bgcolor": "rgba(255,255,255,0.75)",
        "borderpad": 1,
        "font": {"size": 10, "color": TOKENS["ink"]},
    }


def value_words(response: Response, value: float | None) -> str:
    """A value of the property with its unit."""
    return f"{number(value, response.result.unit)} {response.unit}".strip()


def fit_notes(response: Response) -> tuple[str, ...]:
    """What has to be read with every figure of a fit: lack of fit, no power to predict, factors mixed with the day.

    Parameters
    ----------
    response : Response
    """
    model, notes = response.model, []
    if model.lack_of_fit is not None and model.lack_of_fit.is_shown:
        notes.append("Lack of fit is shown: the model misses by more than batches scatter.")
    if model.r2_predicted is not None and model.r2_predicted < 0:
        notes.append("Predicted R² is below 0: of a new batch the model tells less than the plain mean does.")
    if model.block_effects:
        notes.append(
            "Lines hold for the mean of the days; the model's value of a batch has the effect of its day in it."
        )
    if response.with_day:
        notes.append(f"Mixed with the day of making: {', '.join(response.with_day)}.")
    return tuple(notes)
