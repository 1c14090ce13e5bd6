"""What a formula costs: per kilogram, per batch, per pack. An unknown price stays unknown and is never zero."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from kit.errors import FormulaError, UnitError
from kit.formula.composition import Composition, show_pct
from kit.formula.material import Material
from kit.formula.model import FormulaModel
from kit.formula.prices import Price
from kit.show import Fielded, Table
from kit.units import percent, plain, read, split


@dataclass(frozen=True, slots=True, repr=False)
class CostLine(Fielded):
    """One supply form: its share of the product and what it adds to a kilogram; None while its price is unknown.

    `prices` are those it rests on: its own, or for a lab-made stock solution those of what it is mixed from.
    """

    material: Material
    pct: Decimal
    per_kg: Decimal | None
    prices: tuple[Price, ...] = ()


@dataclass(frozen=True)
class Cost:
    """The cost of a composition.

    Parameters
    ----------
    title : str              What it is the cost of.
    lines : CostLine         Dearest first, those without a price last.
    currency : str           The one currency of all prices; empty while none is known.
    loss_pct : Decimal       What is lost between weighing and filling. [%]
    batch_kg : Decimal       Mass weighed for a batch, when one was given. [kg]
    pack_kg : Decimal        Fill of one pack, when one was given. [kg]
    per_pack : dict          What is added to each pack: bottle, label. [currency]
    per_batch : dict         What is added to each batch: labour. [currency]
    """

    title: str
    lines: tuple[CostLine, ...]
    currency: str
    loss_pct: Decimal = Decimal(0)
    batch_kg: Decimal | None = None
    pack_kg: Decimal | None = None
    per_pack: Mapping[str, Decimal] | None = None
    per_batch: Mapping[str, Decimal] | None = None

    @property
    def unknown(self) -> tuple[str, ...]:
        """Keys of the supply forms without a price: with any, every total is a lower limit."""
        return tuple(line.material.key for line in self.lines if line.per_kg is None)

    @property
    def is_known(self) -> bool:
        """Whether every line has a price."""
        return not self.unknown

    @property
    def materials_per_kg(self) -> Decimal | None:
        """Materials for a kilogram weighed; None while no price is known. [currency/kg]"""
        known = [line.per_kg for line in self.lines if line.per_kg is not None]
        return sum(known, Decimal(0)) if known else None

    @property
    def per_kg(self) -> Decimal | None:
        """Materials and the batch's extras for a kilogram that can be filled, loss counted. [currency/kg]"""
        if self.materials_per_kg is None:
            return None
        extra = sum((self.per_batch or {}).values(), Decimal(0)) / self.batch_kg if self.batch_kg else Decimal(0)
        return (self.materials_per_kg + extra) / (1 - self.loss_pct / 100)

    @property
    def batch(self) -> Decimal | None:
        """Materials and extras of one batch; None without a batch size or without any price. [currency]"""
        if self.batch_kg is None or self.materials_per_kg is None:
            return None
        return self.materials_per_kg * self.batch_kg + sum((self.per_batch or {}).values(), Decimal(0))

    @property
    def pack(self) -> Decimal | None:
        """One filled pack with its extras; None without a fill or without any price. [currency]"""
        if self.pack_kg is None or self.per_kg is None:
            return None
        return self.per_kg * self.pack_kg + sum((self.per_pack or {}).values(), Decimal(0))

    @property
    def oldest(self) -> Price | None:
        """The oldest price it rests on."""
        return min((price for line in self.lines for price in line.prices), key=lambda price: price.date, default=None)

    def top(self, count: int = 5) -> tuple[tuple[CostLine, Decimal], ...]:
        """The dearest lines with their share of the known materials. [%]"""
        total = self.materials_per_kg
        known = [line for line in self.lines if line.per_kg is not None][:count]
        return tuple((line, 100 * line.per_kg / total if total else Decimal(0)) for line in known)

    def words(self, amount: Decimal | None, per: str) -> str:
        """ "3.42 EUR/kg", "at least 3.42 EUR/kg (2 lines without a price: ...)" or "not known"."""
        count = f"{len(self.unknown)} line{'s' if len(self.unknown) > 1 else ''} without a price"
        if amount is None:
            return f"not known ({count}: {', '.join(self.unknown)})"
        text = f"{money(amount)} {self.currency}/{per}"
        return text if self.is_known else f"at least {text} ({count}: {', '.join(self.unknown)})"

    def table(self, top: int = 5) -> Table:
        """The dearest lines, the rest as one, and the totals."""
        shown = self.top(top)
        rows: list[tuple] = [
            (line.material.name, show_pct(line.pct), money(line.per_kg), f"{share:.1f}", _price_words(line))
            for line, share in shown
        ]
        rest = [line for line in self.lines if line.per_kg is not None][len(shown) :]
        if rest:
            amount = sum((line.per_kg for line in rest), Decimal(0))
            share = 100 * amount / self.materials_per_kg if self.materials_per_kg else Decimal(0)
            pct = show_pct(sum((line.pct for line in rest), Decimal(0)))
            rows.append((f"{len(rest)} more", pct, money(amount), f"{share:.1f}", ""))
        rows += [
            (line.material.name, show_pct(line.pct), "not known", "", "no price")
            for line in self.lines
            if line.per_kg is None
        ]
        share = "share of the priced, %" if self.unknown else "share, %"
        head = ("material", "% w/w", f"{self.currency or 'cost'} in 1 kg", share, "price")
        return Table(head, rows, title=f"Cost of {self.title}", note=self.note(), numeric=frozenset({1, 2, 3}))

    def note(self) -> str:
        """The totals, what they count, and how old the oldest price is."""
        lost = f", {plain(self.loss_pct)} % lost" if self.loss_pct else ""
        lines = [f"Per kg{lost}: {self.words(self.per_kg, 'kg')}."]
        if self.batch_kg is not None:
            lines.append(f"Batch of {plain(self.batch_kg)} kg: {self.words(self.batch, 'batch')}.")
        if self.pack_kg is not None:
            extras = f" with {', '.join(self.per_pack)}" if self.per_pack else ""
            lines.append(
                f"Pack of {plain((self.pack_kg * 1000).normalize())} g{extras}: {self.words(self.pack, 'pack')}."
            )
        if self.oldest is not None:
            lines.append(f"Oldest price: {self.oldest.material}, {self.oldest.words()}.")
        return " ".join(lines)

    def _repr_html_(self) -> str:
        return self.table().html()

    def __str__(self) -> str:
        return str(self.table())

    __repr__ = __str__


