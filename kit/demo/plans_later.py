"""What an invented study puts on the record besides its batches: the plan of its trials, a stability study, a panel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from kit.demo.diary import moment

REST_H = 24  # at 25 degC before a jar from elsewhere is read


@dataclass(frozen=True, slots=True)
class TrialsPlanned:
    """The plan of the trials, kept before the first batch.

    Parameters
    ----------
    when : str              "2026-07-06 07:40".
    layout : str            As of `kit.plan_variations`.
    factors : tuple         What is varied, with its levels or bounds.
    days : tuple of str     "2026-07-06".
    seed : int              Of the draw.
    note : str              What else is kept with it.
    total : str             What the lines of a mixture share.
    base : Mapping          Lines of the formula file changed for the base of the plan; the formula itself when empty.
    base_version : str      Label of that base.
    """

    when: str
    layout: str
    factors: tuple[str, ...]
    days: tuple[str, ...]
    seed: int
    note: str = ""
    total: str = ""
    base: Mapping[str, str] = field(default_factory=dict)
    base_version: str = ""


@dataclass(frozen=True, slots=True)
class Pull:
    """The jars of one station, all read on one day: the time in storage, and what each place gave.

    Parameters
    ----------
    weeks : int            In storage.
    read : Mapping         Place to pH, torque [% of full scale] and colour.
    """

    weeks: int
    read: Mapping[str, tuple[str, str, str]]

    @property
    def station(self) -> str:
        """ "2 weeks" """
        return f"{self.weeks} weeks"

    def read_at(self, stored_from: datetime) -> datetime:
        """When the jars are read: pulled on the day of the station, rested for a day.

        Parameters
        ----------
        stored_from : datetime   When the jars went into storage.
        """
        return stored_from + timedelta(weeks=self.weeks, hours=REST_H)


@dataclass(frozen=True, slots=True)
class Keeping:
    """A stability study of one batch: what is decided before its data, and what is read.

    Parameters
    ----------
    study, name : str        The study, and the name of the protocol.
    when : str               When the protocol is kept.
    batch : str              "TEA-10/1".
    stored_from : str        When the baseline is read and the jars go into storage.
    limits : Mapping         Property to its limit.
    baseline_words : Mapping What is seen at the baseline.
    at_end : Mapping         What is seen besides in the last jars.
    pulls : tuple of Pull    In order.
    note : str               What else stands in the protocol.
    """

    study: str
    name: str
    when: str
    batch: str
    stored_from: str
    limits: Mapping[str, str]
    baseline_words: Mapping[str, str]
    at_end: Mapping[str, str]
    pulls: tuple[Pull, ...]
    note: str = ""

    @property
    def places(self) -> tuple[str, ...]:
        """Where jars are kept."""
        return tuple(self.pulls[0].read)

    def reading_days(self) -> set[datetime]:
        """The days, at midnight, on which jars are read; the baseline is a reading of the batch."""
        stored_from = moment(self.stored_from)
        return {pull.read_at(stored_from).replace(hour=0, minute=0) for pull in self.pulls}


@dataclass(frozen=True, slots=True)
class PanelServed:
    """A triangle test on cut tresses: its plan, and who named the odd one.

    Parameters
    ----------
    study, name, question : str   As they are kept.
    samples : Mapping             Letter to batch.
    assessors, seed : int         How many, and what codes and orders are drawn from.
    planned, answered : str       When.
    right : tuple of str          Assessors who named the odd tress.
    """

    study: str
    name: str
    question: str
    samples: Mapping[str, str]
    assessors: int
    seed: int
    planned: str
    answered: str
    right: tuple[str, ...]
