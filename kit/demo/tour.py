"""The demo told step by step: meant and made, what is proposed, what the comparison says, where the pages are."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from kit.demo.build import DemoResult, build_demo
from kit.demo.plans import INVENTED
from kit.labbook.book import Labbook, open_labbook
from kit.show import Table

if TYPE_CHECKING:
    from kit.labbook.batch import Batch
    from kit.trials.results import ArmResult


def tour(
    folder: str | Path, say: Callable[[str], object], progress: Callable[[int, int], None] | None = None
) -> DemoResult:
    """Build the demo in a new folder and run the main job on it.

    Parameters
    ----------
    folder : str or Path   As in `build_demo`, with its errors.
    say : callable         Takes each piece of text.
    progress : callable    Told (cells done, cells in all) while the pages are made.
    """
    say(f"{INVENTED}\n\nEntering two invented studies into a new lab book ...")
    made = build_demo(folder)
    with open_labbook(made.labbook) as book:
        batch = book.batch(f"{made.control}/1")
        say(
            "\n1. What was weighed, lost, taken out and poured in gives what was made; one call proposes the next.\n\n"
            f"{batch.view.made.balance_table()}\n\n{_proposed(batch)}"
        )
        say(f"\n2. {made.control} against {made.other}: is it real?\n\n{_compared(book, made)}")
        say("\n3. Writing up ...")
        pages = _pages(book, made, progress)
    say(_where(made, pages))
    return made


def _proposed(batch: Batch) -> Table:
    following = batch.as_next_version(
        why="carries the citric acid forward; slips at the balance stay out", carry="adjusters"
    )
    return following.table()


def _compared(book: Labbook, made: DemoResult) -> Table:
    """The comparison in a table narrow enough for a terminal; the page has it whole."""
    from kit.trials.compare import compare
    from kit.trials.tables import mean_text

    found = compare(book, [made.control, made.other], control=made.control)
    rows = [
        (result.title, arm.arm_label, mean_text(result, arm), str(arm.n_batches), arm.verdict or "–", _against(arm))
        for result in found.results
        for arm in result.arms
    ]
    columns = ("property, age", "trials", "mean", "batches", "spec", "against the control")
    return Table(columns, rows, note="\n".join(found.notes), numeric=frozenset({2, 3}))


def _against(arm: ArmResult) -> str:
    """The difference to the control with its interval, or why there is none."""
    told = arm.difference
    if told is None:
        return arm.difference_why or "the control"
    interval = "single batch" if told.low is None else f"95 %: {told.low:.3g} to {told.high:.3g}"
    return f"{told.verdict}: {told.kind} {told.value:.3g} ({interval})"


def _pages(book: Labbook, made: DemoResult, progress: Callable[[int, int], None] | None) -> tuple[Path, Path]:
    from kit.writeup.write_up import write_comparison, write_up

    to = made.folder / "writeups"
    trial = write_up(book, made.control, to=to, progress=progress)
    pair = write_comparison(book, [made.control, made.other], control=made.control, to=to, progress=progress)
    return trial.page, pair.page


def _where(made: DemoResult, pages: tuple[Path, Path]) -> str:
    return f"""
Open in a browser (no network needed):
  {pages[0]}   the write-up of {made.control}
  {pages[1]}   {made.control} beside {made.other}

Also in {made.folder}:
  {made.labbook.name}   the lab book
  {made.formula.name}   the formula file: copy it, change it to yours, then: kit review yours.toml
  {made.readings.name}   a file of readings, as kit import takes it

Next, with your own formula: the ten minutes in README.md.
{INVENTED}"""
