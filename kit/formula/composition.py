"""A composition: what is in the product, in % w/w, whether meant, made or proposed.

Rules, charge, cost and statistics take a composition and never ask where it came from.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from functools import cached_property

from kit.formula.material import Material, Substance
from kit.formula.mixed_substance import mixed_substance
from kit.show import Fielded, Table
from kit.units import plain

STATES = ("meant", "made", "proposed")


@dataclass(frozen=True, slots=True, repr=False)
class Step(Fielded):
    """One step of making, planned or done.

    `temp_c` is the temperature of the phase or of the batch [degC]; `temps_c` names several phases at once, with
    "after" for the temperature of the combined batch. Unknown is None.
    """

    do: str
    phase: str = ""
    temp_c: Decimal | None = None
    temps_c: tuple[tuple[str, Decimal], ...] = ()
    rpm: Decimal | None = None
    minutes: Decimal | None = None
    text: str = ""


@dataclass(frozen=True, slots=True, repr=False)
class CompositionLine(Fielded):
    """One supply form in a composition. [% w/w]"""

    material: Material
    pct: Decimal
    phase: str = ""
    kind: str = ""


@dataclass(frozen=True, slots=True, repr=False)
class Share(Fielded):
    """One INCI part of a composition, summed over all lines that bring it. [% w/w]"""

    substance: Substance
    pct: Decimal
    brought_by: tuple[str, ...]


@dataclass(frozen=True)
class Composition:
    """What is in the product, line by line, with how it was or will be heated and mixed.

    Parameters
    ----------
    lines : tuple of CompositionLine   In order of phases.
    state : str                        "meant", "made" or "proposed".
    product : str                      Product type, such as "rinse-off hair": decides which limits hold.
    steps : tuple of Step              Planned or done.
    """

    lines: tuple[CompositionLine, ...]
    state: str = "meant"
    product: str = "rinse-off hair"
    steps: tuple[Step, ...] = ()

    @property
    def total(self) -> Decimal:
        """Sum of all lines. [% w/w]"""
        return sum((line.pct for line in self.lines), Decimal(0))

    def pct(self, key: str) -> Decimal:
        """Content of one supply form over all its lines; 0 when absent. [% w/w]"""
        return sum((line.pct for line in self.lines if line.material.key == key), Decimal(0))

    def materials(self) -> tuple[Material, ...]:
        """Each supply form once, in order."""
        return tuple({line.material.key: line.material for line in self.lines}.values())

    def shares(self) -> dict[str, Share]:
        """INCI parts with their content, largest first, carriers and waters of all supply forms included. [% w/w]

        Where lines bring one ingredient with another chain split or equivalent weight, as two lots may, its molar mass
        is the mean over moles.
        """
        return dict(self._shares)

    @cached_property
    def _shares(self) -> dict[str, Share]:
        """Worked out once: every rule of a review asks for them."""
        sums: dict[str, Share] = {}
        for line in self.lines:
            for part in line.material.parts:
                old = sums.get(part.inci, Share(part.substance, Decimal(0), ()))
                brought = (
                    old.brought_by if line.material.key in old.brought_by else (*old.brought_by, line.material.key)
                )
                more = line.pct * part.pct / 100
                substance = mixed_substance(old.substance, old.pct, part.substance, more)
                sums[part.inci] = Share(substance, old.pct + more, brought)
        return dict(sorted(sums.items(), key=lambda item: (-item[1].pct, item[0])))

    def content(self, category: str) -> Decimal:
        """Content of one category of substance, such as "fatty alcohol", all sources. [% w/w]"""
        return sum((share.pct for share in self.shares().values() if share.substance.category == category), Decimal(0))

    def table(self) -> Table:
        """Lines with phase, supply form and % w/w."""
        rows = [(line.phase, line.material.name, show_pct(line.pct)) for line in self.lines]
        return Table(
            ("phase", "material", "% w/w"),
            [*rows, ("", "total", show_pct(self.total))],
            title=f"Composition, {self.state}",
            numeric=frozenset({2}),
        )

    def inci_table(self) -> Table:
        """INCI parts with % w/w, largest first."""
        rows = [(inci, show_pct(share.pct), ", ".join(share.brought_by)) for inci, share in self.shares().items()]
        return Table(("INCI", "% w/w", "brought by"), rows, title=f"INCI parts, {self.state}", numeric=frozenset({1}))

    def _repr_html_(self) -> str:
        return self.table().html()

    def __str__(self) -> str:
        return str(self.table())

    __repr__ = __str__


def from_masses(
    masses: Iterable[tuple[CompositionLine, Fraction]],
    *,
    state: str,
    product: str,
    steps: tuple[Step, ...] = (),
    places: int = 4,
) -> Composition:
    """The composition of a weighed-out batch: each mass as % of their sum, adding up to 100 exactly.

    Shares are exact fractions rounded to `places` decimals; what rounding leaves over goes to the lines that lost
    most by it, so that the total is 100 and no line moves by more than one unit of the last decimal.

    Parameters
    ----------
    masses : iterable of (CompositionLine, Fraction)   Line (its `pct` is replaced) and mass. [g]
    """
    kept = [(line, Fraction(mass)) for line, mass in masses if mass]
    total = sum(mass for _, mass in kept)
    percents = apportion([100 * mass / total for _, mass in kept], Decimal(100), places)
    lines = tuple(
        CompositionLine(line.material, pct, line.phase, line.kind)
        for (line, _), pct in zip(kept, percents, strict=True)
    )
    return Composition(lines, state, product, steps)


def apportion(shares: list[Fraction], total: Decimal, places: int) -> list[Decimal]:
    """Round shares to `places` decimals so that they add up to `total` exactly (largest remainder).

    Examples
    --------
    >>> [str(part) for part in apportion([Fraction(100, 3)] * 3, Decimal(100), 2)]
    ['33.34', '33.33', '33.33']
    """
    unit = Fraction(1, 10**places)
    wholes = [share // unit for share in shares]
    left = int(Fraction(total) / unit - sum(wholes))
    order = sorted(range(len(shares)), key=lambda index: (wholes[index] - shares[index] / unit, index))
    for index in order[:left]:
        wholes[index] += 1
    return [Decimal(int(count)).scaleb(-places) for count in wholes]


def show_pct(pct: Decimal) -> str:
    """A percentage as the trade writes it: two decimals, three below 0.1 %; more are rounded away for reading only."""
    places = 3 if 0 < abs(pct) < Decimal("0.1") else 2
    rounded = pct.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)
    text = plain(rounded)
    return text[:-1] if places == 3 and text.endswith("0") else text


def side_by_side(columns: Mapping[str, Composition], title: str = "", note: str = "") -> Table:
    """Compositions beside one another, a line a row; a dash where a line is absent."""
    rows_of = {(line.material.key, line.phase): line for composition in columns.values() for line in composition.lines}
    keys = dict.fromkeys(key for key, _ in rows_of)
    names = {line.material.key: line.material.name for line in rows_of.values()}
    cells = [
        (
            names[key],
            *(show_pct(composition.pct(key)) if composition.pct(key) else "–" for composition in columns.values()),
        )
        for key in keys
    ]
    totals = ("total", *(show_pct(composition.total) for composition in columns.values()))
    return Table(
        ("material", *(f"{name}, % w/w" for name in columns)),
        [*cells, totals],
        title=title,
        note=note,
        numeric=frozenset(range(1, len(columns) + 1)),
    )
