"""The benchmarks: what is compared, how it is shown to be equal, and the limit it must keep.

Each takes an empty folder and gives a `Result`. What both sides bring out is compared before anything is timed.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Callable
from functools import partial
from pathlib import Path

from tests.benchmarks.measure import HERE, ROOT, Result, in_turn, output, python, seconds
from tests.benchmarks.peers import IMPORT_PANDAS, papermill_then_nbconvert

OURS, PEERS = HERE / "ours.py", HERE / "peers.py"
FORMULA = ROOT / "kit" / "demo" / "linden.toml"
TEMPLATE = ROOT / "templates" / "trial_writeup.ipynb"
TRIAL = "LIN-03"
PLOTLY = "application/vnd.plotly.v1+json"
READINGS = 300


def import_kit(folder: Path) -> Result:
    """`import kit` against `import pandas`, each in a process of its own."""
    both = "import sys; assert {} in sys.modules and {} not in sys.modules"
    output(python("-c", f"import kit; {both.format(repr('kit'), repr('pandas'))}"), folder)
    output(python("-c", f"import pandas; {both.format(repr('pandas'), repr('kit'))}"), folder)
    ours, peer = ([python("-c", "import kit")], [python(*IMPORT_PANDAS)])
    return Result("import", *_timed(ours, peer, folder, rounds=15), limit=0.25)


def review(folder: Path) -> Result:
    """`kit review FILE`, the whole process, against `python -c "import pandas"`."""
    command = python("-m", "kit", "review", FORMULA)
    code = "import sys, kit; print(kit.load_formula(sys.argv[1]).review())"
    _same(output(command, folder), output(python("-c", code, FORMULA), folder), "the command and the call")
    return Result("review", *_timed([command], [python(*IMPORT_PANDAS)], folder, rounds=11), limit=2.5)


def write_up_against_bare_notebook(folder: Path) -> Result:
    """One write-up against a bare notebook that only imports pandas and plotly, as fast as nbclient runs one."""
    labbook = _demo(folder)
    ours, peer = [_write_up(labbook)], [python(PEERS, "run-bare-notebook", "bare.ipynb")]
    seconds([*ours, *peer], folder)
    _same_notebook(folder / "writeups" / f"{TRIAL}.ipynb", figures=6, tables=6)
    printed = _outputs(folder / "bare.ipynb")[-1]["text"]
    versions = "import pandas, plotly; print(pandas.__version__, plotly.__version__)"
    _same("".join(printed), output(python("-c", versions), folder), "the bare notebook")
    return Result("write-up", *_timed(ours, peer, folder, rounds=7), limit=2.0)


def write_up_against_papermill(folder: Path) -> Result:
    """One write-up against the same template through the `papermill` command, then `nbconvert` to HTML."""
    labbook = _demo(folder)
    ours, peer = [_write_up(labbook)], papermill_then_nbconvert(TEMPLATE, labbook, TRIAL, folder)
    seconds([*ours, *peer], folder)
    kept = _same_notebook(folder / "writeups" / f"{TRIAL}.ipynb", figures=6, tables=6)
    _same(kept, _same_notebook(folder / "filled.ipynb", figures=6, tables=6), "the outputs of the template")
    return Result("write-up-papermill", *_timed(ours, peer, folder, rounds=5), limit=0.45)


def reading(folder: Path) -> Result:
    """One durable reading against a bare `sqlite3` commit of the same rows under the same PRAGMAs.

    Both append to a copy of the same lab book, a few hundred operations in a process; the medians are of one operation.
    """
    empty, ours, peer, rows = (folder / name for name in ("empty.labbook", "ours.labbook", "peer.labbook", "rows.json"))
    output(python(OURS, "start-batch", empty, FORMULA), folder)

    def run_ours() -> float:
        _copy(empty, ours)
        return float(output(python(OURS, "read-ph", ours, READINGS), folder))

    def run_peer() -> float:
        _copy(empty, peer)
        return float(output(python(PEERS, "commit-rows", peer, rows), folder))

    run_ours()
    operations = _operations(empty, ours)
    _same(len(operations), READINGS, "the number of readings stored and asked for")
    rows.write_text(json.dumps(operations), encoding="utf-8")
    run_peer()
    _same(_rows(ours), _rows(peer), "the rows of both lab books")
    return Result("reading", *in_turn(run_ours, run_peer, rounds=5), limit=5)


BENCHMARKS: dict[str, Callable[[Path], Result]] = {
    "import": import_kit,
    "review": review,
    "write-up": write_up_against_bare_notebook,
    "write-up-papermill": write_up_against_papermill,
    "reading": reading,
}


def _timed(ours: list, peer: list, folder: Path, rounds: int) -> tuple[float, float]:
    return in_turn(partial(seconds, ours, folder), partial(seconds, peer, folder), rounds)


def _same(ours: object, other: object, what: str) -> None:
    if ours != other:
        raise SystemExit(
            f"{what} differ; timing them would compare two different things:\n{ours!r:.600}\n{other!r:.600}"
        )


def _demo(folder: Path) -> Path:
    """The lab book of the demo, built once in this folder."""
    if not (folder / "demo").is_dir():
        output(python(OURS, "build-demo", folder / "demo"), folder)
    return folder / "demo" / "linden.labbook"


def _write_up(labbook: Path) -> list[str | Path]:
    return python(OURS, "write-up", labbook, TRIAL, "writeups")


def _outputs(notebook: Path) -> list[dict]:
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    return [shown for cell in cells for shown in cell.get("outputs", ())]


def _same_notebook(notebook: Path, *, figures: int, tables: int) -> list[dict]:
    """What an executed notebook shows, figures and tables counted."""
    shown = [output["data"] for output in _outputs(notebook) if "data" in output]
    drawn = [data for data in shown if PLOTLY in data]
    listed = sum("".join(data.get("text/html", "")).count("<table") for data in shown)
    if len(drawn) < figures or listed < tables:
        raise SystemExit(
            f"{notebook.name} has {len(drawn)} figures and {listed} tables; {figures} and {tables} were due"
        )
    return [
        {kind: "".join(value) if isinstance(value, list) else value for kind, value in data.items()} for data in shown
    ]


def _copy(empty: Path, target: Path) -> None:
    for suffix in ("-wal", "-shm"):
        target.with_name(target.name + suffix).unlink(missing_ok=True)
    shutil.copyfile(empty, target)


def _rows(labbook: Path) -> dict[str, list[dict]]:
    """Rows of the two tables a reading goes into."""
    connection = sqlite3.connect(labbook)
    connection.row_factory = sqlite3.Row
    try:
        return {
            table: [dict(row) for row in connection.execute(f"SELECT * FROM {table}")] for table in ("entry", "reading")
        }
    finally:
        connection.close()


def _operations(before: Path, after: Path) -> list[list]:
    """What each reading added: its entry, and the row derived from it."""
    old, new = _rows(before), _rows(after)
    entries = {row["id"]: row for row in new["entry"][len(old["entry"]) :]}
    return [[["entry", entries[row["entry_id"]]], ["reading", row]] for row in new["reading"][len(old["reading"]) :]]
