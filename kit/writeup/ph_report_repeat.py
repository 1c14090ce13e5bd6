"""Doing an adjustment at the bench: the steps, how each is recorded, and the cautions."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kit.formula.dosing import DROP_G
from kit.formula.material import Material
from kit.show import Block, Cell, Table, listing
from kit.sources import read_data
from kit.units import plain
from kit.writeup.ph_report_doses import FIRST_PCT, StockPlan
from kit.writeup.ph_report_subject import Subject


def how_to_repeat(plans: Sequence[StockPlan], subject: Subject, target_ph: Decimal) -> Block:
    """The steps of the adjustment, and the calls that record it.

    Parameters
    ----------
    plans : sequence of StockPlan   One a stock solution.
    subject : Subject               What is adjusted.
    target_ph : Decimal             [-]

    Returns
    -------
    Block   A list of steps, a list of calls.
    """
    leads = next((plan for plan in plans if plan.answer), None)
    what = leads.material.name if leads else "the stock solution"
    first = f"{plain(leads.answer.first_g)} g" if leads else f"{FIRST_PCT} of the dose"
    steps = (
        "Calibrate with two buffers that lie on either side of the target, such as 4.01 and 7.00; read at 25 ± 1 °C, "
        "neat, after the same wait each time.",
        f"Weigh {what} out of a bottle on a balance of 0.01 g or finer: one drop is about {DROP_G:g} g.",
        f"Add {first} slowly while stirring, wait until the reading holds still, and read.",
        f"Type that reading in as measured and run this page again for the rest of the way to {target_ph:.2f}.",
        "Within 0.1 of the target stop (common practice): a cream's pH is no surer, and a way back leaves salt.",
        "Read again at 24 h and at the age of the spec: concentrated lactic acid and extracts go on moving it.",
    )
    stock = leads.material.key if leads else "citric-acid-10-solution"
    calls = (
        f'batch.adjust("{stock}", "{first if leads else "1.2 g"}")',
        'batch.take("20 g", why="titration")',
        'batch.read_ph("4.62", temp="25 degC", calibration="...")',
    )
    note = f"For {plain(subject.mass_g)} g. The adjuster becomes part of the composition as made."
    return Block((listing("Step by step", steps), listing("How it is recorded", calls), note))


def adjustment_cautions(stocks: Sequence[Material], subject: Subject) -> Table:
    """Cautions of the stock solutions, then of the materials of the formula, then those that always hold.

    Parameters
    ----------
    stocks : sequence of Material   Stock solutions.
    subject : Subject               What is adjusted.

    Returns
    -------
    Table   A row a caution, what burns or blinds first.
    """
    known = read_data("cautions.toml")["cautions"]
    made_from = [base for stock in stocks for base, _ in stock.weighed_as()]
    keys = dict.fromkeys(key for material in (*stocks, *made_from) for key in material.cautions)
    keys |= dict.fromkeys(key for material in subject.composition.materials() for key in material.cautions)
    keys |= dict.fromkeys(key for key, row in known.items() if row.get("always"))
    order = ("corrosive", "alkali", "acid", "eyes")
    asked = sorted(keys, key=lambda key: order.index(key) if key in order else len(order))
    return Table(
        ("caution", "what to do"),
        [(Cell(known[key]["title"], "strong"), known[key]["text"]) for key in asked if key in known],
        title="Cautions for whoever adjusts this batch",
        note="Goggles and gloves for every stock solution, acid or base. These do not replace the suppliers' safety "
        "data sheets, local codes and qualified people.",
    )
