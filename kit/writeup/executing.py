"""Running the cells of a template in a kernel that is there, and refusing a run that would be recorded wrongly.

papermill runs the cells. What it lets pass is refused: parameters are checked before a kernel starts, and a run in
which one did not keep the value asked for is no run.
"""

from __future__ import annotations

import json
import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.errors import ParameterError, RunError
from kit.writeup.cells import source_of, tags_of
from kit.writeup.failures import cell_error, death_error, first_line, read_report, timeout_error
from kit.writeup.injection import with_parameters
from kit.writeup.slow_import import without_slow_imports

if TYPE_CHECKING:
    from kit.writeup.kernel_process import KernelProcess
    from kit.writeup.parameters import Declaration
    from kit.writeup.templates import TemplateFile

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Job:
    """A run that has passed its checks."""

    file: TemplateFile
    declaration: Declaration
    parameters: dict[str, Any]
    cwd: Path
    timeout_s: float
    progress: Progress | None

    @property
    def name(self) -> str:
        """Name of the template."""
        return self.declaration.template

    def number(self, index: int) -> int:
        """Number of a cell in the template, from 1, for its position in the notebook with the injected cell."""
        return index if index > self.declaration.cell else index + 1


def execute(kernel: KernelProcess, job: Job, at_work: threading.Event) -> Any:
    """Run the cells of a job in a kernel that was started for it; the notebook as the run left it.

    Parameters
    ----------
    kernel : KernelProcess   Ended by the caller.
    job : Job
    at_work : Event          Set when the first cell is about to run.

    Raises
    ------
    RunError         `template.kernel_start`, `.kernel_died`, `.timeout`, `.cell_failed`, `.stopped_early`, or the code
                     of a KitError inside a cell.
    ParameterError   `template.parameter_changed`.
    """
    notebook = _run(kernel, job, at_work)
    _check_finished(notebook, job)
    _check_parameters_kept(kernel, job)
    return notebook


def _run(kernel: KernelProcess, job: Job, at_work: threading.Event) -> Any:
    with without_slow_imports():  # the kernel comes up while these load
        import nbformat
        import papermill
        from nbclient.exceptions import CellTimeoutError, DeadKernelError
    logging.getLogger("papermill").addHandler(logging.NullHandler())  # what it says comes back as the error itself
    ready = json.dumps(with_parameters(job.file.notebook, job.declaration, job.parameters))
    notebook = nbformat.reads(ready, as_version=4)
    watch = _Watch(job, notebook.cells, at_work)
    kernel.client()
    try:
        executed = papermill.execute_notebook(
            notebook, None, kernel_name="python3", progress_bar=False, km=kernel, timeout_func=watch.seconds_left,
            on_cell_start=watch.at_cell, record_timing=False, store_widget_state=False, coalesce_streams=True,
            shutdown_kernel="immediate",
        )  # fmt: skip
    except papermill.PapermillExecutionError as error:
        raise _cell_error(kernel, job, watch, error) from None
    except CellTimeoutError:
        raise timeout_error(job.name, *watch.place(), job.timeout_s) from None
    except DeadKernelError:
        raise death_error(job.name, *watch.place(), kernel.exit_code()) from None
    except RuntimeError:
        if watch.started:
            raise
        raise kernel.start_error("could not be reached") from None
    watch.done()
    return executed


class _Watch:
    """Follows a run: which cell it is at, how much time is left, whom to tell."""

    def __init__(self, job: Job, cells: list[Any], at_work: threading.Event) -> None:
        self._job, self._cells, self._at_work = job, cells, at_work
        self._index = 0
        self._deadline = 0.0
        self.started = False

    def at_cell(self, cell: Any, cell_index: int) -> None:
        if not self.started:
            self.started, self._deadline = True, time.monotonic() + self._job.timeout_s
            self._at_work.set()
        self._index = cell_index
        self._tell(cell_index)

    def seconds_left(self, cell: Any) -> float:
        return max(0.01, self._deadline - time.monotonic())

    def place(self) -> tuple[int, Any]:
        """Number, in the template, and content of the cell the run is at."""
        return self.at(self._index)

    def at(self, index: int) -> tuple[int, Any]:
        """The same of a cell by its position in the notebook."""
        return self._job.number(index), self._cells[index]

    def done(self) -> None:
        self._tell(len(self._cells))

    def _tell(self, count: int) -> None:
        if self._job.progress:
            self._job.progress(count, len(self._cells))


def _cell_error(kernel: KernelProcess, job: Job, watch: _Watch, error: Any) -> RunError:
    said = kernel.ask("__import__('kit.writeup.kernel', fromlist=['*']).report_error()")
    number, cell = watch.at(error.cell_index)  # cells after one that is tagged to expect an error have run
    return cell_error(job.name, number, cell, read_report(said, error.ename, error.evalue))


def _check_finished(notebook: Any, job: Job) -> None:
    """Refuse a notebook with a cell that did not run, as after `exit()`, which papermill takes for success."""
    for index, cell in enumerate(notebook.cells):
        due = cell.cell_type == "code" and source_of(cell).strip() and "skip-execution" not in tags_of(cell)
        if due and cell.execution_count is None:
            raise RunError(
                f'The template "{job.name}" ended by itself before its last cell',
                where=f"cell {job.number(index)} did not run: {first_line(cell)}",
                mend="take exit() or sys.exit() out of the template",
                code="template.stopped_early",
            )


def _check_parameters_kept(kernel: KernelProcess, job: Job) -> None:
    """Refuse a run whose parameters at the end are not those that were asked for: its record would lie."""
    expression = f"__import__('kit.writeup.kernel', fromlist=['*']).report_values({list(job.parameters)!r})"
    try:
        ended_with = json.loads(kernel.ask(expression))
    except ValueError:
        raise RunError(
            f'The kernel of the template "{job.name}" could not be asked which parameters it ran with',
            mend="run it again",
            code="template.kernel_died",
        ) from None
    for name, asked in job.parameters.items():
        if json.dumps(ended_with[name]) != json.dumps(asked):
            raise ParameterError(
                f'The parameter "{name}" was asked to be {asked!r}, but the template ended with {ended_with[name]!r}',
                where=f'template "{job.name}"',
                mend=f'let no cell change "{name}"; use another name there',
                code="template.parameter_changed",
            )