def cost(
    what: FormulaModel | Composition,
    prices: Mapping[str, Price],
    *,
    loss: str = "",
    batch: str = "",
    fill: str = "",
    density: str = "",
    per_pack: Mapping[str, str] | None = None,
    per_batch: Mapping[str, str] | None = None,
) -> Cost:
    """What a formula or a composition costs: the sum of % x price / 100 over the supply forms as weighed.

    Parameters
    ----------
    what : Formula or Composition   The meant formula for release; any composition for a look beside it.
    prices : dict                   Material key to `Price`, usually `library.prices`.
    loss : str                      Lost between weighing and filling, "4 %".
    batch : str                     Mass weighed, "5 kg".
    fill : str                      Fill of a pack, "200 g", or "250 mL" with `density`.
    density : str                   Of the product, "0.98 g/mL".
    per_pack, per_batch : dict      Extras with currency: {"bottle": "0.32 EUR"}, {"labour": "40 EUR"}.

    Raises
    ------
    FormulaError   `cost.currency` for more than one currency, `cost.density` for a fill by volume without a density,
                   `cost.value` for a loss of 100 % or more, or extras for a batch of unknown size.
    UnitError      For a quantity that cannot be read.
    """
    composition = what.composition() if isinstance(what, FormulaModel) else what
    title = what.title if isinstance(what, FormulaModel) else f"the composition as {what.state}"
    lines = _cost_lines(composition, prices)
    extras = {**{name: split(text, where=name) for name, text in (per_pack or {}).items()}}
    batch_extras = {name: split(text, where=name) for name, text in (per_batch or {}).items()}
    if batch_extras and not batch:
        raise _error("extras of a batch need its size", title, 'batch="5 kg"', "give the batch", "cost.value")
    lost = percent(loss, where="loss") if loss else Decimal(0)
    if not 0 <= lost < 100:
        raise _error(f"the loss is {plain(lost)} %", title, "0 to below 100 %", "correct it", "cost.value")
    return Cost(
        title,
        lines,
        _one_currency(lines, {**extras, **batch_extras}, title),
        loss_pct=lost,
        batch_kg=read(batch, "kg", where="batch") if batch else None,
        pack_kg=_fill_kg(fill, density, title) if fill else None,
        per_pack={name: amount for name, (amount, _) in extras.items()},
        per_batch={name: amount for name, (amount, _) in batch_extras.items()},
    )


