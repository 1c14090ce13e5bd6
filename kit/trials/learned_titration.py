"""A titration of a sample: how much of a stock solution went in, and the pH after each addition."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from kit.errors import KitError
from kit.formula.composition import Composition, CompositionLine, from_masses
from kit.formula.formula import Formula
from kit.formula.library import load_library
from kit.formula.material import Material
from kit.show import Fielded
from kit.units import number, plain, read

_PH = (Decimal(0), Decimal(14))


@dataclass(frozen=True, slots=True)
class TitrationPoint:
    """What has gone into the sample so far, in all [g], and the pH then."""

    dose_g: Decimal
    ph: Decimal


@dataclass(frozen=True, repr=False)
class Titration(Fielded):
    """A sample titrated with a stock solution; see `titration` for how to type one.

    Parameters
    ----------
    composition : Composition            Of the sample, before anything is added.
    stock : Material                     What is added.
    sample_g : Decimal                   Mass of the sample. [g]
    points : tuple of TitrationPoint     In order of dose.
    name : str                           Of the batch or the base: readings are told by it.
    age_h : Decimal, None                Age of the batch when it was titrated; None: all its acid free. [h]
    temp_c : Decimal                     Temperature of the sample. [degC]
    """

    composition: Composition
    stock: Material
    sample_g: Decimal
    points: tuple[TitrationPoint, ...]
    name: str = ""
    age_h: Decimal | None = None
    temp_c: Decimal = Decimal(25)

    def composition_at(self, point: TitrationPoint) -> Composition:
        """What the sample is made of once the dose of a point is in. [% w/w]"""
        whole = Fraction(self.composition.total)
        masses = [(line, Fraction(line.pct) / whole * Fraction(self.sample_g)) for line in self.composition.lines]
        poured = CompositionLine(self.stock, Decimal(0), "", "adjust")
        return from_masses([*masses, (poured, Fraction(point.dose_g))], state="made", product=self.composition.product)

    def words(self, point: TitrationPoint) -> str:
        """Which addition it was: "0.10 g Citric Acid (10 % in water) on 20 g"."""
        return f"titration, {plain(point.dose_g)} g {self.stock.name} on {plain(self.sample_g)} g"


def titration(
    of: Formula | Composition,
    stock: str | Material,
    points: Mapping[str, object] | Iterable[tuple[str, object]],
    *,
    sample: str = "20 g",
    age: str = "",
    temp: str = "25 degC",
    name: str = "",
) -> Titration:
    """A titration as it was written down.

    Parameters
    ----------
    of : Formula or Composition   What was titrated: a formula as meant, or a batch's composition as made.
    stock : str or Material       The stock solution: "citric acid 10 %".
    points : mapping or pairs     Dose in all so far to pH: {"0 g": 5.62, "0.10 g": 5.31, "0.20 g": 4.98}.
    sample : str                  Mass of the sample.
    age : str                     Age of the batch, "24 h"; empty: an old base, all its acid free.
    temp : str                    Temperature of the sample.
    name : str                    Name of the batch, "CHA-04/1"; the formula's title when omitted.

    Returns
    -------
    Titration   To be learned from with `learn_ph(..., titrations=[...])`.

    Raises
    ------
    KitError        `titration.points`, `titration.sample`.
    MaterialError   `material.unknown` for the stock solution.
    UnitError       A mass without its unit.
    """
    formula = of if isinstance(of, Formula) else None
    sample_g = read(sample, "g", where="titration(), sample")
    if sample_g <= 0:
        raise _refused(f"the sample has a mass of {plain(sample_g)} g", "a mass above zero", "sample")
    return Titration(
        composition=of if formula is None else formula.composition(),
        stock=stock if isinstance(stock, Material) else _found(stock, formula),
        sample_g=sample_g,
        points=_points(points),
        name=name or (formula.title if formula is not None else "titrated sample"),
        age_h=read(age, "h", where="titration(), age") if age else None,
        temp_c=read(temp, "degC", where="titration(), temp"),
    )


def _found(stock: str, formula: Formula | None) -> Material:
    if formula is not None and formula.library is not None:
        return formula.find(stock, where="titration(), stock")
    return load_library().find(stock, where="titration(), stock")


def _points(points: Mapping[str, object] | Iterable[tuple[str, object]]) -> tuple[TitrationPoint, ...]:
    pairs = points.items() if isinstance(points, Mapping) else points
    typed = tuple(
        TitrationPoint(read(dose, "g", where="titration(), dose"), number(ph, where=f"titration(), pH after {dose}"))
        for dose, ph in pairs
    )
    if not typed:
        raise _refused("no pH was given", '{"0 g": 5.62, "0.10 g": 5.31}', "points")
    for point in typed:
        if not _PH[0] <= point.ph <= _PH[1]:
            raise _refused(f"a pH of {plain(point.ph)} after {plain(point.dose_g)} g", "pH 0 to 14", "points")
    doses = [point.dose_g for point in typed]
    if doses[0] < 0 or any(after <= before for before, after in pairwise(doses)):
        raise _refused(
            f"the doses {', '.join(plain(dose) for dose in doses)} g do not rise",
            "what has gone in so far in all, from 0 g upwards",
            "points",
        )
    return typed


def _refused(what: str, allowed: str, part: str) -> KitError:
    return KitError(
        what, where="titration()", allowed=allowed, mend="type it as it was written down", code=f"titration.{part}"
    )
