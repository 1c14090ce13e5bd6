"""A demo told step by step: what was made or what the review stops, what the comparison says, where the pages are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from kit.bench.air_flag import air_spoils
from kit.demo.build import DemoResult, build_demo, study_plan
from kit.demo.calendula import CALENDULA
from kit.demo.chamomile import CHAMOMILE
from kit.demo.green_tea import BOUNDS, GREEN_TEA
from kit.demo.hibiscus import HIBISCUS
from kit.demo.linden import LINDEN
from kit.demo.nettle import NETTLE, SETTINGS
from kit.demo.plans import INVENTED, StudyPlan
from kit.demo.tour_learned import (
    effects_told,
    first_plan,
    kept_told,
    mixture_told,
    next_told,
    panel_told,
    planned_and_made,
)
from kit.formula.files import load_formula
from kit.labbook.batch_entries import reading_of
from kit.labbook.book import Labbook, open_labbook
from kit.labbook.ledger import CORRECTION, effective
from kit.show import Table, listing
from kit.trials.results import FLAGGED
from kit.units import plain

if TYPE_CHECKING:
    from kit.labbook.batch import Batch
    from kit.trials.compare import Comparison
    from kit.trials.results import ArmResult

Say = Callable[[str], object]
_FIRST_RULES = 3  # findings of the review told in the terminal, the worst first


def tour(
    folder: str | Path,
    say: Say,
    progress: Callable[[int, int], None] | None = None,
    *,
    study: str = LINDEN.name,
) -> DemoResult:
    """Build a demo in a new folder and run the main job on it.

    Parameters
    ----------
    folder : str or Path   As in `build_demo`, with its errors.
    say : callable         Takes each piece of text.
    progress : callable    Told (cells done, cells in all) while the pages are made.
    study : str            "linden", "calendula", "chamomile", "hibiscus", "nettle" or "green-tea".
    """
    plan = study_plan(study)
    say(f"{INVENTED}\n\nEntering the {plan.name} study into a new lab book ...")
    made = build_demo(folder, plan.name)
    with open_labbook(made.labbook) as book:
        _CHAPTERS[plan.name](book, made, say)
        say("\nWriting up ...")
        pages = _pages(book, made, plan, progress)
    say(_where(made, pages))
    return made


def _linden(book: Labbook, made: DemoResult, say: Say) -> None:
    batch = book.batch(f"{made.control}/1")
    say(
        "\n1. What was weighed, lost, taken out and poured in gives what was made; one call proposes the next.\n\n"
        f"{batch.view.made.balance_table()}\n\n{_proposed(batch)}"
    )
    say(f"\n2. {made.control} against {made.other}: is it real?\n\n{_narrow(_compared(book, made))}")


def _calendula(book: Labbook, made: DemoResult, say: Say) -> None:
    say(
        "\n1. What the review says of CAL-05, xanthan beside a quaternary, before anything is weighed:\n\n"
        f"{_worst(book, 'CAL-05')}"
    )
    found = _compared(book, made)
    say(
        f"\n2. Five thickeners against {made.control}: which brings slip, and what may not be compared?\n\n"
        f"{_narrow(found)}\n\n{found.not_used_table()}"
    )


def _chamomile(book: Labbook, made: DemoResult, say: Say) -> None:
    say(
        "\n1. What the review says of CHA-01, an amidoamine short of acid, before anything is weighed:\n\n"
        f"{_worst(book, 'CHA-01')}"
    )
    found = _compared(book, made, properties=["pH"])
    say(
        f"\n2. Five levels and forms of lactic acid against {made.control}: where does the pH end, and which reading "
        f"was voided?\n\n{_narrow(found)}\n\n{found.not_used_table()}"
    )


def _hibiscus(book: Labbook, made: DemoResult, say: Say) -> None:
    say(
        "\n1. What the review says of HIB-06, its preservatives added to the hot batch, before anything is weighed:\n\n"
        f"{_worst(book, 'HIB-06')}"
    )
    found = _compared(book, made)
    say(
        f"\n2. Three ways to preserve and a series of pH against {made.control}: what may be said without a control of "
        f"the same day?\n\n{_narrow(found)}\n\n{found.not_used_table()}"
    )


def _nettle(book: Labbook, made: DemoResult, say: Say) -> None:
    say(
        "\n1. Speed (combine rpm) and hold (combine minutes) were spread over three days. What did the bench make of "
        "it?\n\n"
        f"{planned_and_made(book, NETTLE.study)}"
    )
    say(
        "\n2. What the densities say of the jars of NET-02, made fast, whose vortex drew air:\n\n"
        f"{_air(book, 'NET-02/1')}"
    )
    found = _compared(book, made, properties=["viscosity"])
    say(
        f"\n3. Speed, hold and shock cooling against {made.control}, the middle: what came out of one formula?\n\n"
        f"{_narrow(found)}\n\n{_set_aside(found)}"
    )
    say(
        "\n4. Speed and hold together, NET-08 kept back as it was cooled in another way: what does each do?\n\n"
        f"{effects_told(book, NETTLE.study, SETTINGS, ['NET-08'])}"
    )


def _green_tea(book: Labbook, made: DemoResult, say: Say) -> None:
    say(
        "\n1. A first plan let cetrimonium chloride go to 3.0 % active. What the review said before anything was "
        f"weighed:\n\n{first_plan(load_formula(made.formula))}\n\nThe bounds were drawn in further, by hand. The plan "
        f"that was kept, and what was made of it:\n\n{planned_and_made(book, GREEN_TEA.study)}"
    )
    say(
        "\n2. What was said when a torque of TEA-06 was typed with its point in the wrong place, and what became of "
        f"it:\n\n{_slips(book, 'TEA-06/1')}"
    )
    found = _compared(book, made, properties=["viscosity", "wet-combing force"])
    say(f"\n3. Seven ways to share out 7.00 % of active matter, and {made.control} inside:\n\n{_narrow(found)}")
    say(
        "\n4. The mixture of the first eight batches: does it foretell TEA-09, which was kept back?\n\n"
        f"{mixture_told(book, GREEN_TEA.study, BOUNDS, ['TEA-09'])}"
    )
    say(
        "\n5. What would have been made next before TEA-09, had the kit been asked?\n\n"
        f"{next_told(book, GREEN_TEA.study, BOUNDS, ['TEA-09'])}"
    )
    (panel,), (kept,) = GREEN_TEA.panels, GREEN_TEA.keepings
    say(
        "\n6. Can a panel tell TEA-09 from TEA-02, the dearest, and does the chosen point keep?\n\n"
        f"{panel_told(book, panel.name)}\n\n{kept_told(book, kept.study)}"
    )


_CHAPTERS: dict[str, Callable[[Labbook, DemoResult, Say], None]] = {
    LINDEN.name: _linden,
    CALENDULA.name: _calendula,
    CHAMOMILE.name: _chamomile,
    HIBISCUS.name: _hibiscus,
    NETTLE.name: _nettle,
    GREEN_TEA.name: _green_tea,
}


def _worst(book: Labbook, trial: str) -> str:
    """The worst that the review says of a trial's formula, a line a finding."""
    findings = book.trial(trial).formula.review().findings[:_FIRST_RULES]
    return "\n".join(f"{finding.severity}: {finding.words}" for finding in findings)


