"""The benchmarks: what is compared, how it is shown to be equal, and the limit it must keep.

Each takes an empty folder and gives a `Result`. What both sides bring out is compared before anything is timed. What
several benchmarks of a run need, such as the large lab book, is kept beside that folder.

| name | ours | named peer | limit |
| --- | --- | --- | --- |
| `import` | `import kit` | `import pandas` | 0.25 |
| `review` | `kit review FILE`, the whole process | `import pandas`, the whole process | 2.5 |
| `write-up` | a write-up | a bare notebook with pandas and plotly, by nbclient | 2 |
| `flow-and-feel` | the page of `flow_and_feel`, two trials | that bare notebook | 2.3 |
| `scale-up` | the page of `scale_up`, two vessels | that bare notebook | 2.3 |
| `write-up-papermill` | a write-up | `papermill`, then `nbconvert`, of the same template | 0.45 |
| `reading` | one reading | the same rows by bare `sqlite3`, same PRAGMAs | 5 |
| `review-many` | 10,000 compositions in one call | one by one | 0.2 |
| `review-one` | the first review of a program | the start of a bare Python | 1 |
| `import-readings` | a file of 20,000 readings | pandas, then the same rows by bare `sqlite3` | 6 |
| `compare-scaling` | 12 of 20,000 trials compared | the same in a lab book of these 12 | 1.5 |
| `ph-many-phreeqc` | pH of 10,000 mixtures in one call | one by one through `phreeqc` | 0.1 |
| `ph-many-brentq` | pH of 10,000 mixtures in one call | one by one by `scipy.optimize.brentq` | 0.01 |
| `ph-one` | pH and forms of one mixture | its pH by `scipy.optimize.brentq` | 1 |
| `flow-many` | five flow models on 1,000 curves | the same by bounded `scipy.optimize.curve_fit` | 1.2 |
| `d-optimal` | 24 runs of 3 mixture and 2 process factors | the same by `pydoe` | 2 |
| `compare-twelve` | 12 trials of 6 batches judged | bare `statsmodels` and `scipy.stats.dunnett` | 1.5 |
| `reading-scaling` | one reading beside 400,000 others | the same in a lab book of 12 trials | 1.2 |
"""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import partial
from pathlib import Path

from tests.benchmarks.acidbase import ph_many_brentq, ph_many_phreeqc, ph_one
from tests.benchmarks.comparing import compare_twelve
from tests.benchmarks.designs import d_optimal
from tests.benchmarks.flow import flow_many
from tests.benchmarks.measure import FORMULA, OURS, PEERS, ROOT, Result, in_turn, output, python, seconds
from tests.benchmarks.peers import IMPORT_PANDAS, papermill_then_nbconvert
from tests.benchmarks.reviewing import review_many, review_one
from tests.benchmarks.same import copy_labbook, must_be_same, stored_rows
from tests.benchmarks.scaling import compare_scaling, reading_scaling
from tests.benchmarks.taking_in import import_readings

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
    must_be_same(output(command, folder), output(python("-c", code, FORMULA), folder), "the command and the call")
    return Result("review", *_timed([command], [python(*IMPORT_PANDAS)], folder, rounds=11), limit=2.5)


def write_up_against_bare_notebook(folder: Path) -> Result:
    """One write-up against a bare notebook that only imports pandas and plotly, as fast as nbclient runs one."""
    labbook = _demo(folder)
    ours, peer = [_write_up(labbook)], [python(PEERS, "run-bare-notebook", "bare.ipynb")]
    seconds([*ours, *peer], folder)
    _same_notebook(folder / "writeups" / f"{TRIAL}.ipynb", figures=6, tables=6)
    printed = _outputs(folder / "bare.ipynb")[-1]["text"]
    versions = "import pandas, plotly; print(pandas.__version__, plotly.__version__)"
    must_be_same("".join(printed), output(python("-c", versions), folder), "the bare notebook")
    return Result("write-up", *_timed(ours, peer, folder, rounds=7), limit=2.0)


