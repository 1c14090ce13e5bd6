"""The plan of an invented batch: when it was made, what happened to its masses, what it measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from kit.demo.diary import moment

INVENTED = "Invented example data, not a recipe to use on people."
MAKING_MIN = 120  # from the first weighing to the end of making
AGES = {"1 h": timedelta(hours=1), "24 h": timedelta(hours=24), "72 h": timedelta(hours=72), "7 d": timedelta(days=7)}


@dataclass(frozen=True, slots=True)
class Viscosity:
    """An apparent viscosity: age, value [mPa.s], torque [% of full scale], spindle.

    `after_min` sets a second reading of the same age apart. [min]
    """

    age: str
    value: int
    torque: str
    spindle: str = "disc 5"
    after_min: int = 0
    note: str = ""


@dataclass(frozen=True)
class BatchPlan:
    """One invented batch.

    Parameters
    ----------
    trial, number : str, int   "LIN-03", 1.
    study : str                "LIN".
    start : str                First weighing, "2026-04-13 08:00".
    changes : dict             Lines changed from the base formula.
    why : str                  The question the trial answers.
    ph : tuple of str          When fresh (within the hour), at 24 h and at 7 d.
    viscosities : tuple        In the order they were read.
    steam_g : str              Water lost to steam between combining and the gross weighing. [g]
    left_g : str               Oil phase found back in its beaker. [g]
    made_up_g : str            Water made up. [g]
    weighed : dict             Masses that differ from the usual small deviation. [g]
    grain : str                Seen at 7 d, "none" or another word.
    verdict : tuple            Decision and its reason.
    """

    trial: str
    study: str
    start: str
    why: str
    ph: tuple[str, str, str]
    viscosities: tuple[Viscosity, ...]
    steam_g: str
    left_g: str
    made_up_g: str
    number: int = 1
    changes: Mapping[str, str] = field(default_factory=dict)
    weighed: Mapping[str, str] = field(default_factory=dict)
    accepted: Mapping[str, str] = field(default_factory=dict)
    sample_g: str = ""
    ph_before: str = ""
    adjuster_g: str = ""
    grain: str = "none"
    verdict: tuple[str, str] = ("", "")

    @property
    def name(self) -> str:
        """ "LIN-03/1" """
        return f"{self.trial}/{self.number}"

    @property
    def starts(self) -> datetime:
        """The first weighing."""
        return moment(self.start)

    @property
    def ends(self) -> datetime:
        """The end of making, from which ages count."""
        return self.starts + timedelta(minutes=MAKING_MIN)

    def at(self, age: str, minutes: int = 0) -> datetime:
        """The moment of an age, and some minutes more."""
        return self.ends + AGES[age] + timedelta(minutes=minutes)
