"""Which phase an emptied container belonged to, from what a person calls it: "oil beaker", "B", "parfum boat"."""

from __future__ import annotations

from decimal import Decimal

from kit.bench.events import WeighedBack
from kit.errors import BatchError, MaterialError
from kit.formula.formula import Formula
from kit.formula.material import Material

_VESSELS = {"beaker", "boat", "jug", "cup", "dish", "pan", "pot", "container", "phase", "the", "of", "a", "weighing"}
_TOOLS = {
    "head",
    "mixer",
    "stirrer",
    "rotor",
    "rotor-stator",
    "blade",
    "paddle",
    "scraper",
    "tool",
    "homogeniser",
    "homogenizer",
}
_KINDS = {"oil": "oil", "water": "water", "cool-down": "cool-down", "cooldown": "cool-down", "adjust": "adjust"}


def weighed_back(container: str, mass_g: Decimal, formula: Formula) -> WeighedBack:
    """A weigh-back from the name of its container.

    Parameters
    ----------
    container : str     A phase ("B", "beaker B") or its kind ("oil beaker"); a material in a boat of its own ("parfum
                        boat"); or a tool that was in the batch ("mixing head").
    mass_g : Decimal    What was found in it. [g]
    formula : Formula   Its phases and materials.

    Raises
    ------
    BatchError   `batch.container` when the name fits no phase, several of them, or no material of the formula.
    """
    words = container.replace(",", " ").split()
    left = [word for word in words if word.lower() not in _VESSELS or word in _phase_names(formula)]
    if any(word.lower() in _TOOLS for word in left):
        return WeighedBack(mass_g, "", container)
    phases = _phases(left, formula)
    if len(phases) == 1:
        return WeighedBack(mass_g, phases[0], container)
    if len(phases) > 1:
        raise _unclear(container, formula, f"it fits phases {' and '.join(phases)}")
    phase, material = _boat(container, " ".join(left), formula)
    return WeighedBack(mass_g, phase, container, material)


def _phase_names(formula: Formula) -> list[str]:
    return [phase.name for phase in formula.phases]


def _phases(words: list[str], formula: Formula) -> list[str]:
    named = [name for name in _phase_names(formula) if name in words]
    kinds = {_KINDS[word.lower()] for word in words if word.lower() in _KINDS} if len(words) == 1 else set()
    return named or [phase.name for phase in formula.phases if phase.kind in kinds]


def _boat(container: str, name: str, formula: Formula) -> tuple[str, Material]:
    try:
        material = formula.find(name, where=f"weigh-back of {container!r}")
    except MaterialError:
        raise _unclear(container, formula, "it names neither a phase nor a material") from None
    places = dict.fromkeys(phase.name for phase, line in formula.placed_lines() if line.material.key == material.key)
    if len(places) != 1:
        found = (
            f"{material.name} stands in phases {' and '.join(places)}"
            if places
            else f"{material.name} is not in the formula"
        )
        raise _unclear(container, formula, found)
    return next(iter(places)), material


def _unclear(container: str, formula: Formula, why: str) -> BatchError:
    allowed = ", ".join(f'"beaker {phase.name}" ({phase.kind} phase)' for phase in formula.phases)
    return BatchError(
        f"{container!r} does not say what was weighed back: {why}",
        where=formula.title,
        allowed=f'{allowed}, a boat such as "parfum boat", or "mixing head"',
        mend="name it in one of these ways",
        code="batch.container",
    )