def flow_and_feel(folder: Path) -> Result:
    """The page of `flow_and_feel` for two trials, four flow curves fitted, against the bare notebook."""
    output(python(OURS, "build-flow", folder / "flow"), folder)
    page = python(OURS, "flow-and-feel", folder / "flow" / "flow.labbook", "pages")
    return _page_against_bare_notebook("flow-and-feel", page, folder / "pages" / "flow.ipynb", folder)


def scale_up(folder: Path) -> Result:
    """The page of `scale_up` for a batch and two vessels, its cooling log fitted, against the bare notebook."""
    page = python(OURS, "scale-up", _demo(folder), "pages")
    return _page_against_bare_notebook("scale-up", page, folder / "pages" / "scale.ipynb", folder)


def _page_against_bare_notebook(name: str, page: list[str], notebook: Path, folder: Path) -> Result:
    """A page of three figures and six tables or more against the bare notebook."""
    peer = [python(PEERS, "run-bare-notebook", "bare.ipynb")]
    seconds([page, *peer], folder)
    _same_notebook(notebook, figures=3, tables=6)
    return Result(name, *_timed([page], peer, folder, rounds=7), limit=2.3)


def write_up_against_papermill(folder: Path) -> Result:
    """One write-up against the same template through the `papermill` command, then `nbconvert` to HTML."""
    labbook = _demo(folder)
    ours, peer = [_write_up(labbook)], papermill_then_nbconvert(TEMPLATE, labbook, TRIAL, folder)
    seconds([*ours, *peer], folder)
    kept = _same_notebook(folder / "writeups" / f"{TRIAL}.ipynb", figures=6, tables=6)
    must_be_same(kept, _same_notebook(folder / "filled.ipynb", figures=6, tables=6), "the outputs of the template")
    return Result("write-up-papermill", *_timed(ours, peer, folder, rounds=5), limit=0.45)


def reading(folder: Path) -> Result:
    """One durable reading against a bare `sqlite3` commit of the same rows under the same PRAGMAs.

    Both append to a copy of the same lab book, a few hundred operations in a process; the medians are of one operation.
    """
    empty, ours, peer, rows = (folder / name for name in ("empty.labbook", "ours.labbook", "peer.labbook", "rows.json"))
    output(python(OURS, "start-batch", empty, FORMULA), folder)

    def run_ours() -> float:
        copy_labbook(empty, ours)
        return float(output(python(OURS, "read-ph", ours, READINGS), folder))

    def run_peer() -> float:
        copy_labbook(empty, peer)
        return float(output(python(PEERS, "commit-rows", peer, rows), folder))

    run_ours()
    operations = _operations(empty, ours)
    must_be_same(len(operations), READINGS, "the number of readings stored and asked for")
    rows.write_text(json.dumps(operations), encoding="utf-8")
    run_peer()
    must_be_same(stored_rows(ours), stored_rows(peer), "the rows of both lab books")
    return Result("reading", *in_turn(run_ours, run_peer, rounds=5), limit=5)


BENCHMARKS: dict[str, Callable[[Path], Result]] = {
    "import": import_kit,
    "review": review,
    "write-up": write_up_against_bare_notebook,
    "write-up-papermill": write_up_against_papermill,
    "flow-and-feel": flow_and_feel,
    "scale-up": scale_up,
    "reading": reading,
    "review-many": review_many,
    "review-one": review_one,
    "import-readings": import_readings,
    "compare-scaling": compare_scaling,
    "reading-scaling": reading_scaling,
    "ph-many-phreeqc": ph_many_phreeqc,
    "ph-many-brentq": ph_many_brentq,
    "ph-one": ph_one,
    "flow-many": flow_many,
    "d-optimal": d_optimal,
    "compare-twelve": compare_twelve,
}


def _timed(ours: list, peer: list, folder: Path, rounds: int) -> tuple[float, float]:
    return in_turn(partial(seconds, ours, folder), partial(seconds, peer, folder), rounds)


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


def _operations(before: Path, after: Path) -> list[list]:
    """What each reading added: its entry, and the row derived from it."""
    old, new = stored_rows(before), stored_rows(after)
    entries = {row["id"]: row for row in new["entry"][len(old["entry"]) :]}
    return [[["entry", entries[row["entry_id"]]], ["reading", row]] for row in new["reading"][len(old["reading"]) :]]
