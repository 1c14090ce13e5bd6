"""What a fitted response holds: the property, the factors, the batches and the model that was chosen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.science.model_choice import ModelChoice
from kit.science.response_result import Prediction, ResponseModel
from kit.trials.response_coordinates import Coordinates
from kit.trials.response_data import ResponseBatch, ResponseData
from kit.trials.results import LN, PropertyResult
from kit.units import number


@dataclass(frozen=True, repr=False)
class Fitted:
    """What a fitted response holds, before anything is shown of it.

    Parameters
    ----------
    study : str                  Its name.
    result : PropertyResult      The property, its age, method and spec.
    space : Coordinates          The factors, and their place in the model.
    data : ResponseData          Batches fitted, held out and unused.
    choice : ModelChoice         The model, those tried, and why it was chosen.
    state : str                  "made" or "meant": which levels were fitted.
    day_effect : str             What the days do, in words.
    notes : tuple of str         What limits it: factors that coincide with the day, batches made otherwise.
    with_day : tuple of str      Factors that coincide with the day of making.
    """

    study: str
    result: PropertyResult
    space: Coordinates
    data: ResponseData
    choice: ModelChoice
    state: str
    day_effect: str
    notes: tuple[str, ...]
    with_day: tuple[str, ...] = ()

    @property
    def model(self) -> ResponseModel:
        """The chosen model, in the coordinates of `space`."""
        return self.choice.model

    @property
    def is_fitted(self) -> bool:
        """Whether there are coefficients."""
        return self.model.is_fitted

    @property
    def reason(self) -> str:
        """What is missing; empty where nothing is."""
        return self.model.reason

    @property
    def name(self) -> str:
        """ "viscosity, 72 h" """
        return self.result.title

    @property
    def unit(self) -> str:
        """Of the property; empty where it has none."""
        return "" if self.result.unit == "1" else self.result.unit

    @property
    def log(self) -> bool:
        """Whether ln of the property was fitted."""
        return self.result.scale == LN

    @property
    def batches(self) -> tuple[ResponseBatch, ...]:
        """The batches it was fitted to."""
        return self.data.batches

    def predict(self, levels: Mapping[str, float] | Sequence[Sequence[float]], confidence: float = 0.95) -> Prediction:
        """What the model says of some levels.

        Parameters
        ----------
        levels : dict or (points, factors)   One point by factor name, or points in the order of the factors. Amounts of
                                             a mixture count by their shares. [unit of each]
        confidence : float                   Of the intervals.

        Raises
        ------
        KitError    `model.not_fitted` with the reason, `response.levels` for a factor without a level.
        UnitError   For a level that is no plain number.
        """
        return self.model.predict(self.space.to_model(self._rows(levels)), confidence)

    def _rows(self, levels: Mapping[str, float] | Sequence[Sequence[float]]) -> Sequence[Sequence[float]]:
        if not isinstance(levels, Mapping):
            return levels
        missing = [name for name in self.space.names if name not in levels]
        if missing:
            raise KitError(
                f"there is no level of {missing[0]}",
                where="predict()",
                allowed=", ".join(self.space.names),
                mend="give one a factor",
                code="response.levels",
            )
        return [[float(number(levels[name], where=f"level of {name}")) for name in self.space.names]]

    def pseudo_vertices(self) -> tuple[tuple[str, float], ...]:
        """What the model says where one part of the mixture is all that its lower bounds leave, others at their middle.

        Beyond what was tried, mostly: they are the coefficients of a linear model, made readable. [unit]
        """
        if not self.space.parts or not self.is_fitted:
            return ()
        count = len(self.space.names)
        corners = [[float(i == j) for j in range(count)] for i in range(self.space.parts)]
        middle = self.model.predict(corners).mean
        return tuple(zip(self.space.names[: self.space.parts], map(float, middle), strict=True))
