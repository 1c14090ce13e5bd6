"""Writing a trial up: freeze, run the template, make the page, keep the data beside it.

The kernel is started first and comes up while the record is read, which takes about as long. Whatever is needed for
reading is therefore imported inside functions.
"""

from __future__ import annotations

import gc
import json
import os
import re
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from kit.errors import RecordError, RunError
from kit.show import paragraph
from kit.writeup.canonical import canonical_text
from kit.writeup.run import Executed, begin
from kit.writeup.taken_along import take_along

if TYPE_CHECKING:
    from kit.labbook.source import Source

Progress = Callable[[int, int], None]
_SNAPSHOT = "snapshot.json"
_NOT_IN_FILES = re.compile(r'[<>:"/\\|?*\x00-\x1f]')
_LONGEST_STEM = 120  # characters; a file system takes 255 bytes, endings included


@dataclass(frozen=True)
class Chosen:
    """What a page is made of: trials and plans of a record, and the page's title."""

    trials: Sequence[str]
    title: str
    plans: Sequence[str] = ()


@dataclass(frozen=True)
class WriteUp:
    """What was written: one page to share, the executed notebook and the frozen data it was made from."""

    page: Path
    notebook: Path
    snapshot: Path
    figures: int
    seconds: float
    bundle: Path | None = None

    def __str__(self) -> str:
        return f"{self.page} ({self.figures} figures), with {self.notebook.name} and {self.snapshot.name} beside it"

    __repr__ = __str__

    def _repr_html_(self) -> str:
        return paragraph(self)


def write_up(
    book: object,
    trial: str,
    *,
    to: str | Path = "writeups",
    against: Sequence[str] = (),
    bundle: bool = False,
    timeout_s: float = 300,
    progress: Progress | None = None,
) -> WriteUp:
    """Write a trial up as one page that opens offline, with the executed notebook and a snapshot of the data beside it.

    Parameters
    ----------
    book : Labbook, Source or path   Where the trial is recorded.
    trial : str                      The trial.
    to : folder                      Made when missing; files of the same trial are replaced.
    against : list of str, or str    Further trials to set beside it; the study's control is always there.
    bundle : bool                    Also pack it into one .zip that `kit.verify` runs again.

    Returns
    -------
    WriteUp   Paths of what was written.

    Raises
    ------
    RecordError   For an unknown trial or a record that is not whole.
    RunError      When the template stops or a figure would be lost.
    """
    against = [against] if isinstance(against, str) else list(against)
    return publish_chosen(
        "trial_writeup",
        book,
        lambda record: Chosen([trial, *against], f"{trial}: {record.trial(trial).formula.name}"),
        {"trial": trial, "against": against},
        to=to,
        name=trial,
        bundle=bundle,
        timeout_s=timeout_s,
        progress=progress,
    )


def write_comparison(
    book: object,
    trials: Sequence[str],
    *,
    control: str = "",
    to: str | Path = "writeups",
    name: str = "",
    timeout_s: float = 300,
    progress: Progress | None = None,
) -> WriteUp:
    """Write up two to eight versions side by side; parameters as in `write_up`."""
    named = list(dict.fromkeys([*([control] if control else []), *trials]))
    return publish(
        "compare_versions",
        book,
        named,
        {"trials": list(trials), "control": control},
        to=to,
        name=name or "-".join(named),
        title=f"Comparison: {', '.join(named)}",
        timeout_s=timeout_s,
        progress=progress,
    )


def publish(
    template: str,
    source: object,
    trials: Sequence[str],
    parameters: Mapping[str, object],
    *,
    to: str | Path,
    name: str,
    title: str,
    plans: Sequence[str] = (),
    bundle: bool = False,
    timeout_s: float = 300,
    progress: Progress | None = None,
) -> WriteUp:
    """Run a template on a frozen snapshot of trials and plans and write page, notebook and snapshot into a folder.

    Files and folders among the parameters are copied beside the snapshot; what is written holds their bare names.
    """
    chosen = Chosen(trials, title, plans)
    return publish_chosen(
        template,
        source,
        lambda _: chosen,
        parameters,
        to=to,
        name=name,
        bundle=bundle,
        timeout_s=timeout_s,
        progress=progress,
    )


