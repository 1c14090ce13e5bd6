"""Making one invented batch through the public calls of the lab book, minute by minute."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal

from kit.bench.sheet import Sheet, SheetLine
from kit.demo.cooling_logs import ROOM_C, cooled
from kit.demo.diary import Diary
from kit.demo.plans import (
    COOL_C,
    INVENTED,
    Adding,
    BatchPlan,
    Density,
    PhReading,
    Process,
    StudyPlan,
    Sweep,
    Viscosity,
)
from kit.labbook.batch import Batch
from kit.labbook.book import Labbook
from kit.labbook.receipt import Receipt
from kit.units import plain

Minute = tuple[float, Callable[[], object]]  # minutes after the first weighing, and what is done then

OPERATOR = "bench 2"
_LARGEST_SLIP_G = Decimal("0.15")  # nobody is off by more on a line of hundreds of grams
_VOID_AFTER_MIN = 22  # by then it has been read again
_SEEN_AFTER_MIN = 1  # a slip that is flagged at once
_HOT_KINDS = ("water", "oil")
_EQUIPMENT = {  # beside the vessel
    "high-shear head": "25 mm rotor-stator, gap 0.2 mm",
    "stirrer": "anchor, 70 mm",
    "heating": "water baths",
    "probe": "Pt100, 0.1 degC",
}
# How a batch is made unless its plan says otherwise; from 75 to 40 degC in 36 min is 0.030 per minute.
_USUAL = Process(rpm=6500, hold_min=4, log=cooled(first=5, minutes=36, every=4))


@dataclass
class Making:
    """One batch being made: what is entered in the diary, and the masses so far."""

    book: Labbook
    sheet: Sheet
    plan: BatchPlan
    study: StudyPlan
    batch: Batch | None = None
    _hot_g: Decimal = field(default=Decimal(0))
    _cool_g: Decimal = field(default=Decimal(0))

    def enter(self, diary: Diary) -> None:
        """Enter everything from the first weighing to the end of making."""
        for minute, what in self._minutes():
            diary.note(self.plan.starts + timedelta(minutes=minute), what)

    def reopened(self) -> Batch:
        """The batch as it stands now: a file may have brought readings since it was made."""
        return self.book.batch(self.plan.name)

    def read_ph(self, reading: PhReading, diary: Diary) -> None:
        """Enter a pH reading with the calibration in force, and its void where it was voided."""
        when, receipts = self.plan.read_at(reading), []
        calibration = self.study.calibration(when)
        diary.note(when, lambda: receipts.append(read_ph(self.reopened(), reading, calibration)))
        if reading.void:
            voided = when + timedelta(minutes=_VOID_AFTER_MIN)
            diary.note(voided, lambda: self.reopened().void(receipts[0], why=reading.void))

    def read_viscosity(self, reading: Viscosity, diary: Diary) -> None:
        """Enter a viscosity, and the correction of its torque where that was mistyped."""
        when, receipts = self.plan.at(reading.age, 2 + reading.after_min), []
        diary.note(when, lambda: receipts.append(read_viscosity(self.reopened(), reading)))
        if reading.typed_torque:
            seen, why = (
                when + timedelta(minutes=_SEEN_AFTER_MIN),
                f"torque typed {reading.typed_torque} for {reading.torque}",
            )
            diary.note(seen, lambda: self.reopened().correct(receipts[0], torque_pct=reading.torque, why=why))

    def read_sweep(self, sweep: Sweep, diary: Diary) -> None:
        """Enter the readings of a filling at several speeds, each at its minute."""
        for minutes, rpm, torque in sweep.points:
            diary.note(
                self.plan.at(sweep.age, minutes),
                lambda rpm=rpm, torque=torque: read_at_speed(self.reopened(), sweep, rpm, torque),
            )

    def read_density(self, reading: Density, diary: Diary) -> None:
        """Enter a density."""
        when = self.plan.at(reading.age, reading.after_min)
        diary.note(when, lambda: read_density(self.reopened(), reading))

    def _minutes(self) -> list[Minute]:
        adding = self.plan.adding
        finish = (120, lambda: self.batch.finish(note="jars filled, one for each age"))
        added = self._added_hot(adding) if adding and adding.hot else self._added_cool()
        return [*self._to_the_pour(), *self._cooling(), *added, (112, self._adjust), finish]

    def _to_the_pour(self) -> list[Minute]:
        temps = {name: f"{temp} degC" for name, temp in self.study.heated.items()}
        hot = [line for line in self.sheet.lines if line.phase_kind in _HOT_KINDS]
        return [
            (0, self._start),
            *((1 + number, lambda line=line: self._weigh(line)) for number, line in enumerate(hot)),
            (12, self._accept),
            (33, lambda: self.batch.step(self.plan.dispersed, do="disperse", phase="A", rpm=400, minutes=20)),
            (
                54,
                lambda: self.batch.step(
                    "covered, in the water bath", do="heat", phase="A", temp=temps["A"], minutes=20
                ),
            ),
            (
                55,
                lambda: self.batch.step(
                    "in the water bath; melt clear", do="heat", phase="B", temp=temps["B"], minutes=20
                ),
            ),
            (56, self._combine),
            (61, lambda: self.batch.weigh_back("oil beaker", f"{self.plan.left_g} g")),
        ]

    def _cooling(self) -> list[Minute]:
        log = [
            (56 + after, lambda after=after, temp=temp: self.batch.temperature(f"{temp} degC", at=f"{after} min"))
            for after, temp in self._process.log
        ]
        room = (56, lambda: self.batch.temperature(f"{ROOM_C} degC", place="room"))
        return [room, *self._bath(), *log]

    def _bath(self) -> list[Minute]:
        if not self._process.bath:
            return []
        after, temp = self._process.bath
        return [(56 + after, lambda: self.batch.temperature(f"{temp} degC", place="bath"))]

    @property
    def _process(self) -> Process:
        return self.plan.process or _USUAL

    @property
    def _later_min(self) -> int:
        """How much later than usual cooling ends, because the head ran longer. [min]"""
        return max(0, self._process.hold_min - _USUAL.hold_min)

    def _added_cool(self) -> list[Minute]:
        """The vessel weighed and made up, then the cool-down phase."""
        later = self._later_min
        weighed = [(87 + later, self._gross), (88 + later, self._top_up)]
        return [*weighed, *self._cool_lines(89 + later), (101 + later, self._add)]

    def _added_hot(self, adding: Adding) -> list[Minute]:
        """The same straight after the pour; the vessel is weighed again when it is cool, and not made up."""
        return [
            *self._cool_lines(45),
            (62, self._gross),
            (63, self._top_up),
            (64, self._add),
            (104, lambda: self._gross_again(adding)),
        ]

    def _cool_lines(self, minute: int) -> list[Minute]:
        cool = [line for line in self.sheet.lines if line.phase_kind not in _HOT_KINDS]
        return [(minute + number, lambda line=line: self._weigh(line)) for number, line in enumerate(cool)]

    def _start(self) -> None:
        plan = self.plan
        self.batch = self.book.start_batch(
            self.sheet,
            trial=plan.trial,
            study=plan.study,
            operator=OPERATOR,
            number=plan.number,
            why=plan.why,
            note=INVENTED,
        )
        self.batch.equipment(**(_EQUIPMENT | {"vessel": plan.vessel.words}))

    def _weigh(self, line: SheetLine) -> None:
        key = line.material.key
        mass_g = Decimal(self.plan.weighed[key]) if key in self.plan.weighed else _slipped(line, self.plan.name)
        if line.phase_kind in _HOT_KINDS:
            self._hot_g += mass_g
        else:
            self._cool_g += mass_g
        self.batch.weigh(key, f"{plain(mass_g)} g", lot=self.study.lots[key], balance=line.balance.name)

    def _accept(self) -> None:
        for key, why in self.plan.accepted.items():
            self.batch.accept(key, why=why)

    def _combine(self) -> None:
        self.batch.combine(
            temps={name: f"{temp} degC" for name, temp in self.study.poured.items()},
            order="oil into water, thin stream",
            rpm=self._process.rpm,
            minutes=self._process.hold_min,
            note=self.plan.combined,
        )

    def _gross(self) -> None:
        self._weigh_vessel(self._hot_g - self._missing_g)

    def _gross_again(self, adding: Adding) -> None:
        in_vessel_g = self._hot_g + self._cool_g + Decimal(self.plan.made_up_g) - self._missing_g
        self._weigh_vessel(in_vessel_g - Decimal(adding.lost_g), note=adding.lost_note)

    @property
    def _missing_g(self) -> Decimal:
        """Left in the oil beaker, and lost to steam by the first weighing of the vessel. [g]"""
        return Decimal(self.plan.left_g) + Decimal(self.plan.steam_g)

    def _weigh_vessel(self, net_g: Decimal, *, note: str = "") -> None:
        tare_g = Decimal(self.plan.vessel.tare_g)
        gross_g = tare_g + net_g.quantize(Decimal("0.01"))
        self.batch.gross(f"{plain(gross_g)} g", tare=f"{plain(tare_g)} g", note=note)

    def _top_up(self) -> None:
        water = self.study.lots["water-deionised"]
        self.batch.top_up(f"{self.plan.made_up_g} g", lot=water, note="boiled and cooled")

    def _add(self) -> None:
        adding = self.plan.adding
        temp, note = (adding.temp, adding.done) if adding else (COOL_C, self.study.added)
        self.batch.add("C", temp=f"{temp} degC", rpm=250, minutes=10, note=note)

    def _adjust(self) -> None:
        """The pH before the adjuster, a sample for a titration, then the adjuster: only where the plan has them."""
        plan = self.plan
        if plan.ph_before:
            before = PhReading("", plan.ph_before, note="before the adjuster")
            read_ph(self.batch, before, self.study.calibration(plan.starts))
        if plan.sample_g:
            self.batch.take(f"{plan.sample_g} g", why="titration with citric acid 10 %")
        if plan.adjuster_g:
            self.batch.adjust("citric-acid-10-solution", f"{plan.adjuster_g} g", lot="ST-26-03", why="pH above 4.70")


def read_ph(batch: Batch, reading: PhReading, calibration: str, **jar: str) -> Receipt:
    """A pH reading with the calibration in force, and what is to be said of a jar that was kept."""
    return batch.read_ph(
        reading.value,
        temp=f"{reading.temp} degC",
        instrument="PH-1",
        calibration=calibration,
        container="100 mL jar",
        operator=OPERATOR,
        note=reading.note,
        **jar,
    )


def read_viscosity(batch: Batch, reading: Viscosity, **jar: str) -> Receipt:
    """A viscosity reading with all its conditions, its torque as it was typed first; `jar` as of `read_ph`."""
    return batch.read_viscosity(
        f"{reading.value} mPa.s",
        torque_pct=reading.typed_torque or reading.torque,
        rpm=10,
        spindle=reading.spindle,
        instrument="VIS-1",
        temp=f"{reading.temp} degC",
        reading_time="60 s",
        container="100 mL jar",
        operator=OPERATOR,
        note=reading.note,
        **({"sample": reading.sample} | jar),
    )


def read_at_speed(batch: Batch, sweep: Sweep, rpm: str, torque: str) -> Receipt:
    """One speed of a sweep. By no named method: it must not count in the mean of the spec."""
    value = sweep.constant * Decimal(torque) / Decimal(rpm)
    return batch.read_viscosity(
        f"{plain(value.quantize(Decimal(1)))} mPa.s",
        method="",
        torque_pct=torque,
        rpm=rpm,
        spindle=sweep.spindle,
        instrument="VIS-1",
        temp="25.0 degC",
        reading_time="30 s",
        container="100 mL jar",
        sample=sweep.sample,
        operator=OPERATOR,
    )


def read_density(batch: Batch, reading: Density) -> Receipt:
    """A density, as found or without air, from a cup on the balance."""
    return batch.read(
        reading.property,
        f"{reading.value} g/mL",
        method=reading.method,
        temp=f"{reading.temp} degC",
        instrument="BAL-1",
        container="50 mL density cup",
        sample=reading.sample,
        operator=OPERATOR,
        note=reading.note,
    )


def _slipped(line: SheetLine, batch: str) -> Decimal:
    """The target with a small deviation that is always the same for this line of this batch."""
    sevenths = zlib.crc32(f"{batch} {line.material.key}".encode()) % 7 - 3
    room_g = min((line.tolerance_g or line.balance.division_g) * Decimal("0.8"), _LARGEST_SLIP_G)
    return line.target_g + line.balance.rounded(room_g * sevenths / 3)
