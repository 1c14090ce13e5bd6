"""Writing a trial up: freeze, run the template, make the page, keep the data beside it."""

from __future__ import annotations

import json
import os
import re
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from kit.errors import RunError
from kit.labbook.snapshot import freeze
from kit.labbook.source import open_source
from kit.show import paragraph
from kit.writeup.bundle import pack
from kit.writeup.canonical import canonical_text
from kit.writeup.page_of_run import page_of_run
from kit.writeup.run import Executed, run_template
from kit.writeup.taken_along import take_along

Progress = Callable[[int, int], None]
_SNAPSHOT = "snapshot.json"
_NOT_IN_FILES = re.compile(r'[<>:"/\\|?*\x00-\x1f]')
_LONGEST_STEM = 120  # characters; a file system takes 255 bytes, endings included


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
    source = open_source(book)
    title = f"{trial}: {source.trial(trial).formula.name}"
    return publish(
        "trial_writeup",
        source,
        [trial, *against],
        {"trial": trial, "against": against},
        to=to,
        name=trial,
        title=title,
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
    source = open_source(book)
    named = list(dict.fromkeys([*([control] if control else []), *trials]))
    return publish(
        "compare_versions",
        source,
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
    table = freeze(open_source(source), trials, plans=plans)
    frozen = json.dumps(table, ensure_ascii=False, sort_keys=True, indent=1) + "\n"
    try:
        with tempfile.TemporaryDirectory(prefix="kit-") as scratch:
            snapshot = Path(scratch, _SNAPSHOT)
            snapshot.write_text(frozen, encoding="utf-8", newline="\n")
            given = take_along(template, parameters, Path(scratch))
            executed = run_template(
                template, {"source": _SNAPSHOT, **given}, workdir=scratch, timeout_s=timeout_s, progress=progress
            )
            page = page_of_run(executed.notebook, snapshot, title=title)
        return _written(Path(to), name, title, page, executed, frozen, bundle)
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
