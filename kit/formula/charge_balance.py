"""The charge of a product at a pH, line by line, and how it is read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from kit.formula.composition import show_pct
from kit.show import Block, Fielded, Table
from kit.units import plain

STRENGTHS = ("quaternary", "amine", "hard anion", "soft anion")

_BIND_LOOSELY = (
    "Small counter-ions stand apart: they bind loosely, cost some preservative, and thin the gel. They are not in the "
    "balance."
)
_LEFT_OUT = (
    "The halide or methosulfate of a quaternary is left out: it answers the quaternary's own charge. Sodium and "
    "potassium of salts are left out too."
)


class Span(NamedTuple):
    """A number that is known as a range: low to high, the same where it is known as one. [unit of its owner]"""

    low: Decimal
    high: Decimal

    def words(self, places: int = 2) -> str:
        """ "4.95", "-0.51 to -0.30"; a number that rounds to nothing says so."""
        low, high = f"{self.low:.{places}f}", f"{self.high:.{places}f}"
        if low == high:
            return _small(self.high, places) if self.high and not float(high) else high
        return f"{low} to {high}"


@dataclass(frozen=True, slots=True, repr=False)
class ChargeLine(Fielded):
    """One INCI part whose large ion carries a charge.

    Parameters
    ----------
    inci : str          INCI name.
    pct : Decimal       Content. [% w/w]
    strength : str      One of `STRENGTHS`.
    charged : Span      Share of its groups that carry their charge at the pH. [-]
    meq : Span          Signed: a cation is positive; None while its charge is not known. [meq/100 g]
    remark : str        What was taken for granted, empty when nothing was.
    """

    inci: str
    pct: Decimal
    strength: str
    charged: Span
    meq: Span | None
    remark: str = ""


@dataclass(frozen=True, slots=True, repr=False)
class CounterIon(Fielded):
    """One small ion that binds loosely.

    Parameters
    ----------
    inci : str          INCI name of what brings it.
    pct : Decimal       Content. [% w/w]
    charge : Decimal    Mean charge of one molecule at the pH; None when no pKa is known. [elementary charges]
    meq : Decimal       Signed; None while a fact is not known. [meq/100 g]
    remark : str        What its constants are, empty when nothing is to be said.
    """

    inci: str
    pct: Decimal
    charge: Decimal | None
    meq: Decimal | None
    remark: str = ""


@dataclass(frozen=True)
class ChargeBalance:
    """Charge of the large ions of a composition at a pH, signed, with the small counter-ions beside it.

    Parameters
    ----------
    title : str               What it is the charge of.
    ph : Decimal              The pH it holds at. [-]
    lines : ChargeLine        Surfactants and polymers, cations first, the largest charge first.
    counter_ions : CounterIon Small ions, which are not in the sums.
    remarks : tuple of str    What else was left out or taken for granted.
    """

    title: str
    ph: Decimal
    lines: tuple[ChargeLine, ...]
    counter_ions: tuple[CounterIon, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def unknown(self) -> tuple[str, ...]:
        """Large ions whose charge is not known: with any, every sum lacks them."""
        return tuple(line.inci for line in self.lines if line.meq is None)

    @property
    def cation(self) -> Span:
        """Sum of the large cations, zero or positive. [meq/100 g]"""
        return _sum(line.meq for line in self.lines if line.meq is not None and line.meq.high > 0)

    @property
    def anion(self) -> Span:
        """Sum of the large anions, zero or negative; low is the larger charge. [meq/100 g]"""
        return _sum(line.meq for line in self.lines if line.meq is not None and line.meq.low < 0)

    @property
    def net(self) -> Span:
        """Cation and anion together, signed. [meq/100 g]"""
        return _sum((self.cation, self.anion))

    @property
    def ratio(self) -> Span | None:
        """Anion to cation, without sign; None without a cation. [eq/eq]"""
        cation, anion = self.cation, self.anion
        if not cation.low:
            return None
        return Span(-anion.high / cation.high, -anion.low / cation.low)

    def of_strength(self, strength: str) -> Span:
        """Sum of the large ions of one class, signed. [meq/100 g]

        Parameters
        ----------
        strength : str   One of `STRENGTHS`.

        Raises
        ------
        ValueError   Another class.
        """
        if strength not in STRENGTHS:
            raise ValueError(f"strength {strength!r} is none of {', '.join(STRENGTHS)}")
        return _sum(line.meq for line in self.lines if line.meq is not None and line.strength == strength)

    def words(self) -> tuple[str, ...]:
        """The balance in sentences, what it rests on and what it leaves out included."""
        return tuple(
            [
                f"At pH {plain(self.ph)}: cation {self.cation.words()}, anion {self.anion.words()}, "
                f"net {self.net.words()} meq/100 g{self._ratio_words()}.",
                *([f"Not known, and missing in the sums: {', '.join(self.unknown)}."] if self.unknown else []),
                *(f"{line.inci}: {line.remark}." for line in self.lines if line.remark),
                *([_LEFT_OUT] if any(line.strength == "quaternary" for line in self.lines) else []),
                *self.remarks,
            ]
        )

    def table(self) -> Table:
        """Large ions line by line, then the sums."""
        rows = [
            (line.inci, show_pct(line.pct), line.strength, _percent(line.charged), _meq(line.meq))
            for line in self.lines
        ]
        kinds = [kind for kind in STRENGTHS if any(line.strength == kind for line in self.lines)]
        if len(kinds) > 1:
            rows += [(f"all of class {kind}", "", kind, "", self.of_strength(kind).words()) for kind in kinds]
        rows += [("cation", "", "", "", self.cation.words()), ("anion", "", "", "", self.anion.words())]
        rows.append(("net", "", "", "", self.net.words()))
        rows.append(("anion : cation, eq/eq", "", "", "", self.ratio.words(3) if self.ratio is not None else "–"))
        return Table(
            ("large ion", "% w/w", "class", "charged, %", "meq/100 g"),
            rows,
            title=f"Charge of {self.title} at pH {plain(self.ph)}",
            note="\n".join(self.words()),
            numeric=frozenset({1, 3, 4}),
        )

    def counter_table(self) -> Table:
        """Small counter-ions, with their mean charge at the pH."""
        rows = [
            (ion.inci, show_pct(ion.pct), _or_unknown(ion.charge), _or_unknown(ion.meq)) for ion in self.counter_ions
        ]
        remarks = [f"{ion.inci}: {ion.remark}." for ion in self.counter_ions if ion.remark]
        return Table(
            ("counter-ion of", "% w/w", "mean charge", "meq/100 g"),
            rows,
            title=f"Small counter-ions of {self.title} at pH {plain(self.ph)}",
            note="\n".join([_BIND_LOOSELY, *remarks]),
            numeric=frozenset({1, 2, 3}),
        )

    def _ratio_words(self) -> str:
        return f"; anion : cation {self.ratio.words(3)}" if self.ratio is not None else "; no cation"

    def _tables(self) -> tuple[Table, ...]:
        return (self.table(), self.counter_table()) if self.counter_ions else (self.table(),)

    def _repr_html_(self) -> str:
        return Block(self._tables())._repr_html_()

    def __str__(self) -> str:
        return "\n\n".join(str(table) for table in self._tables())

    __repr__ = __str__


def _sum(spans: Iterable[Span]) -> Span:
    listed = tuple(spans)
    return Span(sum((span.low for span in listed), Decimal(0)), sum((span.high for span in listed), Decimal(0)))


def _small(value: Decimal, places: int) -> str:
    """A number that would read as zero."""
    least = Decimal(1).scaleb(-places)
    return f"> -{least}" if value < 0 else f"< {least}"


def _percent(charged: Span) -> str:
    return Span(100 * charged.low, 100 * charged.high).words(1)


def _meq(span: Span | None) -> str:
    return "not known" if span is None else span.words()


def _or_unknown(value: Decimal | None) -> str:
    return "not known" if value is None else Span(value, value).words()
