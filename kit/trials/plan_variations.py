"""Plan trials: factors and a layout in, a drawn order of reviewed and balanced batches out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal

from kit.errors import KitError
from kit.formula.formula import Formula
from kit.trials.plan import Plan
from kit.trials.plan_crossed import check_split
from kit.trials.plan_data import PlannedBatch
from kit.trials.plan_factors import SUPPLIED, read_factors
from kit.trials.plan_history import scatter_of
from kit.trials.plan_layouts import LEVELS, SWAPS, Asked
from kit.trials.plan_made_of import Making, makings
from kit.trials.plan_materials import read_loss, read_stock
from kit.trials.plan_order import order_batches
from kit.trials.plan_points import CENTRE, REPEAT, read_swaps
from kit.trials.plan_power import power_of, ranked_repeats
from kit.trials.plan_power_split import power_of_split
from kit.trials.plan_repair import LaidOut, repaired
from kit.trials.plan_scatter import Scatter
from kit.trials.plan_versions import PlannedVersion, planned_version
from kit.units import plain, read

DAILY = 4
"""Batches a day where days are not told: an operator's day at the bench (common practice, no source)."""


def plan_variations(
    formula: Formula,
    layout: str = LEVELS,
    factors: Sequence[str] | Mapping[str, object] = (),
    *,
    days: int | Sequence[str] | None = None,
    control: Formula | str | bool | None = None,
    seed: int = 1,
    batch: str = "400 g",
    absorb: str = "water",
    repeats: int = 0,
    centre: int = 3,
    total: str = "",
    constraints: Sequence[str] = (),
    resolution: int | None = None,
    generators: Sequence[str] = (),
    runs: int | None = None,
    alpha: str | float = "",
    degree: int | None = None,
    order: int | None = None,
    repair: bool = True,
    history: object = "",
    study: str = "",
    property: str = "viscosity",
    age: str = "72 h",
    loss: str = "",
    stock: Mapping[str, str] | Sequence[str] | None = None,
) -> Plan:
    """Plan variations of a formula and of how it is made.

    Parameters
    ----------
    formula : Formula          The base; its lines add up to 100 %.
    layout : str               One of `plan_layouts.LAYOUTS`, such as "levels" or "two-level factorial".
    factors : sequence         "cetearyl-alcohol: 3.00, 4.00, 5.00 %", "combine rpm: 4000 to 9000 rpm"; of swaps
                               "guar for hydroxyethylcellulose at equal mass". A mapping of name to levels too.
    days : int or sequence     How many, or their dates "2026-03-02"; four batches a day when omitted.
    control : Formula, str     Made every day: the base when omitted, "centre" for the centre point, a formula of its
                               own, or False for none.
    seed : int                 Of everything that is drawn.
    batch : str                Mass of one batch.
    absorb : str               Who makes room: "water", "proportional" or a line's key.
    repeats : int              Further batches, of the points where they buy most.
    centre : int               Centre points of the layouts that have them.
    total : str                What mixture lines share, "7.00 % active".
    constraints : sequence     "cetrimonium-chloride-29 + behentrimonium-chloride-80 <= 2.5".
    resolution, generators     Of a two-level fraction.
    runs : int                 Of a fraction, of a D-optimal design; levels of a range; of a split plot how often each
                               hot base is made.
    alpha : str, float         Of a central composite: "face" (default), "rotatable", a number.
    degree : int               Of a simplex lattice, 2.
    order : int                Of the model that a D-optimal design is for: 1 or 2.
    repair : bool              False: a plan that breaks a limit is left as asked, with its stops.
    history : str or source    What is known of the scatter: "8 % with 10 df", "8 %" as an assumption, or a lab book.
    study, property, age       Of a lab book: whose repeated batches, of which property at which age.
    loss : str                 Allowance for the materials, "5 %".
    stock : mapping, sequence  What is on the shelf: {"cetearyl-alcohol": "1.2 kg"}.

    Returns
    -------
    Plan   It shows itself; `book.add_plan(plan, ...)` keeps it.

    Raises
    ------
    KitError        `plan.*`, `design.*`.
    FormulaError    As `Formula.change` and `Formula.swap`; `formula.qs_two`.
    MaterialError   For a material that is not known.
    UnitError       For a level, mass or total that cannot be read.
    """
    _check_base(formula)
    dates, count = _days(days)
    scatter = scatter_of(history, study=study, property=property, age=age)
    batch_g = _batch(batch)
    options = {
        "total": total,
        "constraints": _listed(constraints),
        "resolution": _whole(resolution, "resolution"),
        "generators": _listed(generators),
        "runs": _whole(runs, "runs"),
        "alpha": alpha,
        "degree": _whole(degree, "degree"),
        "order": _whole(order, "order", most=2),
    }
    swaps = read_swaps(formula, _listed(factors)) if layout == SWAPS else ()
    basis = "active" if str(total).strip().endswith("active") else SUPPLIED
    typed = () if layout == SWAPS else read_factors(formula, factors, basis=basis)
    asked = Asked(formula, typed, swaps, _count(centre, "centre"), options, seed)
    found = repaired(layout, asked, absorb, repair=repair)
    if found.laid.within:
        check_split(found.formulas, found.laid.points, absorb)
        control = False if control in (None, "") else control  # the parts that are the base stand in every hot base
    control_formula = _control(formula, control, found)
    made = makings(found, control_formula, formula, count, DAILY)
    made = _with_repeats(made, _count(repeats, "repeats"), found, scatter)
    slots = order_batches(made, seed)
    return _plan(formula, layout, found, made, slots, scatter, batch_g, dates, seed, absorb, loss, stock)


