"""Running a template: strict before, in a fresh kernel, and in canonical form after.

papermill runs the cells. What it lets pass is refused here: unknown, missing and wrongly typed parameters before a
kernel starts, and a run in which a parameter did not keep the value asked for.
"""

from __future__ import annotations

import json
import logging
import re
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from kit.errors import ParameterError, RunError
from kit.show import Fielded
from kit.writeup.canonical import canonical, canonical_text, package_versions
from kit.writeup.cells import source_of, tags_of
from kit.writeup.failures import (
    cell_error,
    death_error,
    first_line,
    read_report,
    timeout_error,
)
from kit.writeup.injection import with_parameters
from kit.writeup.kernel_process import KernelProcess
from kit.writeup.parameters import Declaration, check_parameters, read_declaration
from kit.writeup.slow_import import without_slow_import
from kit.writeup.templates import (
    TemplateFile,
    find_template,
    list_templates,
    read_template,
)

__all__ = ["Executed", "canonical_text", "find_template", "list_templates", "run_template"]

Progress = Callable[[int, int], None]
_FROM_KIT = re.compile(r"^from (kit(?:\.\w+)+) import ", re.MULTILINE)


@dataclass(frozen=True, repr=False)
class Executed(Fielded):
    """A finished run.

    `notebook` is the executed notebook in canonical form; `parameters` holds every declared parameter with the value
    it had; `seconds` is what the run took and is in nothing that is shared.
    """

    notebook: Any
    template: str
    template_sha256: str
    parameters: Mapping[str, Any]
    seconds: float


@dataclass(frozen=True)
class _Job:
    """A run that has passed its checks."""

    file: TemplateFile
    declaration: Declaration
    parameters: dict[str, Any]
    cwd: Path
    timeout_s: float
    progress: Progress | None

    @property
    def name(self) -> str:
        return self.declaration.template

    def number(self, index: int) -> int:
        """Number of a cell in the template, from 1, for its position in the notebook with the injected cell."""
        return index if index > self.declaration.cell else index + 1


def run_template(
    template: str | Path,
    parameters: Mapping[str, Any],
    *,
    workdir: str | Path | None = None,
    timeout_s: float = 300,
    progress: Progress | None = None,
    from_text: bool = False,
) -> Executed:
    """Run a template in a fresh kernel and return the executed notebook.

    Parameters
    ----------
    template : str or Path   Name of one of the kit's templates, or the path of a lab's own.
    parameters : mapping     Name to value; `source` at least.
    workdir : path           Folder the cells run in, where relative paths start. Default: the current one.
    timeout_s : float        Longest time all cells together may take. [s]
    progress : callable      Called with (cells done, cells in all) before each cell and at the end, from the run's own
                             thread; what it raises ends the run.
    from_text : bool         True where the values were typed on a command line.

    Raises
    ------
    ParameterError   Before a kernel starts: see `check_parameters` and `read_declaration`.
    RunError         `template.unknown`, `.unreadable`, `.workdir`, `.kernel_start`, `.kernel_died`, `.timeout`,
                     `.cell_failed`, `.stopped_early`, `.parameter_changed`; a KitError inside a cell comes back as a
                     RunError with that error's own words and code.
    """
    began = time.monotonic()
    file = read_template(find_template(template))
    declaration = read_declaration(file.notebook)
    checked = check_parameters(declaration, parameters, from_text=from_text)
    job = _Job(file, declaration, checked, _folder(workdir), timeout_s, progress)
    notebook = canonical(_run(job), _block(job))
    return Executed(notebook, declaration.template, file.sha256, checked, time.monotonic() - began)


def _folder(workdir: str | Path | None) -> Path:
    folder = Path.cwd() if workdir is None else Path(workdir).absolute()
    if not folder.is_dir():
        raise RunError(f'The folder to run in, "{workdir}", does not exist', mend="create it", code="template.workdir")
    return folder


