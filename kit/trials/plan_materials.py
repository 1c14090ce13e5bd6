"""Materials for a whole plan: grams of every supply form over all its batches, and what is on the shelf."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_UP, Decimal

from kit.errors import KitError
from kit.formula.formula import Formula
from kit.show import Cell, Table, Worded
from kit.units import percent, plain, read


@dataclass(frozen=True, slots=True, repr=False)
class MaterialNeed(Worded):
    """A supply form for the whole plan.

    Parameters
    ----------
    key, name : str     Of the supply form.
    grams : Decimal     Over all batches, the loss counted, rounded up to 0.1 g. [g]
    batches : int       That hold it.
    on_hand_g : Decimal   None where nothing was told. [g]
    """

    key: str
    name: str
    grams: Decimal
    batches: int
    on_hand_g: Decimal | None = None

    @property
    def words(self) -> str:
        """How much of what, over how many batches."""
        short = f", {plain(self.short_g)} g short" if self.short_g else ""
        return f"{self.name}: {plain(self.grams)} g for {self.batches} batch{'' if self.batches == 1 else 'es'}{short}"

    @property
    def short_g(self) -> Decimal | None:
        """What is missing; 0 where there is enough, None where nothing was told. [g]"""
        return None if self.on_hand_g is None else max(self.grams - self.on_hand_g, Decimal(0))


def read_stock(stock: Mapping[str, str] | Iterable[str] | None, formula: Formula) -> dict[str, Decimal]:
    """What is on hand, by material key. [g]

    Parameters
    ----------
    stock : mapping or sequence   Material to mass, "1.2 kg"; or "cetearyl-alcohol: 1.2 kg" each.
    formula : Formula             Names are looked up in it and its library.

    Raises
    ------
    KitError   `plan.stock`, and those of the units and materials.
    """
    if not stock:
        return {}
    typed = [stock] if isinstance(stock, str) else stock
    pairs = list(typed.items()) if isinstance(typed, Mapping) else [str(text).rpartition(":")[::2] for text in typed]
    if any(not name for name, _ in pairs):
        raise KitError(
            "a stock has no material before its mass",
            where="stock of the plan",
            allowed='"cetearyl-alcohol: 1.2 kg"',
            mend="write it so",
            code="plan.stock",
        )
    found = {formula.find(name.strip(), where="stock").key: read(mass, "g", where="stock") for name, mass in pairs}
    negative = [key for key, mass in found.items() if mass < 0]
    if negative:
        raise KitError(
            f"less than nothing of {negative[0]}",
            where="stock of the plan",
            allowed="0 g or more",
            mend="correct it",
            code="plan.stock",
        )
    return found


def read_loss(text: str) -> Decimal:
    """A loss allowance, "5 %": more is taken from the shelf than goes into the batches. [%]

    Parameters
    ----------
    text : str   As typed; none where empty.

    Raises
    ------
    KitError   `plan.loss`.
    """
    loss = percent(text, where="loss of the plan") if text else Decimal(0)
    if not 0 <= loss < 100:
        raise KitError(
            f"a loss of {plain(loss)} %",
            where="loss of the plan",
            allowed="0 to below 100 %",
            mend="correct it",
            code="plan.loss",
        )
    return loss


def material_needs(
    batches: Iterable[tuple[Formula, Decimal]], loss_pct: Decimal, on_hand: Mapping[str, Decimal]
) -> tuple[MaterialNeed, ...]:
    """The sum of batch x % / 100 / (1 - loss) over all batches, largest first.

    Parameters
    ----------
    batches : iterable     Each a formula and the mass made of it. [g]
    loss_pct : Decimal     Allowance for what stays on spoons and boats. [%]
    on_hand : mapping      Material key to mass. [g]
    """
    grams: dict[str, Decimal] = {}
    counts: dict[str, int] = {}
    names: dict[str, str] = {}
    for formula, batch_g in batches:
        composition = formula.composition()
        for material in composition.materials():
            pct = composition.pct(material.key)
            if pct:
                grams[material.key] = grams.get(material.key, Decimal(0)) + batch_g * pct / 100
                counts[material.key] = counts.get(material.key, 0) + 1
                names[material.key] = material.name
    needs = [
        MaterialNeed(key, names[key], (mass / (1 - loss_pct / 100)).quantize(Decimal("0.1"), ROUND_UP), counts[key],
                     on_hand.get(key))
        for key, mass in grams.items()
    ]  # fmt: skip
    return tuple(sorted(needs, key=lambda need: (-need.grams, need.key)))


def materials_table(needs: Iterable[MaterialNeed], loss_pct: Decimal) -> Table:
    """What to have on the shelf before the plan begins."""
    listed = tuple(needs)
    told = any(need.on_hand_g is not None for need in listed)
    rows = [
        (need.name, plain(need.grams), str(need.batches), *((_on_hand(need), _enough(need)) if told else ()))
        for need in listed
    ]
    heads = ("material", "needed, g", "batches", *(("on hand, g", "enough?") if told else ()))
    loss = f"{plain(loss_pct)} % allowed for loss" if loss_pct else "no loss allowed for"
    missing = "" if told else " What is on hand was not told: give stock to have it held against this."
    one_lot = " Take each material from one lot for the whole plan; a new lot begins a new block."
    return Table(
        heads,
        rows,
        title="Materials for the whole plan",
        note=f"Adjusters are not counted; {loss}.{missing}{one_lot}",
        numeric=frozenset({1, 2, 3} if told else {1, 2}),
    )


def _on_hand(need: MaterialNeed) -> str:
    return "not told" if need.on_hand_g is None else plain(need.on_hand_g)


def _enough(need: MaterialNeed) -> Cell:
    if need.short_g is None:
        return Cell("not told", "quiet")
    return Cell(f"SHORT: by {plain(need.short_g)} g", "fail") if need.short_g else Cell("yes")
