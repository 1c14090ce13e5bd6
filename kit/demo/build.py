"""Building a demo: invented studies entered through the public calls, on an invented clock."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from importlib.resources import files
from pathlib import Path

from kit.bench.sheet import Sheet, plan_batch
from kit.demo.calendula import CALENDULA
from kit.demo.chamomile import CHAMOMILE
from kit.demo.diary import Diary, DiaryClock, moment
from kit.demo.green_tea import GREEN_TEA
from kit.demo.hibiscus import HIBISCUS
from kit.demo.keeping import enter_keeping, enter_panel, enter_plan, plan_of
from kit.demo.linden import LINDEN
from kit.demo.making import OPERATOR, Making
from kit.demo.nettle import NETTLE
from kit.demo.plans import INVENTED, Adding, BatchPlan, Opening, Process, StudyPlan
from kit.errors import KitError
from kit.formula.composition import Step
from kit.formula.files import load_formula
from kit.formula.formula import Formula
from kit.labbook.batch import Batch
from kit.labbook.book import Labbook, new_labbook
from kit.show import Fielded
from kit.workfolder.fresh import clear, make_empty

STUDIES = {plan.name: plan for plan in (LINDEN, CALENDULA, CHAMOMILE, HIBISCUS, NETTLE, GREEN_TEA)}
_BALANCES = [("BAL-1", "0.01 g"), ("BAL-2", "0.001 g")]
_SLOPES = (("98.4", "-2"), ("97.9", "1"), ("98.8", "-3"), ("97.6", "2"), ("98.1", "0"))  # % of Nernst, mV, in turn


@dataclass(frozen=True, slots=True, repr=False)
class DemoResult(Fielded):
    """What the demo laid down: a folder with the lab book, the formula file and the file of readings.

    `control` and `other` are a pair to look at; `compared` are the trials of the study, the control first.
    """

    folder: Path
    labbook: Path
    formula: Path
    readings: Path
    control: str = "LIN-03"
    other: str = "LIN-04"
    compared: tuple[str, ...] = ("LIN-03", "LIN-04")


def build_demo(folder: str | Path, study: str = LINDEN.name) -> DemoResult:
    """Build an invented study in a new folder: its formula, its file of readings, its lab book.

    Parameters
    ----------
    folder : str or Path   Made when missing; must be empty otherwise.
    study : str            "linden", a level series with its control history; "calendula", a thickener swap;
                           "chamomile", an amidoamine and its acid; "hibiscus", preservatives and pH; "nettle", one
                           formula made in several ways; "green-tea", a mixture of three parts.

    Raises
    ------
    KitError   `demo.study` for a study that is not there, `demo.exists` when the folder holds anything, `demo.folder`
               when it cannot be made.
    """
    plan = study_plan(study)
    folder = Path(folder)
    was_there = make_empty(folder, taken="demo.exists", cannot="demo.folder")
    made = DemoResult(
        folder,
        folder / f"{plan.name}.labbook",
        folder / f"{plan.name}.toml",
        folder / plan.readings,
        *plan.compared[:2],
        plan.compared,
    )
    try:
        for path, shipped in ((made.formula, plan.formula), (made.readings, plan.readings)):
            path.write_bytes(files("kit.demo").joinpath(shipped).read_bytes())
        title, clock = f"{plan.name.capitalize()} example. {INVENTED}", DiaryClock(_first_morning(plan))
        with new_labbook(made.labbook, title=title, clock=clock) as book:
            _write(book, load_formula(made.formula), made.readings, plan)
    except BaseException:
        clear(folder, was_there)
        raise
    return made


def study_plan(name: str) -> StudyPlan:
    """The plan of an invented study by name.

    Raises
    ------
    KitError   `demo.study` with the studies there are.
    """
    if name not in STUDIES:
        raise KitError(
            f"there is no invented study {name!r}",
            allowed=", ".join(STUDIES),
            mend="name one of these",
            code="demo.study",
        )
    return STUDIES[name]


def base_changed(formula: Formula, plan: BatchPlan, planned: Mapping[str, Formula] | None = None) -> Formula:
    """The formula a batch was made from: the base, or the base with one change of its lines or of its making.

    Parameters
    ----------
    formula : Formula   The base.
    plan : BatchPlan    What is changed.
    planned : mapping   Fingerprint to formula of the plan of the trials: what was planned is made as it was planned.
    """
    made = _changed(formula, plan)
    return (planned or {}).get(made.fingerprint, made)


def _changed(formula: Formula, plan: BatchPlan) -> Formula:
    if plan.study == "LHC":  # the base came later than this version, so it is nobody's child
        return replace(formula.change(plan.changes, version="0.9"), parent="", why="")
    version = f"1-{plan.trial[-2:]}"
    changed = formula.change(plan.changes, why=plan.why, version=version) if plan.changes else formula
    steps = _steps_of(formula.steps, plan)
    if steps == formula.steps:
        return changed
    return replace(changed, steps=steps) if plan.changes else formula.with_steps(steps, why=plan.why, version=version)


def _steps_of(steps: tuple[Step, ...], plan: BatchPlan) -> tuple[Step, ...]:
    """The steps of the base with what the plan does in another way."""
    made = tuple(_processed(step, plan.process) for step in steps) if plan.process else steps
    return _steps_with(made, plan.adding) if plan.adding else made


def _processed(step: Step, process: Process) -> Step:
    """A step of homogenising or cooling as the process has it; any other as it is."""
    if step.do == "combine":
        return replace(step, rpm=Decimal(process.rpm), minutes=Decimal(process.hold_min))
    if step.do == "cool" and process.cooled:
        return replace(step, temp_c=Decimal(process.cool_c), minutes=Decimal(process.cool_min), text=process.cooled)
    return step


def _steps_with(steps: tuple[Step, ...], adding: Adding) -> tuple[Step, ...]:
    """The steps with the cool-down phase added in another way: hot, it goes in straight after the pour."""
    if not adding.planned:
        return steps
    (usual,) = [step for step in steps if step.do == "add"]
    added = replace(usual, temp_c=Decimal(adding.temp), text=adding.planned)
    if not adding.hot:
        return tuple(added if step is usual else step for step in steps)
    rest = [step for step in steps if step is not usual]
    poured = next(index for index, step in enumerate(rest) if step.do == "combine")
    return (*rest[: poured + 1], added, *rest[poured + 1 :])


def _write(book: Labbook, formula: Formula, readings: Path, plan: StudyPlan) -> None:
    diary = Diary(book.store.clock)
    diary.note(_first_morning(plan), lambda: _shelf(book, plan))
    for opening in plan.openings:
        diary.note(moment(opening.opened), lambda opening=opening: _open(book, formula, opening, plan))
    planned: dict[str, Formula] = {}
    if plan.planned:
        trials = plan_of(formula, plan.planned)
        planned = {version.key: version.formula for version in trials.versions}
        enter_plan(book, plan, trials, diary)
    for batch in plan.batches:
        _enter(Making(book, _sheet(formula, batch, planned), batch, plan), diary)
    _calibrate(book, diary, plan)
    for kept in plan.keepings:
        enter_keeping(book, formula, kept, plan, diary)
    for served in plan.panels:
        enter_panel(book, served, diary)
    for when in plan.imported_before:
        diary.note(moment(when), lambda when=when: _take_in(book, readings, moment(when)))
    diary.note(moment(plan.imported), lambda: book.import_readings(readings).commit())
    for batch in plan.batches:
        if batch.study == plan.study:
            diary.note(moment(plan.decided), lambda batch=batch: _decide(book.batch(batch.name), batch))
    diary.run()


def _first_morning(plan: StudyPlan) -> datetime:
    """Five minutes before the first study is opened."""
    return min(moment(opening.opened) for opening in plan.openings) - timedelta(minutes=5)


def _take_in(book: Labbook, readings: Path, until: datetime) -> None:
    """The file of readings as it stood at a moment: what was measured until then."""
    with readings.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with tempfile.TemporaryDirectory() as folder:
        so_far = Path(folder) / readings.name
        with so_far.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, rows[0].keys())
            writer.writeheader()
            writer.writerows(row for row in rows if datetime.fromisoformat(row["measured_at"]) <= until)
        book.import_readings(so_far).commit()


def _open(book: Labbook, formula: Formula, opening: Opening, plan: StudyPlan) -> None:
    book.new_study(
        opening.name,
        question=opening.question,
        spec=(*formula.spec, *plan.asked),
        control=opening.control,
        methods=plan.methods,
        history=opening.history,
        note=INVENTED,
    )


def _shelf(book: Labbook, plan: StudyPlan) -> None:
    """Instruments, and the solutions that stand ready."""
    book.add_instrument("PH-1", kind="pH meter", note="glass electrode, temperature probe")
    book.add_instrument(
        "VIS-1",
        kind="viscometer",
        constants={"disc 3": 1000, "disc 4": 2000, "disc 5": 4000, "disc 6": 10000},
        note="rotational, disc spindles, no guard leg",
    )
    for name, division in _BALANCES:
        book.add_instrument(name, kind="balance", division=division)
    for name, kind in plan.instruments.items():
        book.add_instrument(name, kind=kind)
    for stock in plan.stocks:
        book.make_stock(
            stock.material,
            stock.lot,
            strength=stock.strength,
            made_on=stock.made_on,
            expiry=stock.expiry,
            from_lots=stock.from_lots,
            note=stock.note,
        )


def _sheet(formula: Formula, plan: BatchPlan, planned: Mapping[str, Formula]) -> Sheet:
    return plan_batch(base_changed(formula, plan, planned), plan.mass, balances=_BALANCES)


def _enter(making: Making, diary: Diary) -> None:
    """One batch: its making, then what was read and seen at each age, but for what the file brings."""
    plan, study = making.plan, making.study
    making.enter(diary)
    filed = study.filed_ages(plan)
    for acidity in plan.acidities:
        if acidity.age not in filed:
            making.read_ph(acidity, diary)
    for reading in plan.viscosities:
        if reading.age not in filed:
            making.read_viscosity(reading, diary)
    for sweep in plan.sweeps:
        making.read_sweep(sweep, diary)
    for density in plan.densities:
        making.read_density(density, diary)
    for age, name, word, *note in plan.seen:
        when, words = plan.at(age, 20), "".join(note)
        diary.note(when, lambda name=name, word=word, words=words: making.reopened().observe(name, word, note=words))
    if not filed:
        when = moment(plan.decided) if plan.decided else plan.at("7 d", 25)
        diary.note(when, lambda: _decide(making.reopened(), plan))


def _decide(batch: Batch, plan: BatchPlan) -> None:
    batch.decide(plan.verdict[0], why=plan.verdict[1], by=OPERATOR)


def _calibrate(book: Labbook, diary: Diary, plan: StudyPlan) -> None:
    """A calibration in the morning of every day on which a pH was read, and those that were made again later."""
    for number, day in enumerate(sorted(plan.measuring_days())):
        slope, offset = _SLOPES[number % len(_SLOPES)]
        diary.note(
            moment(f"{day:%Y-%m-%d} 07:45"),
            lambda day=day, slope=slope, offset=offset: book.calibrate(
                "PH-1",
                plan.morning_calibration(day),
                slope_pct=slope,
                offset_mv=offset,
                buffers=plan.buffers,
                temp="25.0 degC",
            ),
        )
    for again in plan.recalibrations:
        diary.note(
            moment(again.when),
            lambda again=again: book.calibrate(
                "PH-1",
                again.name,
                slope_pct=again.slope or None,
                offset_mv=again.offset or None,
                buffers=again.buffers,
                millivolts=again.millivolts,
                temp="25.0 degC",
                note=again.note,
            ),
        )
        if again.closed:
            when, buffer, read = again.closed
            diary.note(
                moment(when),
                lambda name=again.name, buffer=buffer, read=read: book.close_calibration(
                    name, buffer=buffer, read=read, temp="25.0 degC"
                ),
            )
