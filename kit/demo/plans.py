"""The plan of an invented study and of its batches: when made, what happened to the masses, what they measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from kit.bench.methods import Method
from kit.demo.diary import moment
from kit.demo.plans_later import Keeping, PanelServed, TrialsPlanned
from kit.formula.model import SpecLine

INVENTED = "Invented example data, not a recipe to use on people."
MAKING_MIN = 120  # from the first weighing to the end of making
PH_AGES = ("1 h", "24 h", "7 d")
AGES = {
    "1 h": timedelta(hours=1),
    "24 h": timedelta(hours=24),
    "72 h": timedelta(hours=72),
    "7 d": timedelta(days=7),
    "14 d": timedelta(days=14),
    "21 d": timedelta(days=21),
}
COOL_C = "38.0"  # the batch when the cool-down phase goes in, unless a plan says otherwise


@dataclass(frozen=True, slots=True)
class Viscosity:
    """An apparent viscosity: age, value [mPa.s], torque [% of full scale], spindle.

    `after_min` sets a second reading of the same age apart [min]; `temp` is that of the sample [degC]; `sample` names
    the jar where that matters; `typed_torque` is what was typed first by a slip, put right some minutes later.
    """

    age: str
    value: int
    torque: str
    spindle: str = "disc 5"
    after_min: int = 0
    note: str = ""
    temp: str = "25.0"
    sample: str = ""
    typed_torque: str = ""


@dataclass(frozen=True, slots=True)
class Sweep:
    """One filling read at several speeds, a minute apart: the age, then speed [1/min] and torque [% of full scale].

    The speeds go up and down again. `rest` is read at the slowest speed: minutes after the last of them, and torque.
    `after_min` sets it apart from the minute of its age [min]; the value is `constant` x torque / speed [mPa.s].
    """

    age: str
    up: tuple[tuple[str, str], ...]
    down: tuple[tuple[str, str], ...]
    rest: tuple[tuple[int, str], ...]
    sample: str
    spindle: str = "disc 5"
    constant: int = 4000
    after_min: int = 40

    @property
    def points(self) -> tuple[tuple[int, str, str], ...]:
        """Every reading: minutes after the age, speed and torque."""
        moving = [(self.after_min + place, *point) for place, point in enumerate((*self.up, *self.down))]
        last, slowest = moving[-1][:2]
        return (*moving, *((last + minutes, slowest, torque) for minutes, torque in self.rest))


@dataclass(frozen=True, slots=True)
class PhReading:
    """A pH: age, value, temperature of the sample [degC].

    `after_min` sets it apart from the usual minute of its age [min]; `void` is why it was voided, some minutes later.
    """

    age: str
    value: str
    after_min: int = 0
    temp: str = "25.0"
    note: str = ""
    void: str = ""


@dataclass(frozen=True, slots=True)
class Density:
    """A density from a cup weighed full and empty: age, value [g/mL], property, method; the rest as in `Viscosity`."""

    age: str
    value: str
    property: str = "density"
    method: str = "density"
    after_min: int = 0
    sample: str = ""
    note: str = ""
    temp: str = "25.0"


@dataclass(frozen=True, slots=True)
class Recalibration:
    """A calibration made again later on a day: name, when, slope [% of Nernst], offset [mV], buffers, what was done.

    With `millivolts`, read in each buffer, slope and offset follow and are left empty. `closed` is the check after the
    run: when, the buffer, and what the meter showed in it.
    """

    name: str
    when: str
    slope: str
    offset: str
    buffers: tuple[str, ...]
    note: str
    millivolts: tuple[str, ...] = ()
    closed: tuple[str, str, str] = ()


@dataclass(frozen=True, slots=True)
class StockPlan:
    """A solution made in the lab: material, lot, strength, day made, last day, what it was made from, in words."""

    material: str
    lot: str
    strength: str
    made_on: str
    expiry: str
    from_lots: Mapping[str, str]
    note: str = ""


@dataclass(frozen=True, slots=True)
class Adding:
    """How the cool-down phase goes in, where it is not as in the base.

    `planned` stands in the steps of the formula, those of the base where it is empty; `done` stands in the record;
    `temp` is that of the batch [degC]. From 60 degC on it goes in straight after the pour, and `lost_g` is missing when
    the vessel is weighed again afterwards. [g]
    """

    planned: str
    done: str
    temp: str = COOL_C
    lost_g: str = ""
    lost_note: str = ""

    @property
    def hot(self) -> bool:
        """Whether it goes in straight after the pour."""
        return float(self.temp) >= 60


@dataclass(frozen=True, slots=True)
class Process:
    """How a batch is homogenised and cooled, where the making is what a study varies.

    Parameters
    ----------
    rpm : int           Speed of the head.
    hold_min : int      From the pour until the head stops. [min]
    log : tuple         Cooling log: minutes after the pour, and the temperature of the batch. [degC]
    bath : tuple        When it goes into a bath, minutes after the pour, and how warm that is; empty in air. [degC]
    cool_c : str        Where cooling ends. [degC]
    cool_min : int      Planned time for it. [min]
    cooled : str        How, for the steps of the formula; as in the base when empty.
    """

    rpm: int
    hold_min: int
    log: tuple[tuple[int, str], ...]
    bath: tuple[int, str] | tuple[()] = ()
    cool_c: str = "40"
    cool_min: int = 45
    cooled: str = ""


@dataclass(frozen=True, slots=True)
class Vessel:
    """What a batch is made in: its words, and its mass when empty. [g]"""

    words: str = "600 mL glass beaker, 85 mm wide"
    tare_g: str = "312.40"


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
    ph_again : tuple           Of PhReading: more of them, in place of the usual one or beside it.
    viscosities : tuple        In the order they were read.
    steam_g : str              Water lost to steam between combining and the gross weighing. [g]
    left_g : str               Oil phase found back in its beaker. [g]
    made_up_g : str            Water made up. [g]
    weighed : dict             Masses that differ from the usual small deviation. [g]
    seen : tuple               What was observed: age, name, word, and a note if there is one.
    dispersed : str            What was done to the water phase before it was heated.
    combined : str             What was seen when the phases met.
    adding : Adding            How the cool-down phase went in, where it is not as in the base.
    process : Process          How it was homogenised and cooled, where that is what the study varies.
    densities : tuple          Of Density, in the order they were read.
    sweeps : tuple             Of Sweep.
    verdict : tuple            Decision and its reason.
    decided : str              When it was decided, where neither the study nor the week-old readings tell.
    mass : str                 Of the batch.
    vessel : Vessel            What it was made in.
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
    seen: tuple[tuple[str, ...], ...] = ()
    dispersed: str = "gum wetted with the glycerin, sprinkled into cold water; no lumps against the glass"
    combined: str = "head below the surface before it ran"
    adding: Adding | None = None
    ph_again: tuple[PhReading, ...] = ()
    process: Process | None = None
    densities: tuple[Density, ...] = ()
    sweeps: tuple[Sweep, ...] = ()
    verdict: tuple[str, str] = ("", "")
    decided: str = ""
    mass: str = "400 g"
    vessel: Vessel = Vessel()

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

    @property
    def acidities(self) -> tuple[PhReading, ...]:
        """Every pH reading of the batch, the usual ones first."""
        usual = (PhReading(age, value) for age, value in zip(PH_AGES, self.ph, strict=True) if value)
        return (*usual, *self.ph_again)

    def read_at(self, reading: PhReading) -> datetime:
        """When a pH was read: 58 min old when fresh, else some minutes after its age."""
        return self.at(reading.age, reading.after_min + (-2 if reading.age == "1 h" else 12))


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
    buffers : tuple of str   Buffers of the morning's calibration.
    recalibrations : tuple   Of Recalibration: those made again later on a day.
    stocks : tuple           Of StockPlan: solutions made in the lab.
    asked : tuple            Of SpecLine: what the study asks beside the spec of the formula.
    heated, poured : dict    Phase to the temperature of its bath, and at the pour, "after" it too. [degC]
    imported_before : tuple  When the file of readings was taken in earlier, as it stood then.
    planned : TrialsPlanned  The plan of the trials of the main study; None where none was kept.
    keepings : tuple         Of Keeping: stability studies.
    panels : tuple           Of PanelServed.
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
    buffers: tuple[str, ...] = ("4.01", "7.00")
    recalibrations: tuple[Recalibration, ...] = ()
    stocks: tuple[StockPlan, ...] = ()
    asked: tuple[SpecLine, ...] = ()
    heated: Mapping[str, str] = field(default_factory=lambda: {"A": "78", "B": "80"})
    poured: Mapping[str, str] = field(default_factory=lambda: {"A": "78.2", "B": "80.4", "after": "76.3"})
    imported_before: tuple[str, ...] = ()
    planned: TrialsPlanned | None = None
    keepings: tuple[Keeping, ...] = ()
    panels: tuple[PanelServed, ...] = ()

    @property
    def study(self) -> str:
        """Name of the main study."""
        return self.openings[-1].name

    @property
    def readings(self) -> str:
        """Name of the file of readings."""
        return f"{self.name}_readings.csv"

    def morning_calibration(self, day: datetime) -> str:
        """The calibration in the morning of a day: "CAL-0413" on 13 April."""
        return f"{self.calibrations}{day:%m%d}"

    def calibration(self, when: datetime) -> str:
        """The calibration in force at a moment: the last one made on that day."""
        made_again = [item for item in self.recalibrations if item.when[:10] == f"{when:%Y-%m-%d}"]
        before = [item.name for item in made_again if moment(item.when) <= when]
        return before[-1] if before else self.morning_calibration(when)

    def filed_ages(self, plan: BatchPlan) -> tuple[str, ...]:
        """Ages at which a batch's readings come from the file."""
        return self.filed if plan.study == self.study else ()

    def measuring_days(self) -> set[datetime]:
        """The days, at midnight, on which a pH was read."""
        moments = [plan.read_at(reading) for plan in self.batches for reading in plan.acidities]
        days = {when.replace(hour=0, minute=0) for when in moments}
        return days.union(*(kept.reading_days() for kept in self.keepings))
