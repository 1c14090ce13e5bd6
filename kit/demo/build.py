"""Building the demo: two invented studies entered through the public calls, on an invented clock."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from importlib.resources import files
from pathlib import Path

from kit.bench.sheet import Sheet, plan_batch
from kit.demo.diary import Diary, DiaryClock, moment
from kit.demo.linden import HISTORY, LINDEN
from kit.demo.making import OPERATOR, Making, calibration_name, read_ph, read_viscosity
from kit.demo.plans import INVENTED, BatchPlan
from kit.errors import KitError
from kit.formula.files import load_formula
from kit.formula.formula import Formula
from kit.labbook.book import Labbook, new_labbook

FORMULA, READINGS, LABBOOK = "linden.toml", "linden_readings.csv", "linden.labbook"
_FILED = ("7 d",)  # ages whose readings come from the file
_BALANCES = [("BAL-1", "0.01 g"), ("BAL-2", "0.001 g")]
_SLOPES = (("98.4", "-2"), ("97.9", "1"), ("98.8", "-3"), ("97.6", "2"), ("98.1", "0"))  # % of Nernst, mV, in turn
_QUESTION = "How much cetearyl alcohol gives 15,000 to 25,000 mPa.s at 72 h without grain at 7 d?"


@dataclass(frozen=True, slots=True)
class DemoResult:
    """What the demo laid down: a folder with the lab book, the formula file and the file of readings."""

    folder: Path
    labbook: Path
    formula: Path
    readings: Path
    control: str = "LIN-03"
    other: str = "LIN-04"


def build_demo(folder: str | Path) -> DemoResult:
    """Build the linden study and its control history in a new folder. All data are invented.

    Parameters
    ----------
    folder : str or Path   Made when missing; must be empty otherwise.

    Raises
    ------
    KitError   `demo.exists` when the folder holds anything, `demo.folder` when it cannot be made.
    """
    folder = _fresh(Path(folder))
    made = DemoResult(folder, folder / LABBOOK, folder / FORMULA, folder / READINGS)
    try:
        for name in (FORMULA, READINGS):
            (folder / name).write_bytes(files("kit.demo").joinpath(name).read_bytes())
        with new_labbook(made.labbook, title=f"Linden example. {INVENTED}", clock=DiaryClock()) as book:
            _write(book, load_formula(made.formula), made.readings)
    except BaseException:
        _clear(made)
        raise
    return made


def base_changed(formula: Formula, plan: BatchPlan) -> Formula:
    """The formula a batch was made from: the base, or the base with one change."""
    if not plan.changes:
        return formula
    if plan.study == "LHC":  # the base came later than this version, so it is nobody's child
        return replace(formula.change(plan.changes, version="0.9"), parent="", why="")
    return formula.change(plan.changes, why=plan.why, version=f"1-{plan.trial[-2:]}")


def _write(book: Labbook, formula: Formula, readings: Path) -> None:
    clock = book.store.clock
    diary = Diary(clock)
    _open_studies(book, formula, diary)
    for plan in (*HISTORY, *LINDEN):
        _enter(book, _sheet(formula, plan), plan, diary)
    _calibrate(book, diary)
    diary.note(moment("2026-04-27 16:30"), lambda: book.import_readings(readings).commit())
    for plan in LINDEN:
        diary.note(
            moment("2026-04-27 17:00"),
            lambda plan=plan: book.batch(plan.name).decide(plan.verdict[0], why=plan.verdict[1], by=OPERATOR),
        )
    diary.run()


def _open_studies(book: Labbook, formula: Formula, diary: Diary) -> None:
    diary.note(moment("2026-03-30 07:30"), lambda: _instruments(book))
    diary.note(
        moment("2026-03-30 07:35"),
        lambda: book.new_study(
            "LHC",
            question="How much do batches of one version scatter?",
            spec=formula.spec,
            control="LHC-01",
            note=INVENTED,
        ),
    )
    diary.note(
        moment("2026-04-13 07:35"),
        lambda: book.new_study(
            "LIN", question=_QUESTION, spec=formula.spec, control="LIN-03", history=["LHC"], note=INVENTED
        ),
    )


def _instruments(book: Labbook) -> None:
    book.add_instrument("PH-1", kind="pH meter", note="glass electrode, temperature probe")
    book.add_instrument(
        "VIS-1",
        kind="viscometer",
        constants={"disc 3": 1000, "disc 4": 2000, "disc 5": 4000, "disc 6": 10000},
        note="rotational, disc spindles, no guard leg",
    )
    for name, division in _BALANCES:
        book.add_instrument(name, kind="balance", division=division)


def _sheet(formula: Formula, plan: BatchPlan) -> Sheet:
    return plan_batch(base_changed(formula, plan), "400 g", balances=_BALANCES)


def _enter(book: Labbook, sheet: Sheet, plan: BatchPlan, diary: Diary) -> None:
    making = Making(book, sheet, plan)
    making.enter(diary)
    filed = _FILED if plan.study == "LIN" else ()
    diary.note(plan.ends + timedelta(minutes=58), lambda: read_ph(making.batch, plan.ends, plan.ph[0]))
    for age, value in zip(("24 h", "7 d"), plan.ph[1:], strict=True):
        if age not in filed:
            diary.note(plan.at(age, 12), lambda age=age, value=value: read_ph(making.batch, plan.at(age), value))
    for reading in plan.viscosities:
        if reading.age not in filed:
            diary.note(
                plan.at(reading.age, 2 + reading.after_min),
                lambda reading=reading: read_viscosity(making.batch, reading),
            )
    if not filed:
        diary.note(plan.at("7 d", 20), lambda: making.batch.observe("grain", plan.grain))
        diary.note(plan.at("7 d", 25), lambda: making.batch.decide(plan.verdict[0], why=plan.verdict[1], by=OPERATOR))


def _calibrate(book: Labbook, diary: Diary) -> None:
    """A calibration in the morning of every day on which a pH was read."""
    for number, day in enumerate(sorted(measuring_days())):
        slope, offset = _SLOPES[number % len(_SLOPES)]
        diary.note(
            moment(f"{day:%Y-%m-%d} 07:45"),
            lambda day=day, slope=slope, offset=offset: book.calibrate(
                "PH-1",
                calibration_name(day),
                slope_pct=slope,
                offset_mv=offset,
                buffers=["4.01", "7.00"],
                temp="25.0 degC",
            ),
        )


def measuring_days() -> set[datetime]:
    """The days, at midnight, on which a pH was read."""
    moments = [when for plan in (*HISTORY, *LINDEN) for when in (plan.ends, plan.at("24 h"), plan.at("7 d"))]
    return {when.replace(hour=0, minute=0) for when in moments}


def _fresh(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        taken = next(folder.iterdir(), None)
    except OSError as problem:
        raise KitError(
            f"the folder {str(folder)!r} cannot be made: {problem.strerror}",
            mend="name a folder you may write to",
            code="demo.folder",
        ) from None
    if taken is not None:
        raise KitError(
            f"the folder {str(folder)!r} is not empty",
            where=f"it holds {taken.name}",
            mend="name a new folder; nothing is overwritten",
            code="demo.exists",
        )
    return folder


def _clear(made: DemoResult) -> None:
    """Take away what an interrupted build left, and nothing else: the folder was empty before."""
    for item in made.folder.iterdir():
        shutil.rmtree(item) if item.is_dir() else item.unlink()
