"""What is said beside a predicted pH: what it rests on, what it cannot know, how near an amine's equivalence it is."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from kit.formula.charge import CATIONIC_SURFACTANTS, surfactant_class
from kit.formula.composition import Composition
from kit.formula.ph_priors import forms_with_bound_acid
from kit.formula.substance import kind_words
from kit.science.neutralisation import NEAR, acid_left_mmol, is_near

if TYPE_CHECKING:
    from kit.formula.aqueous import Aqueous, Solute

NEAR_EQUIVALENCE = NEAR


def rests_on(water: Aqueous, temp_c: float) -> tuple[str, ...]:
    """The constants used, each with its kind and the conditions it holds at; what was left out because it cancels."""
    told = list(dict.fromkeys(_constant(solute) for solute in water.solutes))
    told.append(f"{water.water_pct:.1f} % of water, all supply forms together; activities by Davies at {temp_c:g} °C")
    if water.cancelled:
        told.append(f"left out, charge and counter-ion cancel: {', '.join(water.cancelled)}")
    if water.knowing is not None and water.knowing.readings:
        told.append(f"what {len(water.knowing.readings)} readings of the lab taught")
    return tuple(told)


def cannot_know(water: Aqueous, composition: Composition, age_h: float | None) -> tuple[str, ...]:
    """What the number leaves out, for this composition."""
    return tuple(_cannot_know(water, composition, age_h))


def is_near_equivalence(degree: float | None) -> bool:
    """Whether an amine is within 3 % of its equivalence.

    Parameters
    ----------
    degree : float   Acid left for the amine over the amine, None without one. [mol/mol]
    """
    return degree is not None and is_near(degree)


def amine_words(degree: float | None) -> tuple[str, ...]:
    """What is said of an amine near its equivalence or short of it; empty elsewhere.

    Parameters
    ----------
    degree : float   Acid left for the amine over the amine, None without one. [mol/mol]
    """
    if is_near_equivalence(degree):
        return (
            f"acid for {100 * degree:.1f} % of the amine: within 3 % of its equivalence the pH cannot be predicted, "
            "a lot of other amine value moves it by units",
        )
    if degree is not None and degree < 1:
        return (f"acid for {100 * max(degree, 0):.0f} % of the amine only: the rest of it stays uncharged",)
    return ()


def neutralisation(water: Aqueous) -> float | None:
    """Acid left for the amine over the amine, 1 at its equivalence; None without an amine surfactant. [mol/mol]

    Bases, salts and alkaline chelators have had theirs; see `kit.science.neutralisation`.
    """
    from kit.formula.aqueous import system_of

    amines = {
        system_of(solute.substance, solute.chemistry)
        for solute in water.solutes
        if solute.substance.category == "amine surfactant"
    }
    if not amines:
        return None
    mixture = water.mixture()
    amount = sum(mixture.totals_mmol[system] for system in amines)
    return float(acid_left_mmol(mixture, amines) / amount)


def _constant(solute: Solute) -> str:
    inci, chemistry = solute.substance.inci, solute.chemistry
    if not chemistry.pka:
        return f"{inci}: strong ions only"
    values = ", ".join(f"{fact.value}" for fact in solute.substance.pka)
    strength = (
        f"I = {chemistry.ionic_strength:g}" if chemistry.conditions_known else "ionic strength not told, taken as 0"
    )
    return f"{inci}: pKa {values} ({kind_words(chemistry.kind)}; {strength}, {chemistry.temp_c:g} °C)"


def _cannot_know(water: Aqueous, composition: Composition, age_h: float | None) -> Iterator[str]:
    substances = [share.substance for share in composition.shares().values() if share.pct > 0]
    if water.unmodelled:
        yield "acid and buffer of what is not in the model"
    if any(substance.category == "cationic surfactant" for substance in substances):
        yield "free amine and acid in the flakes of a quaternary"
    if any(substance.category == "amine surfactant" for substance in substances):
        yield "the amine's constant on a charged bilayer, lower than in water by an unknown amount"
    if any(substance.category in ("emollient", *CATIONIC_SURFACTANTS) for substance in substances):
        yield "how much un-ionised acid oil and bilayers take out of the water"
    bound = forms_with_bound_acid(line.material for line in composition.lines if line.pct > 0)
    if bound and age_h is None:
        yield f"how long the acid still bound in {', '.join(bound)} takes to come free: a fresh batch reads higher"
    if any(substance.inci == "Urea" for substance in substances):
        yield "ammonia that urea lets go of with age and warmth"
    if any(surfactant_class(substance) == "esterquat" for substance in substances):
        yield "fatty acid that an esterquat lets go of with age"
    yield "carbon dioxide and what the electrode makes of a cream"
