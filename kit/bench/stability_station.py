"""Stations of a stability protocol: times in storage, typed as they are spoken of, with how far a pull may be off."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from kit.errors import KitError
from kit.show import Worded
from kit.units import number, plain, read

HOURS_PER_MONTH = Decimal("730.5")  # a twelfth of 365.25 d
HOURS_PER_WEEK = Decimal(168)

_LONG = re.compile(r"^\s*(\d+(?:[.,]\d+)?)\s*(w|wk|wks|weeks?|mo|months?|y|years?)\s*$", re.I)
_HOURS = {"w": HOURS_PER_WEEK, "m": HOURS_PER_MONTH, "y": 12 * HOURS_PER_MONTH}

# A pull may be a tenth of its time off, a day at least and a week at most (common practice, no source).
_SHARE, _LEAST_H, _MOST_H = Decimal("0.1"), Decimal(24), HOURS_PER_WEEK


@dataclass(frozen=True, slots=True, repr=False)
class Station(Worded):
    """One time in storage at which jars are pulled.

    Parameters
    ----------
    label : str             As typed: "4 weeks".
    hours : Decimal         In storage. [h]
    tolerance_h : Decimal   How far the pull may be off either way. [h]
    """

    label: str
    hours: Decimal
    tolerance_h: Decimal

    @property
    def months(self) -> float:
        """Time in storage. [months]"""
        return float(self.hours / HOURS_PER_MONTH)

    def contains(self, hours: float) -> bool:
        """Whether a time in storage is that of the station.

        Parameters
        ----------
        hours : float   [h]
        """
        return abs(hours - float(self.hours)) <= float(self.tolerance_h)

    def row(self) -> dict[str, str]:
        """The station as a row of text."""
        return {"label": self.label, "hours": plain(self.hours), "tolerance_h": plain(self.tolerance_h)}

    @classmethod
    def from_row(cls, row: Mapping[str, str]) -> Station:
        """The station that `row()` wrote."""
        return cls(row["label"], Decimal(row["hours"]), Decimal(row["tolerance_h"]))

    def __str__(self) -> str:
        days = self.tolerance_h / 24
        return f"{self.label} ± {plain(days.quantize(Decimal('0.1')).normalize() + 0)} d"


def duration_h(text: str, *, where: str = "station") -> Decimal:
    """A time in storage, "4 weeks", "6 months", "90 d"; a month counts as a twelfth of 365.25 days. [h]

    Parameters
    ----------
    text : str    As typed.
    where : str   What it is, for the error.

    Raises
    ------
    UnitError   For text that is not a time.
    KitError    `stability.station` for a time that is not above zero.
    """
    found = _LONG.match(str(text))
    long = number(found[1], where=where) * _HOURS[found[2][0].lower()] if found else None
    hours = read(str(text), "h", where=where) if long is None else long
    if hours <= 0:
        raise KitError(
            f"{text!r} is no time in storage",
            where=where,
            allowed='a time above zero, such as "4 weeks"',
            mend="leave the start out: it is read as the baseline",
            code="stability.station",
        )
    return hours


def read_station(text: str, *, where: str = "station") -> Station:
    """A station, "4 weeks" or "4 weeks ± 2 d".

    Parameters
    ----------
    text : str    As typed.
    where : str   What it is, for the error.

    Raises
    ------
    UnitError   For text that is not a time.
    KitError    `stability.station`.
    """
    label, mark, tolerance = re.sub(r"\+/?-", "±", str(text)).partition("±")
    hours = duration_h(label, where=where)
    usual = min(max(_SHARE * hours, _LEAST_H), _MOST_H)
    allowed = duration_h(tolerance, where=where) if mark else usual
    if mark and allowed >= hours:  # the usual window is a day at least, and says nothing about the start
        raise KitError(
            f"a pull at {label.strip()} may not be {tolerance.strip()} off",
            where=where,
            allowed=f"less than {label.strip()}: the window must begin after jars go into storage",
            mend="narrow the window, or take a later station",
            code="stability.station",
        )
    return Station(" ".join(label.split()), hours, allowed)


def storage_time_words(hours: float) -> str:
    """A time in storage as it is spoken of: "12 h", "3 d", "4 weeks", "6 months".

    Parameters
    ----------
    hours : float   [h]
    """
    months, weeks = hours / float(HOURS_PER_MONTH), hours / float(HOURS_PER_WEEK)
    if hours < 48:
        return f"{hours:.0f} h"
    if weeks < 2 and abs(weeks - 1) > 0.05:
        return f"{hours / 24:.2g} d" if hours / 24 < 10 else f"{hours / 24:.0f} d"
    if months < 4.5:
        told = f"{weeks:.1f}".removesuffix(".0")
        return f"{told} {'week' if told == '1' else 'weeks'}"
    return f"{months:.1f}".removesuffix(".0") + " months"
