"""Balances: the smallest weight each can weigh to a wanted accuracy, and the tolerance of a line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.bench.exact import rounded_to
from kit.errors import BatchError
from kit.show import Worded
from kit.units import number, plain, read

# Half a division, rounded twice (zero and load), is the least scatter a reading can have: 0.41 d. USP <41>, 1 Aug 2019.
_SHARE_OF_DIVISION = Decimal("0.41")
_EXPANSION = 2  # twice the standard deviation, USP <41>
USUAL_PCT = Decimal("1")  # common practice, no source
STRICT_PCT = Decimal("0.5")  # preservatives and pH adjusters; common practice, no source
_STRICT_CATEGORIES = ("preservative", "acid", "base")
_LEAST_WEIGHINGS = 10  # USP <41>


@dataclass(frozen=True, slots=True, repr=False)
class Balance(Worded):
    """A balance: its name, its division and, where measured, its repeatability (one standard deviation). [g]"""

    name: str
    division_g: Decimal
    repeatability_g: Decimal | None = None

    @property
    def scatter_g(self) -> Decimal:
        """Standard deviation of one weighing: the measured one, at least 0.41 of the division. [g]"""
        return max(self.repeatability_g or Decimal(0), _SHARE_OF_DIVISION * self.division_g)

    @property
    def error_g(self) -> Decimal:
        """What one weighing can be off by: twice the scatter. [g]"""
        return _EXPANSION * self.scatter_g

    @property
    def step_g(self) -> Decimal:
        """The smallest difference it can tell: its error, or a step of its display where that is more. [g]"""
        return max(self.error_g, self.division_g)

    def smallest_g(self, relative_pct: Decimal = USUAL_PCT) -> Decimal:
        """The smallest net weight it weighs to `relative_pct` percent. [g]"""
        return 100 * self.error_g / relative_pct

    def rounded(self, mass_g: Decimal) -> Decimal:
        """A mass rounded to what the balance can show. [g]"""
        return rounded_to(mass_g, self.division_g)

    def row(self) -> dict[str, str]:
        """The balance as a row of text."""
        known = {} if self.repeatability_g is None else {"repeatability_g": plain(self.repeatability_g)}
        return {"name": self.name, "division_g": plain(self.division_g), **known}

    @classmethod
    def from_row(cls, row: dict[str, str]) -> Balance:
        """The balance that `row()` wrote."""
        known = Decimal(row["repeatability_g"]) if "repeatability_g" in row else None
        return cls(row["name"], Decimal(row["division_g"]), known)

    def __str__(self) -> str:
        return f"{self.name} ({plain(self.division_g)} g)" if self.name else f"{plain(self.division_g)} g"


def read_balances(given: object) -> tuple[Balance, ...]:
    """The balances of a bench, finest last.

    Parameters
    ----------
    given : str or sequence   Each a division "0.01 g", a `Balance`, or a tuple (name, division[, repeatability]).

    Raises
    ------
    BatchError   `weighing.balance` for a row that is none of these, a division of zero or less, or no balance at all.
    UnitError    For a mass that cannot be read.
    """
    rows = [given] if isinstance(given, (str, Balance)) else list(given)
    if not rows:
        raise _bad_balance("no balance was given")
    return tuple(sorted((_balance(row) for row in rows), key=lambda balance: -balance.scatter_g))


def _balance(row: object) -> Balance:
    if isinstance(row, Balance):
        return row
    parts = ("", row) if isinstance(row, str) else tuple(row) if isinstance(row, Sequence) else ()
    if len(parts) not in (2, 3):
        raise _bad_balance(f"{row!r} does not describe a balance")
    name = str(parts[0])
    masses = [read(mass, "g", where=f"balances=, {name or 'division'}") for mass in parts[1:] if mass is not None]
    if not masses or any(mass <= 0 for mass in masses):
        raise _bad_balance(f"{row!r} has a division or a repeatability that is not above zero")
    return Balance(name, *masses)


def _bad_balance(what: str) -> BatchError:
    return BatchError(
        what,
        where="balances=",
        allowed='"0.01 g", or a name with it: ("BAL-1", "0.01 g"), or with its repeatability: '
        '("BAL-1", "0.01 g", "0.005 g")',
        mend="write it in one of these ways",
        code="weighing.balance",
    )


def smallest_weight_g(
    division_g: Decimal, repeatability_g: Decimal | None = None, relative_pct: Decimal = USUAL_PCT
) -> Decimal:
    """The smallest net weight that can be weighed to a wanted accuracy. [g]

    Parameters
    ----------
    division_g : Decimal        Division of the balance. [g]
    repeatability_g : Decimal   Standard deviation of at least ten weighings; 0.41 of the division where that is more or
                                nothing was measured. [g]
    relative_pct : Decimal      Wanted accuracy, two standard deviations. [%]

    Notes
    -----
    2 s / r; with r = 0.10 % it is the minimum weight of USP <41>, 2000 s.

    Examples
    --------
    >>> str(smallest_weight_g(Decimal("0.01")).normalize())
    '0.82'
    """
    return Balance("", division_g, repeatability_g).smallest_g(relative_pct)


def repeatability_g(readings_g: Iterable[object]) -> Decimal:
    """Repeatability of a balance from repeated weighings of one weight: their sample standard deviation. [g]

    Raises
    ------
    BatchError   `weighing.too_few` for fewer than ten weighings (USP <41>).
    """
    readings = [number(reading, where="repeatability_g()") for reading in readings_g]
    if len(readings) < _LEAST_WEIGHINGS:
        raise BatchError(
            f"{len(readings)} weighings do not give a repeatability",
            where="repeatability_g()",
            allowed="at least ten weighings of one weight (USP <41>)",
            mend="weigh it more often",
            code="weighing.too_few",
        )
    mean = sum(readings, Decimal(0)) / len(readings)
    return (sum(((reading - mean) ** 2 for reading in readings), Decimal(0)) / (len(readings) - 1)).sqrt()


def wanted_pct(material) -> Decimal:
    """Accuracy a line is held to: 0.5 % for preservatives and pH adjusters, else 1 %. [%]"""
    strict = any(part.role == "active" and part.substance.category in _STRICT_CATEGORIES for part in material.parts)
    return STRICT_PCT if strict else USUAL_PCT


def tolerance_g(
    target_g: Decimal, division_g: Decimal, repeatability_g: Decimal | None = None, relative_pct: Decimal = USUAL_PCT
) -> Decimal | None:
    """How far a weighing may lie from its target, or None where the balance cannot weigh it to 1 %. [g]

    `relative_pct` of the target, or the smallest difference the balance can tell where that is more.
    """
    return line_tolerance_g(target_g, Balance("", division_g, repeatability_g), relative_pct)


def line_tolerance_g(target_g: Decimal, balance: Balance, relative_pct: Decimal) -> Decimal | None:
    """The same for a `Balance`. [g]"""
    if target_g < balance.smallest_g(USUAL_PCT):
        return None
    return max(relative_pct * target_g / 100, balance.step_g)


def choose_balance(target_g: Decimal, balances: Sequence[Balance], relative_pct: Decimal) -> Balance:
    """The coarsest balance that still weighs the target to `relative_pct`; the finest there is where none does."""
    fitting = [balance for balance in balances if balance.smallest_g(relative_pct) <= target_g]
    return fitting[0] if fitting else balances[-1]