def _plan(formula, layout, found, made, slots, scatter, batch_g, dates, seed, absorb, loss, stock) -> Plan:
    laid = found.laid
    batches, planned = [], []
    for number, slot in enumerate(slots, start=1):
        one = made.items[slot.item]
        planned.append(replace(made.seen(slot.item), day=slot.day))
        batches.append(
            PlannedBatch(number, slot.day, slot.place, one.formula.fingerprint, one.label, one.role, one.whole_plot)
        )
    control = made.control
    candidates = [made.seen(place) for place in made.candidates()]
    if laid.within:
        power = power_of_split(planned, laid.factors, laid.within, scatter, order=laid.order)
    else:
        power = power_of(planned, laid.factors, laid.judged, control, scatter, order=laid.order, candidates=candidates)
    return Plan(
        base=formula,
        layout=layout,
        design=laid.title,
        judged=laid.judged,
        factors=tuple(replace(factor, material=None, setting=None) for factor in laid.factors),
        versions=_versions(made, batch_g),
        batches=tuple(batches),
        control=control,
        absorb=absorb,
        batch_g=batch_g,
        seed=seed,
        power=power,
        dates=dates,
        tightened=found.tightened,
        aliases=laid.aliases,
        notes=(*laid.notes, *made.notes),
        loss_pct=read_loss(loss),
        on_hand=tuple(read_stock(stock, formula).items()),
    )


def _versions(made: Making, batch_g: Decimal) -> tuple[PlannedVersion, ...]:
    first = [made.daily] if made.daily is not None else []
    seen: dict[str, PlannedVersion] = {}
    for place in [*first, *range(len(made.items))]:
        one = made.items[place]
        if one.formula.fingerprint not in seen:
            seen[one.formula.fingerprint] = planned_version(one.label, one.levels, one.formula, batch_g)
    return tuple(seen.values())


def _with_repeats(made: Making, count: int, found: LaidOut, scatter: Scatter) -> Making:
    """So many further batches, one after another where one buys most."""
    laid = found.laid
    for _ in range(count):
        batches = [made.seen(place) for place in made.every()]
        candidates = {made.seen(place): place for place in made.candidates()}
        _, best = ranked_repeats(
            batches, laid.factors, laid.judged, made.control, scatter, laid.order, list(candidates)
        )[0]
        made = made.repeated(candidates[best], REPEAT)
    return made


def _control(base: Formula, control: object, found: LaidOut) -> Formula | None:
    if control is False or control == "none":
        return None
    if control is None or control is True or control in ("", "base", base.title):
        return base
    if control == CENTRE:
        for point, made in zip(found.laid.points, found.formulas, strict=True):
            if point.role == CENTRE:
                return made
        raise _no_control("the layout has no centre point", f"{CENTRE} where there is one (centre=1 or more)")
    if isinstance(control, Formula):
        _check_base(control)
        return control
    raise _no_control(f"{control!r} is no control", 'a formula, "base", "centre" or "none"')


def _no_control(what: str, allowed: str) -> KitError:
    return KitError(what, where="control of the plan", allowed=allowed, mend="name one of these", code="plan.control")


def _check_base(formula: Formula) -> None:
    total = formula.composition().total
    negative = [line.material.key for line in formula.composition().lines if line.pct < 0]
    if total != 100 or negative:
        what = f"{', '.join(negative)} is negative" if negative else f"the lines add up to {plain(total)} %"
        raise KitError(
            what,
            where=formula.title,
            allowed="lines that add up to 100 %",
            mend="correct the formula, then plan",
            code="plan.balance",
        )


def _days(days: int | Iterable[str] | None) -> tuple[tuple[str, ...], int]:
    """Dates, where dates were given, and how many days; 0 where it is to be worked out."""
    if days is None or days == "":
        return (), 0
    if isinstance(days, int) and not isinstance(days, bool) and days > 0:
        return (), days
    try:
        dates = tuple(date.fromisoformat(str(day)).isoformat() for day in days)
    except (TypeError, ValueError):
        dates = ()
    if not dates or list(dates) != sorted(set(dates)):
        raise KitError(
            f"{days!r} are no days",
            where="days of the plan",
            allowed='a number, or dates in their order: ["2026-03-02", "2026-03-03"]',
            mend="write it so",
            code="plan.days",
        )
    return dates, len(dates)


def _listed(typed: object) -> list:
    """One text or several as a list; nothing for none."""
    if typed is None:
        return []
    return [typed] if isinstance(typed, str) or not isinstance(typed, Iterable) else list(typed)


def _whole(value: object, name: str, most: int = 4096) -> int | None:
    """A whole number from 1 on where one is given; None where none is."""
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= most:
        raise KitError(
            f"{name} is {value!r}",
            where="plan_variations()",
            allowed=f"a whole number from 1 to {most}",
            mend="give such a number, or leave it out",
            code="plan.count",
        )
    return value


def _count(value: object, name: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 50:
        raise KitError(
            f"{name} is {value!r}",
            where="plan_variations()",
            allowed="a whole number from 0 to 50",
            mend="give such a number",
            code="plan.count",
        )
    return value


def _batch(text: str) -> Decimal:
    mass = read(text, "g", where="batch of the plan")
    if mass <= 0:
        raise KitError(
            f"a batch of {plain(mass)} g", where="batch of the plan", allowed="above 0 g", mend='batch="400 g"',
            code="plan.batch_size",
        )  # fmt: skip
    return mass