def _block(job: _Job) -> dict[str, Any]:
    return {
        "template": job.name,
        "title": job.declaration.title,
        "question": job.declaration.question,
        "layout": job.declaration.layout,
        "template_sha256": job.file.sha256,
        "parameters": job.parameters,
        "packages": package_versions(),
    }


def _run(job: _Job) -> Any:
    """The executed notebook, run in a thread of its own: the caller's event loop is neither needed nor touched."""
    attempts = _Attempts(job)
    with ThreadPoolExecutor(max_workers=1, thread_name_prefix="kit-run") as pool:
        future = pool.submit(attempts.run)
        try:
            while not future.done():
                wait([future], timeout=0.2)  # in short steps, so that an interrupt gets through on every system
        except BaseException:
            attempts.stop()
            raise
    return future.result()


def _imports(job: _Job) -> list[str]:
    """Modules of the kit that the template imports by `from MODULE import`, each once."""
    cells = (source_of(cell) for cell in job.file.notebook["cells"] if cell["cell_type"] == "code")
    return list(dict.fromkeys(name for text in cells for name in _FROM_KIT.findall(text)))


class _Attempts:
    """Runs a job; a kernel that does not come up is tried once more, over TCP. `stop` may come from another thread."""

    def __init__(self, job: _Job) -> None:
        self._job = job
        self._lock = threading.Lock()
        self._kernel: KernelProcess | None = None
        self._stopped = False

    def run(self) -> Any:
        try:
            return self._once(local=True)
        except RunError as error:
            if error.code != "template.kernel_start" or self._stopped:
                raise
        return self._once(local=False)

    def stop(self) -> None:
        with self._lock:
            self._stopped = True
            if self._kernel is not None:
                self._kernel.kill()

    def _once(self, *, local: bool) -> Any:
        with self._lock:
            if self._stopped:
                raise KeyboardInterrupt
            kernel = self._kernel = KernelProcess(self._job.cwd, local=local, preload=_imports(self._job))
        try:
            notebook = _execute(kernel, self._job)
            _check_finished(notebook, self._job)
            _check_parameters_kept(kernel, self._job)
            return notebook
        finally:
            kernel.end()


def _execute(kernel: KernelProcess, job: _Job) -> Any:
    with without_slow_import():  # the kernel comes up while these load
        import nbformat
        import papermill
        from nbclient.exceptions import CellTimeoutError, DeadKernelError
    logging.getLogger("papermill").addHandler(logging.NullHandler())
    ready = json.dumps(with_parameters(job.file.notebook, job.declaration, job.parameters))
    notebook = nbformat.reads(ready, as_version=4)
    watch = _Watch(job, notebook.cells)
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

    def __init__(self, job: _Job, cells: list[Any]) -> None:
        self._job, self._cells = job, cells
        self._index = 0
        self._deadline = 0.0
        self.started = False

    def at_cell(self, cell: Any, cell_index: int) -> None:
        if not self.started:
            self.started, self._deadline = True, time.monotonic() + self._job.timeout_s
        self._index = cell_index
        self._tell(cell_index)

    def seconds_left(self, cell: Any) -> float:
        return max(0.01, self._deadline - time.monotonic())

    def place(self) -> tuple[int, Any]:
        """Number, in the template, and content of the cell the run is at."""
        return self._job.number(self._index), self._cells[self._index]

    def done(self) -> None:
        self._tell(len(self._cells))

    def _tell(self, count: int) -> None:
        if self._job.progress:
            self._job.progress(count, len(self._cells))


def _cell_error(kernel: KernelProcess, job: _Job, watch: _Watch, error: Any) -> RunError:
    said = kernel.ask("__import__('kit.writeup.kernel', fromlist=['*']).report_error()")
    number, cell = watch.place()
    return cell_error(job.name, number, cell, read_report(said, error.ename, error.evalue))


def _check_finished(notebook: Any, job: _Job) -> None:
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


def _check_parameters_kept(kernel: KernelProcess, job: _Job) -> None:
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
