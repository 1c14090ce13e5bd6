"""What is predicted from a composition before anything is weighed."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from kit.formula.composition import Composition


@dataclass(frozen=True, slots=True)
class Prediction:
    """A predicted value with its band, or why there is none.

    `value`, `low`, `high` are None when nothing was computed; `cannot_know` says what the number leaves out.
    """

    quantity: str
    value: Decimal | None
    low: Decimal | None
    high: Decimal | None
    reason: str
    cannot_know: tuple[str, ...] = ()

    def __str__(self) -> str:
        if self.value is None:
            return f"{self.quantity}: NOT COMPUTED ({self.reason})"
        return f"{self.quantity}: {self.value} ({self.low} to {self.high}; {self.reason})"

    __repr__ = __str__

    def _repr_html_(self) -> str:
        from kit.show import paragraph

        return paragraph(self)


def predict_ph(composition: Composition) -> Prediction:
    """Predicted pH: NOT COMPUTED in this version of the kit, which holds no acid-base model yet. Measure it."""
    del composition
    return Prediction(
        "predicted pH",
        None,
        None,
        None,
        "this version of the kit holds no acid-base model; measure the pH of the batch",
    )