def publish_chosen(
    template: str,
    source: object,
    choose: Callable[[Source], Chosen],
    parameters: Mapping[str, object],
    *,
    to: str | Path,
    name: str,
    bundle: bool = False,
    timeout_s: float = 300,
    progress: Progress | None = None,
) -> WriteUp:
    """As `publish`, for a page whose trials or title are read from the record.

    Parameters
    ----------
    source : Labbook, Source or path   The record; given as a path, it is opened while the kernel comes up.
    choose : callable                  Gives what the page is made of from the opened record. What it raises ends the
                                       kernel, and nothing is written.
    """
    with _stored(to):
        with tempfile.TemporaryDirectory(prefix="kit-") as scratch:
            snapshot = Path(scratch, _SNAPSHOT)
            snapshot.touch()  # a file that is taken along cannot have its name
            given = {"source": _SNAPSHOT, **take_along(template, parameters, Path(scratch))}
            with begin(template, given, workdir=scratch, timeout_s=timeout_s, progress=progress) as begun:
                with _without_collection():
                    title, frozen = _frozen(source, choose)
                    snapshot.write_text(frozen, encoding="utf-8", newline="\n")
                    begun.start()
                make_page = _page_maker(snapshot, title)  # while the kernel is at work
                executed = begun.finish()
            page = make_page(executed.notebook)
        return _written(Path(to), name, title, page, executed, frozen, bundle)


def _frozen(source: object, choose: Callable[[Source], Chosen]) -> tuple[str, str]:
    """Title and frozen data, as text, of what is chosen; a file that is opened here is closed again."""
    from kit.labbook.snapshot import freeze
    from kit.labbook.source import Source, open_source

    try:
        with nullcontext(source) if isinstance(source, Source) else open_source(source) as record:
            chosen = choose(record)
            table = freeze(record, chosen.trials, plans=chosen.plans)
    except OSError as problem:
        raise RecordError(
            f"the record could not be read: {problem.strerror or problem}",
            where=str(problem.filename or ""),
            mend="check the name and whether you may read it",
            code="writeup.record",
        ) from None
    return chosen.title, json.dumps(table, ensure_ascii=False, sort_keys=True, indent=1) + "\n"


def _page_maker(snapshot: Path, title: str) -> Callable[[Mapping], str]:
    from kit.writeup.page_of_run import page_maker

    return page_maker(snapshot, title=title)


@contextmanager
def _without_collection() -> Iterator[None]:
    """No search for garbage: what is loaded here stays, and looking through it again and again finds none."""
    enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if enabled:
            gc.enable()


@contextmanager
def _stored(to: str | Path) -> Iterator[None]:
    """An error of the file system as one that says that the write-up could not be stored."""
    try:
        yield
    except OSError as problem:
        raise RunError(
            f"the write-up could not be stored: {problem.strerror or problem}",
            where=str(problem.filename or to),
            mend="check the folder and the disk; the lab book is untouched",
            code="writeup.store",
        ) from None


def _written(folder: Path, name: str, title: str, page: str, executed: Executed, frozen: str, bundle: bool) -> WriteUp:
    name = file_stem(name)
    paths = {
        "snapshot": folder / f"{name}.snapshot.json",
        "notebook": folder / f"{name}.ipynb",
        "page": folder / f"{name}.html",
        **({"bundle": folder / f"{name}.zip"} if bundle else {}),
    }
    notebook = canonical_text(executed.notebook)
    contents = {"snapshot": frozen.encode(), "notebook": notebook.encode(), "page": page.encode()}
    if bundle:
        files = {"write-up.html": page, "notebook.ipynb": notebook, "snapshot.json": frozen}
        from kit.writeup.bundle import pack

        contents["bundle"] = pack(files, _manifest(executed, title))
    folder.mkdir(parents=True, exist_ok=True)
    _replace({paths[kind]: content for kind, content in contents.items()})
    figures = sum(
        1 for cell in executed.notebook.cells for output in cell.get("outputs", ()) if _MIME in output.get("data", {})
    )
    return WriteUp(figures=figures, seconds=executed.seconds, **paths)


def file_stem(name: str) -> str:
    """A name as the beginning of a file's name that every system takes; what one refuses becomes an underscore.

    Source: Microsoft, "Naming Files, Paths, and Namespaces" (from memory).

    Examples
    --------
    >>> file_stem("LIN-03"), file_stem("Süß <b> 2/1."), file_stem("?")
    ('LIN-03', 'Süß _b_ 2_1', '_')
    """
    return _NOT_IN_FILES.sub("_", name)[:_LONGEST_STEM].rstrip(" .") or "page"


_MIME = "application/vnd.plotly.v1+json"


def _replace(contents: Mapping[Path, bytes]) -> None:
    """Write all beside and only then rename, so that a full disk leaves the old write-up whole and no half of one."""
    drafts: dict[Path, str] = {}
    try:
        for path, content in contents.items():
            handle, drafts[path] = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
            with os.fdopen(handle, "wb") as file:
                file.write(content)
            os.chmod(drafts[path], 0o644)
        for path, draft in drafts.items():
            os.replace(draft, path)
    finally:
        for draft in drafts.values():
            Path(draft).unlink(missing_ok=True)


def _manifest(executed: Executed, title: str) -> dict[str, object]:
    parameters = {key: value for key, value in executed.parameters.items() if key != "source"}
    return {
        "template": executed.template,
        "template_sha256": executed.template_sha256,
        "parameters": parameters,
        "title": title,
    }
