"""The sections of a write-up about what is in the product: meant, made, weighed."""

from __future__ import annotations

from decimal import Decimal

from kit.bench.made import Made
from kit.formula.composition import show_pct
from kit.formula.material import Material
from kit.labbook.view import BatchView
from kit.show import Cell, Table
from kit.trials.as_made import made_of
from kit.units import plain

NOT_RECORDED = Cell("NOT RECORDED", "flag")


def batch_formula(batch: BatchView) -> Table:
    """Every line as meant and as made, with supply form, lot and grams weighed."""
    meant, (made, why_not) = batch.composition("meant"), made_of(batch)
    lots, grams = batch.lots(), _grams(batch)
    rows = []
    for line in _all_lines(batch):
        key = line.material.key
        weighed = grams.get((line.phase, key))
        rows.append(
            (
                line.phase,
                line.material.name,
                line.material.function or "–",
                show_pct(meant.pct(key)) if meant.pct(key) else "–",
                _made_pct(made, key),
                plain(weighed) if weighed is not None else _unweighed(key, batch),
                ", ".join(lots.get(key, ())) or NOT_RECORDED,
            )
        )
    total = sum(grams.values(), Decimal(0))
    rows.append(
        (
            "",
            Cell("total", "strong"),
            "",
            Cell(show_pct(meant.total), "strong"),
            Cell(show_pct(made.composition.total), "strong") if made else NOT_RECORDED,
            plain(total) if grams else NOT_RECORDED,
            "",
        )
    )
    note = (
        "Meant: the formula. Made: from the mass balance of all weighings, losses, samples and adjusters. "
        "Label, limits and cost for release rest on the meant formula."
    ) + (f"\nMade: {why_not}." if why_not else "")
    return Table(
        ("phase", "supply form", "function", "meant, % w/w", "made, % w/w", "weighed, g", "lot"),
        rows,
        title=f"{batch.name}: formula meant and made ({batch.formula.title})",
        note=note,
        numeric=frozenset({3, 4, 5}),
    )


def supply_forms(batch: BatchView) -> Table:
    """INCI parts and active content of every supply form used, with the file whose facts were used."""
    rows = [
        (
            material.name,
            "; ".join(f"{part.inci} {show_pct(part.pct)} % ({part.kind})" for part in material.parts),
            f"{show_pct(material.active_pct)} %",
            material.origin,
        )
        for material in _materials(batch)
    ]
    return Table(
        ("supply form", "INCI parts, % w/w of the form", "active", "facts from"),
        rows,
        title=f"{batch.name}: supply forms used",
        numeric=frozenset({2}),
    )


def inci_parts(batch: BatchView) -> Table:
    """INCI parts of the product, meant and made, in the order of the meant formula."""
    meant, (made, _) = batch.composition("meant").shares(), made_of(batch)
    shares = made.composition.shares() if made else {}
    rows = [
        (
            inci,
            show_pct(meant[inci].pct) if inci in meant else "–",
            show_pct(shares[inci].pct) if inci in shares else "–" if made else NOT_RECORDED,
        )
        for inci in dict.fromkeys([*meant, *shares])
    ]
    return Table(
        ("INCI", "meant, % w/w", "made, % w/w"),
        rows,
        title=f"{batch.name}: INCI parts of the product",
        numeric=frozenset({1, 2}),
        note="In the order of the meant formula. Water from every supply form counts as Aqua.",
    )


def _all_lines(batch: BatchView):
    made, _ = made_of(batch)
    seen = {}
    for line in (*batch.composition("meant").lines, *(made.composition.lines if made else ())):
        seen.setdefault((line.phase, line.material.key), line)
    return seen.values()


def _made_pct(made: Made | None, key: str) -> str | Cell:
    if made is None:
        return NOT_RECORDED
    return show_pct(made.composition.pct(key)) if made.composition.pct(key) else "–"


def _materials(batch: BatchView) -> list[Material]:
    found = {line.material.key: line.material for line in _all_lines(batch)}
    for item in batch.standing("adjust"):
        if "material_row" in item.body:
            material = Material.from_row(item.body["material_row"])
            found.setdefault(material.key, material)
    return list(found.values())


def _grams(batch: BatchView) -> dict[tuple[str, str], Decimal]:
    sums: dict[tuple[str, str], Decimal] = {}
    for item in batch.standing("weigh"):
        place = (item.body["phase"], item.body["material"])
        sums[place] = sums.get(place, Decimal(0)) + Decimal(item.body["mass_g"])
    return sums


def _unweighed(key: str, batch: BatchView):
    adjusted = any(
        item.body["material"] == key or key in _bases(item.body) for item in batch.standing("adjust", "top-up")
    )
    return "–" if adjusted else NOT_RECORDED


def _bases(body: dict) -> set[str]:
    if "material_row" not in body:
        return set()
    return {base.key for base, _ in Material.from_row(body["material_row"]).weighed_as()}
