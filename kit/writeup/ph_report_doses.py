"""Doses of stock solutions for a batch: how much, the water it brings, what one drop does, the salt it leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.figures.titration_words import signed_ph
from kit.formula.aqueous import Aqueous, stock_of
from kit.formula.dosing import DROP_G, FIRST_SHARE, DoseAnswer, dose_to_ph
from kit.formula.material import Material
from kit.science.titration import Mixture, Stock, drop_change, round_trip
from kit.show import Block, Table, listing
from kit.units import plain
from kit.writeup.ph_report_subject import Subject

FIRST_PCT = f"{100 * FIRST_SHARE:.0f} %"
_TOO_FAR_PH = 0.2  # past the target, for the way back
_NEAR_ENOUGH_PH = 0.1  # nearer than this to its target a cream is left alone (common practice, no source)


@dataclass(frozen=True)
class Adjustment:
    """A batch that is to be brought from its pH to a target.

    Parameters
    ----------
    subject : Subject     What is adjusted.
    water : Aqueous       The water of its composition, with what is not known of it.
    mixture : Mixture     That water in the batch as it is now: it starts at the measured pH where there is one.
    target_ph : float     [-]
    """

    subject: Subject
    water: Aqueous
    mixture: Mixture
    target_ph: float

    @property
    def mass_g(self) -> float:
        """In the vessel. [g]"""
        return float(self.subject.mass_g)


@dataclass(frozen=True)
class StockPlan:
    """What one stock solution does to a batch.

    Parameters
    ----------
    material : Material   The stock solution.
    stock : Stock         As the acid-base model takes it.
    answer : DoseAnswer   To the target; None where it does not lead there.
    why_not : str         Why there is no dose.
    first_ph : float      After the first share of the dose; None without a dose. [-]
    drop_now : float      Change of pH by one drop, now. [-]
    """

    material: Material
    stock: Stock
    answer: DoseAnswer | None
    why_not: str
    first_ph: float | None
    drop_now: float


def plan_stock(adjustment: Adjustment, material: Material) -> StockPlan:
    """What a stock solution does to a batch, and how much of it leads to the target.

    Parameters
    ----------
    adjustment : Adjustment   Batch and target.
    material : Material       The stock solution.

    Returns
    -------
    StockPlan   Without a dose where this stock does not lead to the target.

    Raises
    ------
    KitError   `ph.stock` for what brings no acid or base, or whose chemistry is not known.
    """
    mixture, subject, stock = adjustment.mixture, adjustment.subject, stock_of(material)
    now = drop_change(mixture, stock, DROP_G)
    try:
        answer = dose_to_ph(
            subject.composition,
            adjustment.target_ph,
            using=material,
            batch=f"{plain(subject.mass_g)} g",
            measured=subject.measured_ph,
            knowing=adjustment.water.knowing,
            age=None if subject.measured_age_h is None else f"{plain(subject.measured_age_h)} h",
        )
    except KitError as problem:
        if problem.code != "ph.unreachable":
            raise
        return StockPlan(material, stock, None, _why_not(material, adjustment, now, problem), None, now)
    first = mixture.plus(stock, float(answer.first_g)).solve().ph
    return StockPlan(material, stock, answer, "", float(first), now)


def _why_not(material: Material, adjustment: Adjustment, one_drop: float, problem: KitError) -> str:
    """Why a stock solution does not lead to the target: the wrong way, or not far enough."""
    way = adjustment.target_ph - float(adjustment.mixture.solve().ph)
    if one_drop * way > 0:
        return problem.what
    moves, side = ("raises", "below") if one_drop > 0 else ("lowers", "above")
    return f"{material.name} {moves} the pH, and the target {adjustment.target_ph:.2f} lies {side}"


def dose_block(adjustment: Adjustment, plans: Sequence[StockPlan], band: tuple[float, float] | None = None) -> Block:
    """How much of each stock solution, a row a stock; one that does not lead to the target says why.

    Parameters
    ----------
    adjustment : Adjustment         Batch and target.
    plans : sequence of StockPlan   One a stock solution.
    band : (low, high)              Of the pH now, where it is predicted and was not measured. [-]

    Returns
    -------
    Block   A table, and sentences where they are needed.
    """
    table = Table(
        (
            "stock solution",
            "g to the batch",
            "9 in 10 batches need, g",
            "g per 100 g",
            f"first {FIRST_PCT}, g",
            "pH after that",
            "pH after all",
            "water it brings, g",
            "change of ionic strength, mmol/kg",
        ),
        [_dose_row(plan, adjustment.mass_g) for plan in plans],
        title=f"Dose to pH {adjustment.target_ph:.2f} for {adjustment.mass_g:g} g",
        note=f"Add the first {FIRST_PCT}, stir, wait, read again, then work out the rest anew. A rise of the ionic "
        "strength is salt that stays; salt thins the gel.",
        numeric=frozenset(range(1, 9)),
    )
    away = [plan.why_not for plan in plans if plan.answer is None]
    told = [(plan.answer.reason, *plan.answer.notes, *_of_memory(plan.answer)) for plan in plans if plan.answer]
    notes = [*_outside(adjustment), *_whether(adjustment, band), *away, *(note for notes in told for note in notes)]
    return Block((table, listing("To know", dict.fromkeys(notes))))


def _of_memory(answer: DoseAnswer) -> tuple[str, ...]:
    return (f"rests on constants from memory: {'; '.join(answer.memory)}",) if answer.memory else ()


def _outside(adjustment: Adjustment) -> list[str]:
    low, high = adjustment.subject.limits
    inside = (low is None or low <= adjustment.target_ph) and (high is None or adjustment.target_ph <= high)
    words = adjustment.subject.spec.words() if adjustment.subject.spec else ""
    return [] if inside else [f"the target {adjustment.target_ph:.2f} lies outside the spec, pH {words}"]


def _whether(adjustment: Adjustment, band: tuple[float, float] | None) -> list[str]:
    """Whether there is anything to adjust: the side of the target is not known, or the batch is there already."""
    if band and band[0] <= adjustment.target_ph <= band[1]:
        return ["read the pH first: the prediction does not tell on which side of the target the batch lies"]
    apart = abs(adjustment.target_ph - float(adjustment.mixture.solve().ph))
    if not band and apart <= _NEAR_ENOUGH_PH:
        return [
            f"the batch is within {_NEAR_ENOUGH_PH:g} of the target: leave it as it is (common practice, no source)"
        ]
    return []


def _dose_row(plan: StockPlan, mass_g: float) -> tuple[str, ...]:
    answer = plan.answer
    if answer is None:
        return (plan.material.name, "none", *[""] * 7)
    high = f"to {plain(answer.high_g)}" if answer.high_g is not None else "or more than it can take"
    return (
        plan.material.name,
        plain(answer.dose_g),
        f"{plain(answer.low_g)} {high}",
        f"{100 * float(answer.dose_g) / mass_g:.3f}",
        plain(answer.first_g),
        f"{plan.first_ph:.2f}",
        f"{answer.ph_after:.2f}",
        plain(answer.water_g),
        _milli(answer.ionic_strength_after - answer.ionic_strength_before),
    )


def steepness_table(adjustment: Adjustment, plans: Sequence[StockPlan]) -> Table:
    """How steep it is now and at the target: buffer capacity, and what one drop of each stock does.

    Parameters
    ----------
    adjustment : Adjustment         Batch and target.
    plans : sequence of StockPlan   One a stock solution.

    Returns
    -------
    Table
    """
    there = at_target(adjustment, plans)
    rows = [_steepness_row("now", adjustment.mixture, plans)]
    rows += [_steepness_row("at the target", there, plans)] if there else []
    drops = (f"{DROP_G:g} g of {plan.material.name}" for plan in plans)
    return Table(
        ("", "pH", "buffer capacity, mmol/100 g for each pH", *drops),
        rows,
        title="How steep is it here?",
        note=f"One drop is taken as {DROP_G:g} g. Where a drop moves the pH by 0.1 or more, go on with a weaker stock "
        "solution.",
        numeric=frozenset(range(1, 3 + len(plans))),
    )


def at_target(adjustment: Adjustment, plans: Sequence[StockPlan]) -> Mixture | None:
    """The batch as it is after the dose of the first stock solution that leads to the target; None where none does.

    Parameters
    ----------
    adjustment : Adjustment         Batch and target.
    plans : sequence of StockPlan   One a stock solution.

    Returns
    -------
    Mixture or None
    """
    reached = next((plan for plan in plans if plan.answer), None)
    return adjustment.mixture.plus(reached.stock, float(reached.answer.dose_g)) if reached else None


def _steepness_row(name: str, mixture: Mixture, plans: Sequence[StockPlan]) -> tuple[str, ...]:
    found = mixture.solve()
    capacity = found.buffer_capacity_mol_per_kg * mixture.water_g / mixture.mass_g * 100
    drops = (signed_ph(drop_change(mixture, plan.stock, DROP_G)) for plan in plans)
    return (name, f"{found.ph:.2f}", f"{capacity:.2f}", *drops)


def overshoot_block(adjustment: Adjustment, plans: Sequence[StockPlan]) -> Block:
    """Both directions of a correction: too far past the target and back, and the salt that stays.

    Parameters
    ----------
    adjustment : Adjustment         Batch and target.
    plans : sequence of StockPlan   One a stock solution.

    Returns
    -------
    Block   A table; empty where the stocks do not lead both ways.
    """
    down = next((plan for plan in plans if plan.drop_now < 0), None)
    up = next((plan for plan in plans if plan.drop_now > 0), None)
    there = at_target(adjustment, plans)
    if not (down and up and there):
        return Block(())
    rows = []
    for past in (adjustment.target_ph - _TOO_FAR_PH, adjustment.target_ph + _TOO_FAR_PH):
        trip = round_trip(there, down.stock, up.stock, past)
        out, back = (down, up) if past < adjustment.target_ph else (up, down)
        rows.append(
            (
                f"{past:.2f}",
                f"{trip.out.dose_g:.2f} g of {out.material.name}",
                f"{trip.back.dose_g:.2f} g of {back.material.name}",
                f"{trip.water_added_g:.2f}",
                _milli(trip.ionic_strength_added),
            )
        )
    table = Table(
        ("gone to pH", "that was too much by", "back with", "water, g", "ionic strength, mmol/kg"),
        rows,
        title=f"If the target {adjustment.target_ph:.2f} is missed by {_TOO_FAR_PH:g}",
        note="The way back leaves its salt and its water in the batch for good: it is better to stop short.",
        numeric=frozenset({0, 3, 4}),
    )
    return Block((table,))


def _milli(mol_per_kg: float) -> str:
    """A change of ionic strength with its sign. [mmol/kg]"""
    return f"{1000 * mol_per_kg:+.2f}".replace("-", "−")
