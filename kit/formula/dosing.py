"""How much of an acid or a base brings a batch to a pH: the dose with its band, what a drop does, what it leaves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

from kit.errors import KitError
from kit.formula.composition import Composition
from kit.formula.library import Library, load_library
from kit.formula.material import Material
from kit.formula.predict import NOT_NEAR_EQUIVALENCE, Prediction, hours, predict_ph, two_places
from kit.show import Block, Table, listing
from kit.sources import read_data
from kit.units import number, plain, read

if TYPE_CHECKING:
    import numpy as np

    from kit.formula.aqueous import Aqueous
    from kit.formula.knowledge import Knowledge
    from kit.science.titration import Dose, Mixture, Stock

FIRST_SHARE = Decimal("0.7")  # of the dose goes in first, then the pH is read again (common practice, no source)
DROP_G = 0.05  # of a watery solution (common practice, no source)

_FALL_WORTH_TELLING = Decimal("0.05")  # pH: as a reading scatters (common practice, no source)
_STEEP = 0.1  # pH a drop: as much as two readings of one cream differ (common practice, no source)
_MOST_SHARE = 0.05  # of the batch: more stock solution than that thins all the rest (common practice, no source)
_WARNING_CAUTIONS = ("corrosive", "acid", "alkali", "dust")
_HALVINGS = 26  # of the largest dose: to 1 part in 67 million of the batch


@dataclass(frozen=True, slots=True, repr=False)
class DoseAnswer:
    """The dose of a stock solution that brings a batch to a pH.

    Parameters
    ----------
    using : str                    Name of the stock solution.
    target : Decimal               pH wanted.
    batch_g : Decimal              Mass of the batch before the dose. [g]
    dose_g : Decimal               [g]
    low_g, high_g : Decimal        Nine batches in ten need a dose between these; `low_g` is 0 where some of them are
                                   there already, `high_g` None where some do not get there with as much stock
                                   solution as batch. [g]
    first_g : Decimal              70 % of the dose: what to add before reading again. [g]
    water_g : Decimal              Water that the dose brings. [g]
    ph_before, ph_after : Decimal  By the model; `ph_before` is the measured pH where one was given.
    measured : Decimal             pH read in this batch, None when not given.
    drop_before, drop_after : Decimal   What one drop of 0.05 g does to the pH before and after the dose.
    buffer_capacity_mmol_per_100g : float    Strong base per pH unit, before the dose. [mmol/100 g]
    ionic_strength_before, ionic_strength_after : float   [mol/kg water]
    reason : str                   How far it may miss.
    notes, cautions : tuple of str   What limits it; safety.
    unmodelled : tuple of str      Supply forms whose acid or buffer is not in the model, and why.
    memory : tuple of str          Constants that rest on memory.
    """

    using: str
    target: Decimal
    batch_g: Decimal
    dose_g: Decimal
    low_g: Decimal
    high_g: Decimal | None
    first_g: Decimal
    water_g: Decimal
    ph_before: Decimal
    ph_after: Decimal
    measured: Decimal | None
    drop_before: Decimal
    drop_after: Decimal
    buffer_capacity_mmol_per_100g: float
    ionic_strength_before: float
    ionic_strength_after: float
    reason: str
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    unmodelled: tuple[str, ...] = ()
    memory: tuple[str, ...] = ()

    def table(self) -> Table:
        """The dose, its band and what it does, a row each."""
        low = f"{plain(self.low_g)} g" if self.low_g else "nothing (some are there already)"
        high = f"{plain(self.high_g)} g" if self.high_g is not None else "more than the batch can take"
        before = "read" if self.measured is not None else "predicted"
        rows = [
            ("batch", f"{plain(self.batch_g)} g"),
            (f"pH before, {before}", f"{self.ph_before}"),
            ("dose", f"{plain(self.dose_g)} g of {self.using}"),
            ("nine batches in ten need", f"{low} to {high}"),
            ("add first, then read again", f"{plain(self.first_g)} g"),
            ("pH after, predicted", f"{self.ph_after}"),
            ("one drop of 0.05 g", f"{self.drop_before:+} pH before, {self.drop_after:+} pH after the dose"),
            ("water it brings", f"{plain(self.water_g)} g"),
            ("buffer capacity", f"{self.buffer_capacity_mmol_per_100g:.2f} mmol/100 g per pH unit"),
            ("ionic strength", f"{self.ionic_strength_before:.3f} to {self.ionic_strength_after:.3f} mol/kg water"),
            ("how far it may miss", self.reason),
        ]
        return Table(("dose to pH", str(self.target)), [*rows, *(("note", note) for note in self.notes)])

    def _block(self) -> Block:
        lists = (("Cautions", self.cautions), ("Not in the model", self.unmodelled), ("From memory", self.memory))
        return Block((self.table(), *(listing(title, items) for title, items in lists if items)))

    def __str__(self) -> str:
        return str(self._block())

    __repr__ = __str__

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()


def dose_to_ph(
    composition: Composition,
    target: object,
    *,
    using: str | Material = "citric acid 10 %",
    batch: object = "400 g",
    measured: object = None,
    knowing: Knowledge | None = None,
    age: str | None = None,
    temp: str = "25 degC",
    library: Library | None = None,
) -> DoseAnswer:
    """How much of a stock solution brings a batch to a pH.

    Parameters
    ----------
    composition : Composition   What is in the batch, as made or as meant.
    target : str or number      pH wanted.
    using : str or Material     Acid or base, by any name the library knows.
    batch : str                 Mass of the batch, such as "400 g".
    measured : str or number    pH read in this batch: the model is set to start there.
    knowing : Knowledge         What readings of the lab taught.
    age : str                   Age of the batch, such as "1 h"; None: settled, every acid has come free.
    temp : str                  Of the batch.
    library : Library           Where `using` is looked up; None: the starter materials.

    Returns
    -------
    DoseAnswer   The dose for every unknown at its mean, and the band of doses over the unknowns.

    Raises
    ------
    KitError   `ph.unreachable` when the stock solution does not lead there, `ph.stock` when it is no acid or base,
               `ph.not_computed` when the composition cannot be modelled, `ph.target`, `ph.batch` for a batch of
               nothing, `ph.temperature`.
    MaterialError   As `Library.find`.
    """
    from kit.formula.aqueous import aqueous, stock_of
    from kit.science.titration import dose_to_ph as dosed

    wanted, read_ph = _ph(target, "target"), None if measured is None else _ph(measured, "measured")
    batch_g = _mass(batch)
    temp_c = float(read(temp, "degC", where="dose_to_ph(temp)"))
    predicted = predict_ph(composition, knowing=knowing, age_h=hours(age), temp_c=temp_c)
    if not predicted.is_known:
        raise KitError(f"no dose can be worked out: {predicted.reason}", code="ph.not_computed")
    material = using if isinstance(using, Material) else (library or load_library()).find(using, where="dose_to_ph")
    water, stock = aqueous(composition, knowing, hours(age)), stock_of(material)
    anchor = None if read_ph is None else float(read_ph)
    settled = predicted if age is None else predict_ph(composition, knowing=knowing, temp_c=temp_c)
    maybe_there = read_ph is None and predicted.low <= wanted <= predicted.high
    try:
        dose = dosed(water.mixture(float(batch_g)), stock, float(wanted), anchor, temp_c, drop_g=DROP_G)
    except KitError as problem:
        if maybe_there and problem.code == "ph.unreachable":
            raise _told_to_measure(problem, predicted) from None
        raise
    low, high = _band(water, stock, float(wanted), dose, anchor, temp_c, float(batch_g))
    measure = (_measure_first(predicted),) if maybe_there else ()
    notes = (
        *measure,
        *_notes(dose, batch_g, material, age, read_ph, wanted),
        *_bound_notes(composition, age, read_ph, predicted, settled),
        *(note for note in predicted.notes if note not in dose.notes),
    )
    return DoseAnswer(
        using=material.name,
        target=wanted,
        batch_g=batch_g,
        low_g=_grams(low),
        high_g=None if high is None else _grams(high),
        **_figures(dose, batch_g),
        measured=read_ph,
        reason=_reason(predicted.reason, read_ph),
        notes=notes,
        cautions=_cautions(material),
        unmodelled=predicted.unmodelled,
        memory=predicted.memory,
    )


def _figures(dose: Dose, batch_g: Decimal) -> dict:
    return {
        "dose_g": _grams(dose.dose_g),
        "first_g": _grams(dose.dose_g * float(FIRST_SHARE)),
        "water_g": _grams(dose.water_added_g),
        "ph_before": two_places(dose.ph_before),
        "ph_after": two_places(dose.ph_after),
        "drop_before": _drop(dose.drop_before),
        "drop_after": _drop(dose.drop_after),
        "buffer_capacity_mmol_per_100g": dose.buffer_capacity_before / float(batch_g) * 100,
        "ionic_strength_before": dose.ionic_strength_before,
        "ionic_strength_after": dose.ionic_strength_after,
    }


def _band(
    water: Aqueous, stock: Stock, target: float, dose: Dose, measured: float | None, temp_c: float, batch_g: float
) -> tuple[float, float | None]:
    """The 5 % and 95 % quantile of the dose over the unknowns; None for the upper one where it is not reached."""
    import numpy as np

    from kit.formula.ph_priors import reading_noise_sd
    from kit.formula.ph_sample import HIGH, LOW, sample, standard_points

    mixtures = water.mixtures(sample(*water.mean_and_covariance), batch_g=batch_g)
    if measured is not None:
        noise = reading_noise_sd() * standard_points(len(water.unknowns) + 1)[:, -1]
        mixtures = mixtures.at_measured_ph(measured + noise, temp_c)
    rises = target > dose.ph_before if dose.dose_g else dose.drop_before > 0
    doses = _doses(mixtures, stock, target, temp_c, rises=rises)
    low, high = np.quantile(doses, (LOW, HIGH), method="lower")
    return float(low), float(high) if np.isfinite(high) else None


def _doses(mixtures: Mixture, stock: Stock, target: float, temp_c: float, *, rises: bool) -> np.ndarray:
    """The dose of each mixture by halving; 0 where the target is passed already, infinite where it is not reached."""
    import numpy as np

    from kit.science.titration import largest_dose_g

    sign, size = 1 if rises else -1, mixtures.strong_ions_mmol.shape
    most_g = largest_dose_g(mixtures, stock)
    start = mixtures.solve(temp_c).ph
    end = mixtures.plus(stock, np.full(size, most_g)).solve(temp_c).ph
    low, high = np.zeros(size), np.full(size, most_g)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        short = sign * (mixtures.plus(stock, middle).solve(temp_c).ph - target) < 0
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    found = np.where(sign * (end - target) < 0, np.inf, 0.5 * (low + high))
    return np.where(sign * (start - target) >= 0, 0.0, found)


def _measure_first(predicted: Prediction) -> str:
    return (
        f"measure first: the predicted pH may be anything from {predicted.low} to {predicted.high}, so the batch may "
        "be at the target or past it already; ask again with measured="
    )


def _told_to_measure(problem: KitError, predicted: Prediction) -> KitError:
    """The refusal where the target lies within the band of what is predicted: a reading decides, no other stock."""
    return KitError(
        problem.what, where=problem.where, allowed=problem.allowed, mend=_measure_first(predicted), code=problem.code
    )


def _notes(
    dose: Dose, batch_g: Decimal, material: Material, age: str | None, measured: Decimal | None, target: Decimal
) -> tuple[str, ...]:
    from kit.formula.ph_priors import forms_with_bound_acid, reading_noise_sd

    told = list(dose.notes)
    if measured is not None and float(abs(measured - target)) <= reading_noise_sd():
        told.append("no further from the target than two readings of one cream differ: nothing needs to be added")
    if dose.dose_g > float(batch_g) * _MOST_SHARE:
        told.append("more than 5 % of the batch: it dilutes everything else; take a stronger stock solution")
    steep = max(abs(dose.drop_before), abs(dose.drop_after))
    if steep > _STEEP:
        told.append(f"steep here: one drop moves the pH by up to {steep:.2f}; take a weaker solution for the last part")
    if forms_with_bound_acid([material]) and age is None:
        told.append(f"{material.name} lets go of more acid for days: read again at 24 h and 7 d")
    return tuple(told)


def _bound_notes(
    composition: Composition, age: str | None, measured: Decimal | None, predicted: Prediction, settled: Prediction
) -> tuple[str, ...]:
    """That a batch with concentrated lactic acid, read fresh, goes on falling by itself, and by how much."""
    from kit.formula.ph_priors import forms_with_bound_acid

    forms = ", ".join(forms_with_bound_acid(line.material for line in composition.lines if line.pct > 0))
    if not forms or (measured is None and age is None):
        return ()
    if age is None:
        return (f'{forms} lets go of acid for days: if the batch was read fresh, give its age, such as age="1 h"',)
    fall = predicted.value - settled.value
    if fall < _FALL_WORTH_TELLING:
        return ()
    return (
        f"{forms} lets go of acid for days: even without a dose the pH falls by about {fall} by itself; add less now, "
        "or wait and read again",
    )


def _reason(predicted: str, measured: Decimal | None) -> str:
    if measured is None or predicted == NOT_NEAR_EQUIVALENCE:
        return predicted
    return "starts at the pH read; add 70 %, read again and ask again from there"


def _cautions(material: Material) -> tuple[str, ...]:
    known: Mapping[str, Mapping] = read_data("cautions.toml")["cautions"]
    keys = [key for key in _WARNING_CAUTIONS if key in material.cautions]
    return tuple(f"{known[key]['title']}: {known[key]['text']}" for key in keys)


def _mass(batch: object) -> Decimal:
    found = read(batch, "g", where="dose_to_ph(batch)")
    if found <= 0:
        raise KitError(
            f"a batch of {plain(found)} g is none", where="dose_to_ph(batch)", allowed="above 0 g", code="ph.batch"
        )
    return found


def _ph(value: object, where: str) -> Decimal:
    found = number(value, where=f"dose_to_ph({where})")
    if not 0 <= found <= 14:
        raise KitError(f"{where}: pH {found} cannot be", allowed="0 to 14", mend="read it again", code="ph.target")
    return found


def _grams(value: float) -> Decimal:
    """Grams as a balance of 0.01 g shows them, two figures below 0.1 g."""
    places = Decimal("0.01") if abs(value) >= 0.1 else Decimal("0.001")
    return Decimal(repr(float(value))).quantize(places, ROUND_HALF_EVEN)


def _drop(value: float) -> Decimal:
    return Decimal(repr(float(value))).quantize(Decimal("0.001"), ROUND_HALF_EVEN)
