"""Which terms a response is fitted with: those of a mixture, of independent factors, or of both together."""

from __future__ import annotations

from collections.abc import Sequence

from kit.errors import KitError
from kit.science.model_terms import (
    POLYNOMIAL_ORDERS,
    SCHEFFE_ORDERS,
    Term,
    added_terms,
    crossed_terms,
    polynomial_terms,
    scheffe_terms,
)
from kit.trials.response_coordinates import Coordinates

SIDE_BY_SIDE, CROSSED = "beside", "crossed with"


def candidates(space: Coordinates, model: str = "") -> tuple[tuple[str, tuple[Term, ...]], ...]:
    """The models to choose from, smallest first; one where it was asked for by name.

    Parameters
    ----------
    space : Coordinates   The factors.
    model : str           "linear", "quadratic", "special cubic", "full cubic" of a mixture; "linear", "interaction",
                          "quadratic" of other factors; of both together "linear beside quadratic" (the process does the
                          same to every mixture) or "quadratic crossed with linear", the mixture first. Empty: all.

    Raises
    ------
    KitError   `response.model` for a model these factors cannot have.
    """
    mixture, others = space.names[: space.parts], space.names[space.parts :]
    every = _all(mixture, others)
    if not model:
        return tuple(sorted(every, key=lambda item: len(item[1])))
    found = [item for item in every if item[0] == " ".join(model.lower().split())]
    if not found:
        raise KitError(
            f"these factors have no {model!r} model",
            where="model of a response",
            allowed=", ".join(name for name, _ in every),
            mend="name one of these, or none for the kit to choose",
            code="response.model",
        )
    return tuple(found)


def _all(mixture: Sequence[str], others: Sequence[str]) -> list[tuple[str, tuple[Term, ...]]]:
    orders = [order for order in SCHEFFE_ORDERS if len(mixture) > 2 or order in ("linear", "quadratic")]
    blends = [(order, scheffe_terms(mixture, order)) for order in orders] if mixture else []
    flat = [order for order in POLYNOMIAL_ORDERS if len(others) > 1 or order != "interaction"]
    polynomials = [(order, polynomial_terms(others, order)) for order in flat] if others else []
    if not blends or not polynomials:
        return blends or polynomials
    both = []
    for blend, of_mixture in blends:
        for order, of_others in polynomials:
            both.append((f"{blend} {SIDE_BY_SIDE} {order}", added_terms(of_mixture, of_others)))
            both.append((f"{blend} {CROSSED} {order}", crossed_terms(of_mixture, of_others)))
    return both