def money(amount: Decimal) -> str:
    """An amount to read: two decimals, four below 0.1; the exact one stays in the number."""
    return plain(
        amount.quantize(Decimal("0.01") if abs(amount) >= Decimal("0.1") else Decimal("0.0001"), ROUND_HALF_UP)
    )


def _cost_lines(composition: Composition, prices: Mapping[str, Price]) -> tuple[CostLine, ...]:
    lines = []
    for material in composition.materials():
        pct = composition.pct(material.key)
        if pct:
            parts = _priced(material, prices)
            known = None if parts is None else sum((share * price.per_kg for share, price in parts), Decimal(0)) / 100
            amount = None if known is None else pct * known / 100
            lines.append(CostLine(material, pct, amount, tuple(price for _, price in parts or ())))
    return tuple(sorted(lines, key=lambda line: (line.per_kg is None, -(line.per_kg or 0), line.material.key)))


def _priced(material: Material, prices: Mapping[str, Price]) -> list[tuple[Decimal, Price]] | None:
    """What a kilogram rests on, % and price; a stock solution without a price of its own is what it is mixed from."""
    if material.key in prices:
        return [(Decimal(100), prices[material.key])]
    bases = material.weighed_as()
    if any(base.key not in prices for base, _ in bases):
        return None
    return [(share, prices[base.key]) for base, share in bases]


def _one_currency(lines: tuple[CostLine, ...], extras: Mapping[str, tuple[Decimal, str]], title: str) -> str:
    found: dict[str, list[str]] = {}
    for line in lines:
        for price in line.prices:
            found.setdefault(price.currency, []).append(price.material)
    for name, (amount, currency) in extras.items():
        if not currency:
            raise UnitError(
                f"{name}: {amount} has no currency", mend='write for example "0.32 EUR"', code="units.missing"
            )
        found.setdefault(currency, []).append(name)
    if len(found) > 1:
        words = "; ".join(f"{currency}: {', '.join(dict.fromkeys(names))}" for currency, names in sorted(found.items()))
        mend = "convert the prices in your materials file to one currency, and write the rate and its day in their note"
        raise _error(f"the prices are in {len(found)} currencies", title, words, mend, "cost.currency")
    return next(iter(found), "")


def _fill_kg(fill: str, density: str, title: str) -> Decimal:
    try:
        return read(fill, "g", where="fill") / 1000
    except UnitError as problem:
        if problem.code != "units.wrong_kind":
            raise
    volume = read(fill, "mL", where="fill")
    if not density:
        mend = "measure the density of a deaired sample and pass it, or give the fill in grams"
        raise _error(f"a fill of {fill} needs the density", title, 'density="0.98 g/mL"', mend, "cost.density")
    return volume * read(density, "g/mL", where="density") / 1000


def _price_words(line: CostLine) -> str:
    return "; ".join(dict.fromkeys(price.words() for price in line.prices))


def _error(what: str, where: str, allowed: str, mend: str, code: str) -> FormulaError:
    return FormulaError(what, where=where, allowed=allowed, mend=mend, code=code)
