"""The preservatives of a product and what of each is free in the water, in a table and in words."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from kit.formula.composition import show_pct
from kit.science.partition import WIDEST_USEFUL_RATIO
from kit.show import Block, Table, listing

NO_PASS = "No computed number replaces a challenge test."
LOW_RISK_ACTIVITY = Decimal("0.75")  # [iso-29621]
_WHOLE_FROM_PCT, _ONE_DECIMAL_FROM_PCT = 10, 0.1
TOO_WIDE = "range too wide to choose by"
CANNOT_KNOW = (
    "how much bilayers, micelles and the charge of the cationic hold: that is the range",
    "constants are those at zero ionic strength; the salts of a product lower an acid's pKa by about 0.1",
    "solubility, glycols that dissolve more in the water, preservative bound to gums, fragrance or the pack",
    "which organisms come, and what boosters, chelators and the pH itself add",
)


@dataclass(frozen=True)
class FreePreservative:
    """One preservative: what is un-ionised, and what is free in the water, from the least to the most.

    Numbers are arrays where the pH was one.

    Parameters
    ----------
    inci, form : str             The ingredient, and the un-ionised form it gives.
    total_pct : Decimal          In the product, as that ingredient. [% w/w]
    unionised_pct : float        Of what is dissolved in the water; None where nothing ionises. [%]
    free_low_pct : float         Free and un-ionised in the water, of the whole, at least; None where not known. [%]
    free_high_pct : float        The same, at most. [%]
    water_low_pct : float        Concentration of that form in the water, at least; None where not known. [% w/w]
    water_high_pct : float       The same, at most. [% w/w]
    too_wide : bool              Whether the range is too wide to choose by.
    rests_on : tuple of str      What its coefficients are.
    memory : tuple of str        Facts among them that are from memory.
    """

    inci: str
    form: str
    total_pct: Decimal
    unionised_pct: Any
    free_low_pct: Any
    free_high_pct: Any
    water_low_pct: Any
    water_high_pct: Any
    too_wide: Any
    rests_on: tuple[str, ...] = ()
    memory: tuple[str, ...] = ()


@dataclass(frozen=True)
class Preservation:
    """The preservatives of a composition at a pH, or at each of many, and the water activity beside them.

    Masses are in 100 g of product. It never says that a product is preserved.
    """

    ph: Any
    preservatives: tuple[FreePreservative, ...]
    water_g: float
    oil_g: float
    lipid_g: float
    water_activity: float | None
    notes: tuple[str, ...] = ()
    cannot_know: tuple[str, ...] = CANNOT_KNOW

    @property
    def memory(self) -> tuple[str, ...]:
        """Facts from memory behind it, each once."""
        return tuple(dict.fromkeys(fact for found in self.preservatives for fact in found.memory))

    def __getitem__(self, inci: str) -> FreePreservative:
        """The preservative of that INCI name."""
        return {found.inci: found for found in self.preservatives}[inci]

    def words(self) -> tuple[str, ...]:
        """A sentence for each preservative and pH, the water activity, and what no number here replaces."""
        told = [_sentence(row) for row in self._rows()]
        if self.water_activity is not None:
            told.append(
                f"Water activity {self.water_activity:.3f} (computed from the humectants, an upper estimate); "
                f"low risk begins at {LOW_RISK_ACTIVITY} and below"
            )
        return (*told, *self.notes, NO_PASS)

    def table(self) -> Table:
        """Each preservative, at each pH: total, un-ionised, free in the water from the least to the most."""
        return Table(
            (
                "pH",
                "preservative",
                "total, % w/w",
                "un-ionised, %",
                "free in the water, % of it",
                "of the water, % w/w",
                "",
            ),
            [
                (
                    f"{row.ph:.2f}",
                    row.inci,
                    show_pct(row.total_pct),
                    "does not ionise" if row.unionised is None else f"{row.unionised:.1f}",
                    _range(row.low, row.high, _short),
                    _range(row.water_low, row.water_high, _two_figures),
                    _remark(row),
                )
                for row in self._rows()
            ],
            title="Preservatives free in the water",
            note=f"Of 100 g: water {self.water_g:.1f}, oil {self.oil_g:.1f}, bilayer {self.lipid_g:.1f} g. Too wide: "
            f"the ends differ by more than {WIDEST_USEFUL_RATIO:g} times. {NO_PASS}",
            numeric=frozenset({0, 2, 3, 4, 5}),
        )

    def says(self) -> Block:
        """The table, what it rests on, and what it cannot know."""
        rests = dict.fromkeys(fact for found in self.preservatives for fact in found.rests_on)
        parts = [self.table(), listing("In words", self.words()), listing("Rests on", rests)]
        if self.memory:
            parts.append(listing("From memory, to be checked", self.memory))
        return Block((*parts, listing("Cannot know", self.cannot_know)))

    def _rows(self) -> Iterator[_Row]:
        for found in self.preservatives:
            ends = (found.free_low_pct, found.free_high_pct, found.water_low_pct, found.water_high_pct, found.too_wide)
            for index, ph in enumerate(_each(self.ph)):
                at = [_at(values, index) for values in (found.unionised_pct, *ends)]
                yield _Row(float(ph), found.inci, found.total_pct, *at, bool(found.memory))

    def _repr_html_(self) -> str:
        return self.says()._repr_html_()

    def __str__(self) -> str:
        return str(self.says())

    __repr__ = __str__


@dataclass(frozen=True, slots=True)
class _Row:
    """One preservative at one pH."""

    ph: float
    inci: str
    total_pct: Decimal
    unionised: float | None
    low: float | None
    high: float
    water_low: float | None
    water_high: float
    too_wide: bool
    memory: bool


def _remark(row: _Row) -> str:
    """What stands at the end of a row: too wide, and whether facts from memory are behind it."""
    return "; ".join([*([TOO_WIDE] if row.too_wide else []), *(["rests on memory"] if row.memory else [])])


def _sentence(row: _Row) -> str:
    ionised = "" if row.unionised is None else f"{_short(row.unionised)} % un-ionised, "
    remark = f": {_remark(row)}" if _remark(row) else ""
    free = f"{_short(row.low)} to {_short(row.high)} %" if row.low is not None else f"at most {_short(row.high)} %"
    unknown = "" if row.low is not None else ", the low end not known"
    return (
        f"{row.inci} {show_pct(row.total_pct)} % at pH {row.ph:.2f}: {ionised}{free} of it free in the water"
        f"{unknown}{remark}"
    )


def _short(pct: float) -> str:
    """A share for reading: whole from 10 %, one decimal below, one figure where that would show nothing."""
    if pct >= _WHOLE_FROM_PCT:
        return f"{pct:.0f}"
    return f"{pct:.1f}" if pct >= _ONE_DECIMAL_FROM_PCT or not pct else format(Decimal(f"{pct:.1g}"), "f")


def _range(low: float | None, high: float | None, shown: Callable[[float], str]) -> str:
    if high is None:
        return "not known"
    return f"at most {shown(high)}" if low is None else f"{shown(low)} to {shown(high)}"


def _two_figures(number: float) -> str:
    """Two significant figures, never as a power of ten: nobody at a bench reads 9e-05."""
    return format(Decimal(f"{number:.2g}"), "f")


def _each(ph) -> Iterator[float]:
    if isinstance(ph, float):
        yield ph
    else:
        yield from ph.ravel()


def _at(values, index: int):
    return values if values is None or isinstance(values, (bool, float)) else values.ravel()[index].item()