def _air(book: Labbook, batch: str) -> str:
    """The air in the jar of each viscosity of a batch, and what follows for the reading."""
    source = book.source()
    view, told = source.batch(batch), []
    study = source.study(view.study)
    for reading in view.readings:
        if air_spoils(reading) and (air := source.air(reading, study)):
            flags = source.flags(reading, study)
            state = f"FLAGGED {', '.join(flag.code for flag in flags)}" if flags else "counts"
            told.append(f"{plain(reading.value)} {reading.unit}, {state}: {air.words}")
    return "\n".join(told)


def _slips(book: Labbook, batch: str) -> str:
    """Every reading of a batch that was put right: its flags as it was typed, and the reason for the correction."""
    source = book.source()
    view, told = source.batch(batch), []
    study = source.study(view.study)
    put_right = {item.seq: item.why_corrected for item in view.effective if item.corrected_by}
    for item in effective(entry for entry in view.entries if entry.kind != CORRECTION):
        if item.kind == "reading" and item.seq in put_right:
            told += [
                f"FLAGGED {flag.code}: {flag.words}"
                for flag in source.flags(reading_of(item, view.name, view.finished_at), study)
            ]
            told.append(f"Entry {item.seq} put right: {put_right[item.seq]}")
    return "\n".join(told)


