"""What a response model can be fitted to: values, weights, labels and a known scatter, refused in plain words."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence

from kit.errors import KitError
from kit.science.response_result import on_scale


def observed(
    y: Sequence[float], points: Sequence[Sequence[float]], log: bool, *, where: str = "fit_response()"
) -> list[float]:
    """Values on the scale of the fit.

    Parameters
    ----------
    y : sequence of float         Observed, one a batch. [unit]
    points : (batches, factors)   Levels; as many as there are values.
    log : bool                    Whether ln y is fitted.
    where : str                   For the message.

    Raises
    ------
    KitError   `model.values`.
    """
    values = [float(value) for value in y]
    bad = [value for value in values if not math.isfinite(value) or (log and value <= 0)]
    if bad or len(values) != len(points) or not values:
        what = f"{bad[0]} cannot be fitted" if bad else f"there are {len(values)} values for {len(points)} batches"
        raise KitError(
            what,
            where=where,
            allowed="finite numbers, above zero on the ln scale, one a batch",
            mend="leave the batch out and say why",
            code="model.values",
        )
    return [on_scale(value, log) for value in values]


def require_usable(
    count: int,
    *,
    weights: Sequence[float] | None,
    labels: Mapping[str, Sequence[Hashable] | None],
    known: tuple[float | None, float | None],
) -> None:
    """Refuse weights, labels and a known scatter that do not fit so many batches.

    Parameters
    ----------
    count : int                   Batches.
    weights : sequence of float   Of the squares; None for equal ones.
    labels : mapping              What each batch is labelled with, by name: repeats, blocks; None for none.
    known : pair                  Standard deviation and degrees of freedom from elsewhere; None where not told.

    Raises
    ------
    KitError   `model.values`, `model.labels`.
    """
    odd = [number for number in known if number is not None and not (math.isfinite(number) and number >= 0)]
    shares = None if weights is None else [float(weight) for weight in weights]
    unfit = shares is not None and (len(shares) != count or not all(0 < weight < math.inf for weight in shares))
    if odd or unfit:
        told = ", ".join(f"{number:g}" for number in odd or shares) or "nothing"
        raise KitError(
            f"weights or a known scatter of {told} cannot be used",
            where="fit_response()",
            allowed="a weight above zero for each batch; a standard deviation and degrees of freedom of zero or more",
            mend="leave them out where they are not known",
            code="model.values",
        )
    for name, told in labels.items():
        if told is not None and len(told) not in (0, count):
            raise KitError(
                f"there are {len(told)} {name} for {count} batches",
                where="fit_response()",
                allowed="one for each batch, or none",
                mend="give each batch its own",
                code="model.labels",
            )
