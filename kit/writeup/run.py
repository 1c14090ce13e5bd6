"""Running a template: strict before, in a fresh kernel, and in canonical form after.

A kernel takes about as long to come up as its caller takes to read a record. `begin` therefore starts it as soon as the
parameters have passed, and `Begun.finish` runs the template when what it reads is there.
"""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from kit.errors import RunError
from kit.show import Fielded
from kit.writeup.canonical import canonical, canonical_text, package_versions
from kit.writeup.cells import source_of
from kit.writeup.executing import Job, Progress, execute
from kit.writeup.kernel_process import KernelProcess
from kit.writeup.parameters import check_parameters, read_declaration
from kit.writeup.templates import find_template, list_templates, read_template

__all__ = ["Begun", "Executed", "begin", "canonical_text", "find_template", "list_templates", "run_template"]

_STEP_S = 0.2  # waits are this short, so that an interrupt gets through on every system
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
    asked = {"workdir": workdir, "timeout_s": timeout_s, "progress": progress, "from_text": from_text}
    with begin(template, parameters, **asked) as begun:
        return begun.finish()


@contextmanager
def begin(
    template: str | Path,
    parameters: Mapping[str, Any],
    *,
    workdir: str | Path | None = None,
    timeout_s: float = 300,
    progress: Progress | None = None,
    from_text: bool = False,
) -> Iterator[Begun]:
    """Check what `run_template` checks, start the kernel and give the run, to be finished inside the `with` block.

    What the template reads may be written into the folder meanwhile. However the block is left, the kernel has ended.

    Parameters
    ----------
    template, parameters, workdir, timeout_s, progress, from_text : as in `run_template`.

    Raises
    ------
    ParameterError   Before a kernel starts: see `check_parameters` and `read_declaration`.
    RunError         `template.unknown`, `.unreadable`, `.workdir`.
    """
    file = read_template(find_template(template))
    declaration = read_declaration(file.notebook)
    checked = check_parameters(declaration, parameters, from_text=from_text)
    begun = Begun(Job(file, declaration, checked, _folder(workdir), timeout_s, progress))
    try:
        yield begun
    finally:
        begun.end()


class Begun:
    """A run that has passed its checks and whose kernel is coming up; `begin` gives it.

    It runs in a thread of its own: the caller's event loop is neither needed nor touched.
    """

    def __init__(self, job: Job) -> None:
        self._job = job
        self._began = time.monotonic()
        self._attempts = _Attempts(job)
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="kit-run")
        self._future: Future | None = None

    def start(self) -> None:
        """Run the template. Returns when its first cell is about to run, or with a run that failed before."""
        if self._future is None:
            self._future = self._pool.submit(self._attempts.run)
            self._future.add_done_callback(lambda _: self._attempts.at_work.set())
        while not self._attempts.at_work.wait(_STEP_S):
            pass

    def finish(self) -> Executed:
        """Wait for the end of the run, started here if it was not, and give the executed notebook.

        Raises
        ------
        RunError   As in `run_template`, but for what `begin` has checked.
        """
        self.start()
        while not self._future.done():
            wait([self._future], timeout=_STEP_S)
        job = self._job
        notebook = canonical(self._future.result(), _block(job))
        seconds = time.monotonic() - self._began
        return Executed(notebook, job.declaration.template, job.file.sha256, job.parameters, seconds)

    def end(self) -> None:
        """End the kernel and wait for the thread, in whatever state the run is."""
        self._attempts.stop()
        self._pool.shutdown()
        self._attempts.end()


def _folder(workdir: str | Path | None) -> Path:
    folder = Path.cwd() if workdir is None else Path(workdir).absolute()
    if not folder.is_dir():
        raise RunError(f'The folder to run in, "{workdir}", does not exist', mend="create it", code="template.workdir")
    return folder


def _block(job: Job) -> dict[str, Any]:
    return {
        "template": job.name,
        "title": job.declaration.title,
        "question": job.declaration.question,
        "layout": job.declaration.layout,
        "template_sha256": job.file.sha256,
        "parameters": job.parameters,
        "packages": package_versions(),
    }


def _imports(job: Job) -> list[str]:
    """Modules of the kit that the template imports by `from MODULE import`, each once."""
    cells = (source_of(cell) for cell in job.file.notebook["cells"] if cell["cell_type"] == "code")
    return list(dict.fromkeys(name for text in cells for name in _FROM_KIT.findall(text)))


class _Attempts:
    """Runs a job; a kernel that does not come up is tried once more, over TCP. `stop` may come from another thread.

    The first kernel starts at once. `at_work` is set when the first cell is about to run.
    """

    def __init__(self, job: Job) -> None:
        self._job = job
        self.at_work = threading.Event()
        self._lock = threading.Lock()
        self._stopped = False
        self._kernel = self._start(local=True)

    def run(self) -> Any:
        try:
            return self._with(self._kernel)
        except RunError as error:
            if error.code != "template.kernel_start" or self._stopped:
                raise
        with self._lock:
            if self._stopped:
                raise KeyboardInterrupt
            self._kernel = self._start(local=False)
        return self._with(self._kernel)

    def stop(self) -> None:
        with self._lock:
            self._stopped = True
            self._kernel.kill()

    def end(self) -> None:
        """Leave nothing behind of a kernel that was never run; after a run there is nothing left to end."""
        self._kernel.end()

    def _start(self, *, local: bool) -> KernelProcess:
        return KernelProcess(self._job.cwd, local=local, preload=_imports(self._job))

    def _with(self, kernel: KernelProcess) -> Any:
        try:
            return execute(kernel, self._job, self.at_work)
        finally:
            kernel.end()
