"""Making one invented batch through the public calls of the lab book, minute by minute."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal

from kit.bench.sheet import Sheet, SheetLine
from kit.demo.diary import Diary
from kit.demo.plans import INVENTED, BatchPlan, StudyPlan, Viscosity
from kit.labbook.batch import Batch
from kit.labbook.book import Labbook
from kit.units import plain

OPERATOR = "bench 2"
_TARE_G = Decimal("312.40")  # the empty vessel
_LARGEST_SLIP_G = Decimal("0.15")  # nobody is off by more on a line of hundreds of grams
_EQUIPMENT = {
    "vessel": "600 mL glass beaker, 85 mm wide",
    "high-shear head": "25 mm rotor-stator, gap 0.2 mm",
    "stirrer": "anchor, 70 mm",
    "heating": "water baths",
    "probe": "Pt100, 0.1 degC",
}
# Cooling log: minutes after the pour, and the temperature of the batch. [degC]
_COOLING = ((6, "70.8"), (14, "61.5"), (22, "53.9"), (30, "47.6"), (38, "42.1"), (44, "38.4"))


@dataclass
class Making:
    """One batch being made: what is entered in the diary, and the masses so far."""

    book: Labbook
    sheet: Sheet
    plan: BatchPlan
    study: StudyPlan
    batch: Batch | None = None
    _in_vessel_g: Decimal = field(default=Decimal(0))

    def enter(self, diary: Diary) -> None:
        """Enter everything from the first weighing to the end of making."""
        for minute, what in self._minutes():
            diary.note(self.plan.starts + timedelta(minutes=minute), what)

    def _minutes(self) -> list[tuple[float, Callable[[], object]]]:
        hot = [line for line in self.sheet.lines if line.phase_kind in ("water", "oil")]
        cool = [line for line in self.sheet.lines if line.phase_kind not in ("water", "oil")]
        return [
            (0, self._start),
            *((1 + number, lambda line=line: self._weigh(line)) for number, line in enumerate(hot)),
            (12, self._accept),
            (
                33,
                lambda: self.batch.step(self.plan.dispersed, do="disperse", phase="A", rpm=400, minutes=20),
            ),
            (
                54,
                lambda: self.batch.step("covered, in the water bath", do="heat", phase="A", temp="78 degC", minutes=20),
            ),
            (
                55,
                lambda: self.batch.step(
                    "in the water bath; melt clear", do="heat", phase="B", temp="80 degC", minutes=20
                ),
            ),
            (56, self._combine),
            (61, lambda: self.batch.weigh_back("oil beaker", f"{self.plan.left_g} g")),
            *(
                (56 + after, lambda after=after, temp=temp: self.batch.temperature(f"{temp} degC", at=f"{after} min"))
                for after, temp in _COOLING
            ),
            (87, self._gross),
            (
                88,
                lambda: self.batch.top_up(
                    f"{self.plan.made_up_g} g", lot=self.study.lots["water-deionised"], note="boiled and cooled"
                ),
            ),
            *((89 + number, lambda line=line: self._weigh(line)) for number, line in enumerate(cool)),
            (101, lambda: self.batch.add("C", temp="38.0 degC", rpm=250, minutes=10, note=self.study.added)),
            (112, self._adjust),
            (120, lambda: self.batch.finish(note="jars filled, one for each age")),
        ]

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
        self.batch.equipment(**_EQUIPMENT)

    def _weigh(self, line: SheetLine) -> None:
        key = line.material.key
        mass_g = Decimal(self.plan.weighed[key]) if key in self.plan.weighed else _slipped(line, self.plan.name)
        if line.phase_kind in ("water", "oil"):
            self._in_vessel_g += mass_g
        self.batch.weigh(key, f"{plain(mass_g)} g", lot=self.study.lots[key], balance=line.balance.name)

    def _accept(self) -> None:
        for key, why in self.plan.accepted.items():
            self.batch.accept(key, why=why)

    def _combine(self) -> None:
        self.batch.combine(
            temps={"A": "78.2 degC", "B": "80.4 degC", "after": "76.3 degC"},
            order="oil into water, thin stream",
            rpm=6500,
            minutes=4,
            note=self.plan.combined,
        )

    def _gross(self) -> None:
        missing_g = Decimal(self.plan.left_g) + Decimal(self.plan.steam_g)
        self.batch.gross(
            f"{plain(_TARE_G + self._in_vessel_g.quantize(Decimal('0.01')) - missing_g)} g", tare=f"{plain(_TARE_G)} g"
        )

    def _adjust(self) -> None:
        """The pH before the adjuster, a sample for a titration, then the adjuster: only where the plan has them."""
        plan = self.plan
        if plan.ph_before:
            read_ph(self.batch, plan.ph_before, self.study.calibration(plan.starts), note="before the adjuster")
        if plan.sample_g:
            self.batch.take(f"{plan.sample_g} g", why="titration with citric acid 10 %")
        if plan.adjuster_g:
            self.batch.adjust("citric-acid-10-solution", f"{plan.adjuster_g} g", lot="ST-26-03", why="pH above 4.70")


def read_ph(batch: Batch, value: str, calibration: str, *, note: str = "") -> None:
    """A pH reading with the calibration of its day."""
    batch.read_ph(
        value,
        temp="25.0 degC",
        instrument="PH-1",
        calibration=calibration,
        container="100 mL jar",
        operator=OPERATOR,
        note=note,
    )


def read_viscosity(batch: Batch, reading: Viscosity) -> None:
    """A viscosity reading with all its conditions."""
    batch.read_viscosity(
        f"{reading.value} mPa.s",
        torque_pct=reading.torque,
        rpm=10,
        spindle=reading.spindle,
        instrument="VIS-1",
        temp=f"{reading.temp} degC",
        reading_time="60 s",
        container="100 mL jar",
        operator=OPERATOR,
        note=reading.note,
    )


def _slipped(line: SheetLine, batch: str) -> Decimal:
    """The target with a small deviation that is always the same for this line of this batch."""
    sevenths = zlib.crc32(f"{batch} {line.material.key}".encode()) % 7 - 3
    room_g = min((line.tolerance_g or line.balance.division_g) * Decimal("0.8"), _LARGEST_SLIP_G)
    return line.target_g + line.balance.rounded(room_g * sevenths / 3)
