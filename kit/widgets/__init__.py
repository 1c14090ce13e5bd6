"""What is touched at the bench: thin skins over the calls of a batch and of a comparison.

Every weighing and reading goes to the lab book when its cell is left, every step of making when its button is pressed;
a form is always built from the lab book. A plan of trials goes there when its button is pressed. A cooling clock
belongs here too and does not exist yet.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kit.formula.formula import Formula
    from kit.labbook.batch import Batch
    from kit.labbook.book import Labbook
    from kit.widgets.entry_table import EntryTable
    from kit.widgets.plan_table import PlanTable
    from kit.widgets.trial_picker import TrialPicker

__all__ = ["making_table", "planning_table", "readings_table", "trial_picker", "weighing_table"]


def weighing_table(batch: Batch) -> EntryTable:
    """A table to type weighings into: lot, balance and mass of every line of the sheet.

    Parameters
    ----------
    batch : Batch   Open, from `start_batch` or `book.batch(name)`.

    Returns
    -------
    EntryTable   Shows itself in JupyterLab; `.form.commit(row, column, text)` does the same without a screen.
    """
    from kit.widgets.entry_table import EntryTable
    from kit.widgets.weighing_form import WeighingForm

    return EntryTable(WeighingForm(batch))


def making_table(batch: Batch) -> EntryTable:
    """A table to type into what was done: combining, cooling, additions, losses, water, adjusters, the end of making.

    Parameters
    ----------
    batch : Batch   As for `weighing_table`; the steps are those of its formula.

    Returns
    -------
    EntryTable   As `weighing_table`.
    """
    from kit.widgets.entry_table import EntryTable
    from kit.widgets.making_form import MakingForm

    return EntryTable(MakingForm(batch))


def readings_table(batch: Batch, *, operator: str = "") -> EntryTable:
    """A table to type readings and observations into, method by method, with the conditions each method needs.

    Parameters
    ----------
    batch : Batch      The batch that was measured.
    operator : str     Who reads; kept with every reading.

    Returns
    -------
    EntryTable   As `weighing_table`.
    """
    from kit.widgets.entry_table import EntryTable
    from kit.widgets.readings_form import ReadingsForm

    return EntryTable(ReadingsForm(batch, operator=operator))


def planning_table(book: Labbook, formula: Formula, *, study: str = "") -> PlanTable:
    """A table to type a plan into: factors, levels, days; the plan and what it can tell follow at once.

    Parameters
    ----------
    book : Labbook      Open; a button keeps the plan there.
    formula : Formula   What is varied.
    study : str         The study; the only one when omitted.

    Raises
    ------
    RecordError   `labbook.study`.
    """
    from kit.widgets.plan_form import PlanForm
    from kit.widgets.plan_table import PlanTable

    return PlanTable(PlanForm(book, formula, study=study))


def trial_picker(source: object, study: str = "") -> TrialPicker:
    """Check boxes for the trials of a study, with the side-by-side table and the charts of those that are ticked.

    Parameters
    ----------
    source : Labbook, Source, str or Path   What `kit.open_source` takes.
    study : str                             A study by name; the only one when omitted.

    Raises
    ------
    RecordError   `labbook.study`, and those of `open_source`.
    """
    from kit.widgets.picker_form import PickerForm
    from kit.widgets.trial_picker import TrialPicker

    return TrialPicker(PickerForm(source, study))
