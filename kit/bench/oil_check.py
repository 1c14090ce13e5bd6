"""A viscometer read on a certified oil: kept with the spindle and speed it was made at, and how far it reaches."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from kit.bench.readings import Reading, implied_constant, viscosity_mpa_s
from kit.science.viscometer_oil import OilCheck, check_with_oil
from kit.show import Cell, Table, Worded
from kit.units import plain

_NOTE = "Consistent is not proven: one oil, one spindle and one speed each."


@dataclass(frozen=True, slots=True, repr=False)
class OilChecked(Worded):
    """A check with a certified oil as it was recorded.

    Parameters
    ----------
    name, instrument : str    Of the check and of the viscometer.
    spindle : str             As read.
    constant : Decimal        Of spring and spindle. [mPa·s rpm / %]
    rpm : Decimal             [1/min]
    certified_mpa_s : Decimal   At the temperature of the check. [mPa·s]
    found_mpa_s : Decimal     [mPa·s]
    at : str                  When, ISO 8601.
    oil : str                 Name and lot of the bottle.
    temp_c : Decimal          [degC]
    oil_pct : Decimal         Accuracy by its certificate; 1 where None. [%]
    """

    name: str
    instrument: str
    spindle: str
    constant: Decimal
    rpm: Decimal
    certified_mpa_s: Decimal
    found_mpa_s: Decimal
    at: str = ""
    oil: str = ""
    temp_c: Decimal | None = None
    oil_pct: Decimal | None = None

    @property
    def check(self) -> OilCheck:
        """The check worked out: what was allowed, and whether it agrees."""
        oil_pct = None if self.oil_pct is None else float(self.oil_pct)
        numbers = (self.certified_mpa_s, self.found_mpa_s, self.constant, self.rpm)
        return check_with_oil(*map(float, numbers), oil_pct=oil_pct)

    @property
    def words(self) -> str:
        """What it says and what it does not."""
        return f"{self.instrument}, {self.spindle} at {plain(self.rpm)} rpm: {self.check.words}"

    def why_not_for(self, reading: Reading) -> str:
        """Why the check says nothing of a reading; empty where it does.

        Parameters
        ----------
        reading : Reading   A viscosity.
        """
        if reading.instrument != self.instrument:
            return f"checked on {self.instrument}, read on {reading.instrument or 'an instrument NOT RECORDED'}"
        constant, value = implied_constant(reading), viscosity_mpa_s(reading)
        if constant is None or value is None or reading.rpm is None:
            return "torque or speed NOT RECORDED"
        if reading.spindle != self.spindle:
            return f"checked with {self.spindle}, read with {reading.spindle or 'a spindle NOT RECORDED'}"
        return self.check.covers(float(value), float(self.constant), float(reading.rpm))


def oil_checks_table(checks: tuple[OilChecked, ...]) -> Table:
    """The checks of viscometers with certified oils.

    Parameters
    ----------
    checks : tuple of OilChecked   In order of entry.
    """
    rows = [
        (
            item.name,
            item.instrument,
            f"{item.spindle}, {plain(item.rpm)} rpm",
            plain(item.certified_mpa_s),
            plain(item.found_mpa_s),
            Cell("consistent", "pass") if item.check.agrees else Cell("outside", "fail"),
            item.at[:10],
        )
        for item in checks
    ]
    heads = ("check", "instrument", "spindle, speed", "certified, mPa.s", "found, mPa.s", "result", "day")
    return Table(heads, rows, title="Checks with certified oil", note=_NOTE, numeric=frozenset({3, 4}))