def _proposed(batch: Batch) -> Table:
    following = batch.as_next_version(
        why="carries the citric acid forward; slips at the balance stay out", carry="adjusters"
    )
    return following.table()


def _compared(book: Labbook, made: DemoResult, properties: Sequence[str] | None = None) -> Comparison:
    from kit.trials.compare import compare

    return compare(book, made.compared, control=made.control, properties=properties)


def _narrow(found: Comparison) -> Table:
    """The comparison in a table narrow enough for a terminal; the page has it whole."""
    from kit.trials.tables import mean_text

    rows = [
        (result.title, arm.arm_label, mean_text(result, arm), str(arm.n_batches), arm.verdict or "–", _against(arm))
        for result in found.results
        for arm in result.arms
    ]
    columns = ("property, age", "trials", "mean", "batches", "spec", "against the control")
    return Table(columns, rows, note="\n".join(found.notes), numeric=frozenset({2, 3}))


def _set_aside(found: Comparison) -> str:
    """What is in no mean: flagged readings with the reason, the others counted; the page has each."""
    told = [f"{one.batch}, {one.value:.0f}: {one.state}, {one.words}" for one in found.not_used if one.state == FLAGGED]
    others = Counter(one.batch for one in found.not_used if one.state != FLAGGED)
    told += [f"{batch}: {count} readings under other conditions than the method's" for batch, count in others.items()]
    return str(listing("Shown on the page, and in no mean", told))


def _against(arm: ArmResult) -> str:
    """The difference to the control with its interval, or why there is none."""
    told = arm.difference
    if told is None:
        return arm.difference_why or "the control"
    interval = "single batch" if told.low is None else f"95 %: {told.low:.3g} to {told.high:.3g}"
    return f"{told.verdict}: {told.kind} {told.value:.3g} ({interval})"


def _pages(
    book: Labbook, made: DemoResult, study: StudyPlan, progress: Callable[[int, int], None] | None
) -> dict[Path, str]:
    """The pages that are written, and what each holds."""
    from kit.writeup.stability_page import write_stability
    from kit.writeup.write_up import write_comparison, write_up

    to = made.folder / "writeups"
    trial = write_up(book, made.control, to=to, progress=progress)
    pair = write_comparison(book, list(made.compared), control=made.control, to=to, progress=progress)
    beside = f"{made.control} beside {', '.join(made.compared[1:])}"
    pages = {trial.page: f"the write-up of {made.control}", pair.page: beside}
    for kept in study.keepings:
        page = write_stability(book, kept.study, to=to, name=kept.study)
        pages[page.written.page] = f"how {kept.batch} keeps; the pulls lie beside it as a calendar"
    return pages


def _where(made: DemoResult, pages: Mapping[Path, str]) -> str:
    listed = "\n".join(f"  {page}   {what}" for page, what in pages.items())
    return f"""
Open in a browser (no network needed):
{listed}

Also in {made.folder}:
  {made.labbook.name}   the lab book
  {made.formula.name}   the formula file: copy it, change it to yours, then: kit review yours.toml
  {made.readings.name}   a file of readings, as kit import takes it

Next, with your own formula: the ten minutes in README.md.
{INVENTED}"""
