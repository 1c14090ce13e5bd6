"""As-made differences: lines that came out otherwise than meant, adjusters, lots, and what the composition implies."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING

from kit.bench.events import Adjusted, Weighed
from kit.bench.made import Made
from kit.bench.weighing import judge
from kit.errors import BatchError
from kit.formula.composition import Composition, show_pct
from kit.formula.derived import derived
from kit.labbook.view import BatchView
from kit.trials.arms import Arm
from kit.trials.lot_differences import lot_rows
from kit.trials.wording import ABSENT, NOT_RECORDED, joined, plural, signed
from kit.units import plain

if TYPE_CHECKING:
    from kit.formula.prices import Price

# a difference of percentages that a comparison of 0.1 % steps would notice (common practice, no source)
NOTICED_PP = Decimal("0.05")

_NAMED_UNPRICED = 3  # lines without a price that are named; more of them are counted

Row = tuple[str, tuple[str, ...]]

_DERIVED = (
    ("cationic_meq_per_100g", "active cationic, meq/100 g"),
    ("anionic_meq_per_100g", "large anions, meq/100 g"),
    ("alcohol_cationic_ratio", "fatty alcohol:cationic, mol/mol"),
    ("fatty_alcohol_pct", "fatty alcohol, % w/w"),
    ("oil_load_pct", "oil load, % w/w"),
    ("water_pct", "water, % w/w"),
    ("network_lipid_pct", "network lipid, % of lipid and water"),
)


def made_of(batch: BatchView) -> tuple[Made | None, str]:
    """A batch as made, or why there is nothing to say: nothing weighed, or a mass balance that does not close."""
    try:
        return batch.made, ""
    except BatchError as problem:
        return None, f"{NOT_RECORDED} ({problem.what})"


def made_rows(arms: Sequence[Arm]) -> tuple[Row, ...]:
    """Made against meant, adjusters and lots, a row a subject; only what differs or was not recorded."""
    rows = [("total as made, % w/w", _each(arms, _total)), ("adjusters poured in", _each(arms, _adjusters))]
    rows += [(f"{name}, made against meant", cells) for name, cells in _line_rows(arms)]
    rows += _not_weighed_rows(arms)
    return (*rows, *lot_rows(arms))


def derived_rows(
    arms: Sequence[Arm], prices: Mapping[str, Price] | None = None, ph: Sequence[Row] = ()
) -> tuple[Row, ...]:
    """Numbers worked out from the composition as made, or as meant where nothing was weighed, and the row says so.

    The rows about the pH stand among them. The cost is that of the meant formula: it is what a release rests on.
    """
    rows = [
        (
            "worked out from the composition",
            _each(arms, lambda batch: "as made" if made_of(batch)[0] else "as meant: nothing was weighed"),
        )
    ]
    rows += [
        (label, _each(arms, lambda batch, name=name: _number(getattr(derived(_composition(batch)), name))))
        for name, label in _DERIVED
    ]
    return (
        *rows,
        *ph,
        ("materials for 1 kg, as meant", tuple(_cost(arm, prices or {}) for arm in arms)),
    )


def line_differences(batch: BatchView) -> dict[str, str]:
    """Lines more than 0.05 pp away from what was meant, or weighed outside their tolerance, in words."""
    made, _ = made_of(batch)
    if made is None:
        return {}
    meant = batch.formula.composition()
    materials = {material.key: material.name for material in (*meant.materials(), *made.composition.materials())}
    told = {}
    for key, name in materials.items():
        delta = made.composition.pct(key) - meant.pct(key)
        outside = _outside(batch, key)
        if abs(delta) > NOTICED_PP or outside:
            percents = f"{show_pct(made.composition.pct(key))} against {show_pct(meant.pct(key))} %"
            figures = f"{percents}, {signed(show_pct(delta))} pp"
            told[name] = f"{figures} ({outside})" if outside else figures
    return told


def _each(arms: Sequence[Arm], say: Callable[[BatchView], str]) -> tuple[str, ...]:
    return tuple(joined({batch.name: say(batch) for batch in arm.batches}) for arm in arms)


def _total(batch: BatchView) -> str:
    made, why = made_of(batch)
    return show_pct(made.composition.total) if made else why


def _composition(batch: BatchView) -> Composition:
    made, _ = made_of(batch)
    return made.composition if made else batch.formula.composition()


def _adjusters(batch: BatchView) -> str:
    poured = [f"{plain(event.mass_g)} g {event.material.name}" for event in batch.events if isinstance(event, Adjusted)]
    return ", ".join(poured) or "none recorded"


def _line_rows(arms: Sequence[Arm]) -> Iterable[Row]:
    told = {batch.name: line_differences(batch) for arm in arms for batch in arm.batches}
    for name in dict.fromkeys(name for found in told.values() for name in found):
        yield (
            name,
            _each(
                arms, lambda batch, name=name: told[batch.name].get(name, "as meant" if made_of(batch)[0] else ABSENT)
            ),
        )


def _not_weighed_rows(arms: Sequence[Arm]) -> list[Row]:
    """Lines that a batch with weighings has none for: the composition counts them as absent."""

    def said(batch: BatchView) -> str:
        made, _ = made_of(batch)
        words = [finding.words for finding in made.findings if finding.code == "made.not_weighed"] if made else []
        return " ".join(words) or ABSENT

    cells = _each(arms, said)
    return [("lines without a weighing", cells)] if any(cell != ABSENT for cell in cells) else []


def _outside(batch: BatchView, key: str) -> str:
    """How the weighings of a material missed their targets; empty within tolerance or with rescaled targets."""
    if any(item.body["choice"] == "rescale" for item in batch.standing("over-weighing")):
        return ""
    masses: dict[tuple[str, str], Decimal] = {}
    for event in batch.events:
        if isinstance(event, Weighed):
            place = (event.phase, event.material.key)
            masses[place] = masses.get(place, Decimal(0)) + event.mass_g
    verdicts = [
        judge(line, masses[line.place])
        for line in batch.sheet.lines
        if line.material.key == key and line.place in masses
    ]
    return "; ".join(
        f"weighed {plain(found.weighed_g)} g against {plain(found.line.target_g)} g"
        for found in verdicts
        if found.verdict in ("over", "under")
    )


def _number(value: Decimal | None) -> str:
    return "not known: a fact it needs is missing" if value is None else f"{value:.2f}"


def _cost(arm: Arm, prices: Mapping[str, Price]) -> str:
    if not prices:
        return f"{ABSENT} (no prices given)"
    from kit.formula.cost import cost, money  # only a comparison with prices needs it

    found = cost(arm.formula, prices)
    if len(found.unknown) <= _NAMED_UNPRICED or found.per_kg is None:
        return found.words(found.per_kg, "kg") if found.per_kg is not None else f"{ABSENT} (no line has a price)"
    return f"at least {money(found.per_kg)} {found.currency}/kg ({plural(len(found.unknown), 'line')} without a price)"
