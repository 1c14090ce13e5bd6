"""The plan of an invented study and of its batches: when made, what happened to the masses, what they measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from kit.bench.methods import Method
from kit.demo.diary import moment

INVENTED = "Invented example data, not a recipe to use on people."
MAKING_MIN = 120  # from the first weighing to the end of making
PH_AGES = ("1 h", "24 h", "7 d")
AGES = {"1 h": timedelta(hours=1), "24 h": timedelta(hours=24), "72 h": timedelta(hours=72), "7 d": timedelta(days=7)}


@dataclass(frozen=True, slots=True)
class Viscosity:
    """An apparent viscosity: age, value [mPa.s], torque [% of full scale], spindle.

    `after_min` sets a second reading of the same age apart [min]; `temp` is that of the sample [degC].
    """

    age: str
    value: int
    torque: str
    spindle: str = "disc 5"
    after_min: int = 0
    note: str = ""
    temp: str = "25.0"


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
    ph : tuple of str          When fresh (within the hour), at 24 h and at 7 d; empty where none was read.
    viscosities : tuple        In the order they were read.
    steam_g : str              Water lost to steam between combining and the gross weighing. [g]
    left_g : str               Oil phase found back in its beaker. [g]
    made_up_g : str            Water made up. [g]
    weighed : dict             Masses that differ from the usual small deviation. [g]
    seen : tuple               What was observed: age, name, word.
    dispersed : str            What was done to the water phase before it was heated.
    combined : str             What was seen when the phases met.
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
    seen: tuple[tuple[str, str, str], ...] = ()
    dispersed: str = "gum wetted with the glycerin, sprinkled into cold water; no lumps against the glass"
    combined: str = "head below the surface before it ran"
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


@dataclass(frozen=True, slots=True)
class Opening:
    """How a study of the lab book is opened: its name, when, its question, its control, the studies it leans on."""

    name: str
    opened: str
    question: str
    control: str
    history: tuple[str, ...] = ()


@dataclass(frozen=True)
class StudyPlan:
    """One invented demo: the studies it lays down in one lab book, and the files beside it.

    Parameters
    ----------
    name : str               "linden": names the lab book and the formula file.
    formula : str            Where the formula file lies in the package.
    openings : tuple         Of Opening, the main study last.
    batches : tuple          Of BatchPlan, those of all studies.
    lots : dict              Material key to lot.
    added : str              How phase C was added.
    compared : tuple         Trials set side by side, the control first.
    filed : tuple of str     Ages whose readings of the main study come from the file.
    imported, decided : str  When the file was taken in, and when the batches of the main study were judged.
    instruments : dict       More instruments than the balances, the pH meter and the viscometer: name to kind.
    methods : tuple          Methods the main study declares for itself.
    calibrations : str       What the names of calibrations begin with.
    """

    name: str
    formula: str
    openings: tuple[Opening, ...]
    batches: tuple[BatchPlan, ...]
    lots: Mapping[str, str]
    added: str
    compared: tuple[str, ...]
    imported: str
    decided: str
    filed: tuple[str, ...] = ("7 d",)
    instruments: Mapping[str, str] = field(default_factory=dict)
    methods: tuple[Method, ...] = ()
    calibrations: str = "CAL-"

    @property
    def study(self) -> str:
        """Name of the main study."""
        return self.openings[-1].name

    @property
    def readings(self) -> str:
        """Name of the file of readings."""
        return f"{self.name}_readings.csv"

    def calibration(self, day: datetime) -> str:
        """The calibration of a day: "CAL-0413" on 13 April."""
        return f"{self.calibrations}{day:%m%d}"

    def filed_ages(self, plan: BatchPlan) -> tuple[str, ...]:
        """Ages at which a batch's readings come from the file."""
        return self.filed if plan.study == self.study else ()

    def ph_times(self, plan: BatchPlan) -> dict[str, datetime]:
        """When each pH of a batch was read, by age: within the hour, at 24 h, at 7 d; only those that were."""
        times = (plan.ends + timedelta(minutes=58), plan.at("24 h", 12), plan.at("7 d", 12))
        return {age: when for age, when, value in zip(PH_AGES, times, plan.ph, strict=True) if value}

    def measuring_days(self) -> set[datetime]:
        """The days, at midnight, on which a pH was read."""
        moments = [when for plan in self.batches for when in self.ph_times(plan).values()]
        return {when.replace(hour=0, minute=0) for when in moments}
