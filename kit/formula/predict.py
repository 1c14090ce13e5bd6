"""What is predicted from a composition before anything is weighed: its pH, as a band, and what the band rests on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.formula.composition import Composition, show_pct
from kit.show import Block, Table, listing
from kit.units import read

if TYPE_CHECKING:
    from kit.formula.aqueous import Aqueous
    from kit.formula.knowledge import Knowledge
    from kit.science.acidbase import Equilibrium

BEFORE_TITRATION = "before any titration it may miss by 0.6"
AFTER_TITRATION = "after one titration of the base it may miss by 0.2 to 0.3"
HARDLY_BUFFERED = "hardly buffered: it may miss by more than 0.6; measure it"
CONCENTRATED = "ionic strength above 0.5 mol/kg, more than activities are known for: measure it"
NOT_NEAR_EQUIVALENCE = "within 3 % of an amine's equivalence the pH cannot be predicted"

_USUAL_MISS = Decimal("0.6")  # of a prediction before any titration (common practice, no source)
# Too little water, or more in it than the solver takes: there is no number, and that is an answer.
_NOTHING_TO_WORK_WITH = frozenset({"ph.water", "ph.amount"})
_TWO_PLACES = Decimal("0.01")


@dataclass(frozen=True, slots=True, repr=False)
class Prediction:
    """A predicted value with its band, or why there is none.

    Parameters
    ----------
    quantity : str                 What is predicted.
    value, low, high : Decimal     Every unknown at its mean, and the band of nine readings in ten; None when there is
                                   nothing.
    reason : str                   How far it may miss, or why there is nothing.
    cannot_know : tuple of str     What the number leaves out.
    rests_on : tuple of str        Constants used, with their kinds and conditions.
    unmodelled : tuple of str      Supply forms whose acid or buffer is not in the model, and why.
    memory : tuple of str          Constants that rest on memory.
    ionic_strength_mol_per_kg : float        [mol/kg water]
    buffer_capacity_mmol_per_100g : float    Strong base per pH unit at the predicted pH. [mmol/100 g product]
    notes : tuple of str           What else limits the answer.
    """

    quantity: str
    value: Decimal | None
    low: Decimal | None
    high: Decimal | None
    reason: str
    cannot_know: tuple[str, ...] = ()
    rests_on: tuple[str, ...] = ()
    unmodelled: tuple[str, ...] = ()
    memory: tuple[str, ...] = ()
    ionic_strength_mol_per_kg: float | None = None
    buffer_capacity_mmol_per_100g: float | None = None
    notes: tuple[str, ...] = ()

    @property
    def is_known(self) -> bool:
        """Whether there is a number."""
        return self.value is not None

    def table(self) -> Table:
        """The number, its band and what it rests on, a row each."""
        if self.value is None:
            return Table((self.quantity, ""), [("value", "NOT COMPUTED"), ("why", self.reason)])
        rows = [
            ("value", str(self.value)),
            ("nine readings in ten between", f"{self.low} and {self.high}"),
            ("how far it may miss", self.reason),
            ("ionic strength", f"{self.ionic_strength_mol_per_kg:.3f} mol/kg water"),
            ("buffer capacity", f"{self.buffer_capacity_mmol_per_100g:.2f} mmol/100 g per pH unit"),
        ]
        return Table((self.quantity, ""), [*rows, *(("note", note) for note in self.notes)])

    def _block(self) -> Block:
        lists = (
            ("Rests on", self.rests_on),
            ("Not in the model", self.unmodelled),
            ("From memory", self.memory),
            ("Cannot know", self.cannot_know),
        )
        return Block((self.table(), *(listing(title, items) for title, items in lists if items)))

    def details(self) -> str:
        """Everything about the prediction as text; `str` gives one line."""
        return str(self._block())

    def __str__(self) -> str:
        if self.value is None:
            return f"{self.quantity}: NOT COMPUTED ({self.reason})"
        memory = "; rests on constants from memory" if self.memory else ""
        return f"{self.quantity}: {self.value} ({self.low} to {self.high}; {self.reason}{memory})"

    __repr__ = __str__

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()


def predict_ph(
    composition: Composition, *, knowing: Knowledge | None = None, age_h: float | None = None, temp_c: float = 25.0
) -> Prediction:
    """The predicted pH of a composition with its band, or NOT COMPUTED with the reason.

    Parameters
    ----------
    composition : Composition   Meant, made or proposed.
    knowing : Knowledge         What readings taught; it takes the place of the priors it speaks of.
    age_h : float               Age of the reading to predict; None: settled, every acid has come free. [h]
    temp_c : float              [degC]

    Returns
    -------
    Prediction   `value` with every unknown at its mean; `low` and `high` hold nine readings in ten, from a fixed sample
                 of the unknowns and the scatter of a reading.

    Raises
    ------
    KitError   `ph.temperature` when the temperature is outside what the solver holds for.

    Notes
    -----
    A charge balance per kg of water in the product, activities by Davies. No surface, no oil, no ion pairs.
    """
    from kit.formula.aqueous import aqueous

    impossible = [line for line in composition.lines if not (line.pct.is_finite() and line.pct >= 0)]
    if impossible:
        listed = ", ".join(f"{line.material.name} {line.pct} %" for line in impossible)
        return _not_computed(f"every line has to be 0 % or more: {listed}")
    try:
        water = aqueous(composition, knowing, age_h)
        if water.decisive:
            return _not_computed("without this nothing can be said: " + "; ".join(map(str, water.decisive)))
        if not water.solutes:
            return _not_computed(
                "nothing in it is known to set the pH: no acid, no base, no buffer; carbon dioxide of the air alone "
                "moves it"
            )
        return _predicted(water, composition, age_h, temp_c)
    except KitError as problem:
        if problem.code not in _NOTHING_TO_WORK_WITH:
            raise
        return _not_computed(problem.what)


def hours(age: str | None) -> float | None:
    """An age such as "24 h" or "7 d" in hours; None stays None. [h]

    Raises
    ------
    UnitError   As `kit.units.read`.
    KitError    `ph.age` for an age below zero.
    """
    found = None if age is None else read(age, "h", where="age")
    if found is not None and found < 0:
        raise KitError(f"the age {age} is before making", allowed="0 h or more", mend="type it again", code="ph.age")
    return None if found is None else float(found)


def _predicted(water: Aqueous, composition: Composition, age_h: float | None, temp_c: float) -> Prediction:
    from kit.formula.ph_priors import reading_noise_sd
    from kit.formula.ph_sample import band, sample
    from kit.formula.ph_words import amine_words, cannot_know, is_near_equivalence, neutralisation, rests_on

    nominal = water.mixture().solve(temp_c)
    guesses = water.mixtures(sample(*water.mean_and_covariance)).solve(temp_c)
    value, low, high = map(two_places, (nominal.ph, *band(guesses.ph, reading_noise_sd())))
    degree = neutralisation(water)
    found = Prediction(
        quantity="predicted pH",
        value=value,
        low=low,
        high=high,
        reason=_beyond_the_model(nominal, near=is_near_equivalence(degree))
        or _reason(water, wide=max(high - value, value - low) > _USUAL_MISS),
        cannot_know=cannot_know(water, composition, age_h),
        rests_on=rests_on(water, temp_c),
        unmodelled=tuple(f"{item.name} ({show_pct(item.pct)} %): {item.why}" for item in water.unmodelled),
        memory=water.memory,
    )
    return replace(found, **_figures(water, nominal), notes=(*amine_words(degree), *nominal.notes))


def _figures(water: Aqueous, nominal: Equilibrium) -> dict[str, float]:
    return {
        "ionic_strength_mol_per_kg": float(nominal.ionic_strength_mol_per_kg),
        "buffer_capacity_mmol_per_100g": float(nominal.buffer_capacity_mol_per_kg) * float(water.water_pct),
    }


def _beyond_the_model(nominal: Equilibrium, *, near: bool) -> str:
    """Why the band does not hold, where it does not."""
    from kit.science.activity import HELD_AT

    if near:
        return NOT_NEAR_EQUIVALENCE
    return CONCENTRATED if nominal.ionic_strength_mol_per_kg > HELD_AT else ""


def _reason(water: Aqueous, *, wide: bool) -> str:
    if wide:
        return HARDLY_BUFFERED
    learned = water.knowing is not None and any(water.knowing.covers(item) for item in water.unknowns)
    if learned and water.knowing.titrated():
        return AFTER_TITRATION
    if learned:
        count = len(water.knowing.readings)
        return f"learned from {count} reading{'s' if count != 1 else ''}, no titration of the base"
    return BEFORE_TITRATION


def two_places(value: float) -> Decimal:
    """A pH as it is shown."""
    return Decimal(repr(float(value))).quantize(_TWO_PLACES, ROUND_HALF_EVEN)


def _not_computed(why: str) -> Prediction:
    return Prediction("predicted pH", None, None, None, why, cannot_know=("everything: measure the pH of the batch",))
