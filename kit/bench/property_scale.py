"""How a property is compared: by ratios where its scatter grows with the value, else by differences."""

from __future__ import annotations

from kit.bench.methods import Method
from kit.science.arm_batches import LINEAR, LN

# the scatter of a viscosity is a share of it, so ratios are compared, not differences (common practice, no source)
_RATIO_PROPERTIES = ("viscosity",)


def fold(name: str) -> str:
    """A property name without regard to case and spacing."""
    return " ".join(name.lower().split())


def scale_of(name: str, method: Method | None) -> str:
    """ "ln" for a viscosity, where a ratio means the same at every level; "linear" for all else."""
    return LN if fold(name) in _RATIO_PROPERTIES or (method is not None and method.rotational) else LINEAR
