"""What somebody competent would do without the kit. Run as a program: `peers.py NAME ARGUMENTS`.

Nothing of the kit is imported here. Imports stand inside the functions: each peer pays for its own only.
"""

from __future__ import annotations

import json
import sqlite3
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

IMPORT_PANDAS = ("-c", "import pandas")

PRAGMAS = ("journal_mode=WAL", "synchronous=FULL", "fullfsync=ON", "foreign_keys=ON")


def run_bare_notebook(target: str) -> None:
    """A notebook that imports pandas and plotly, run by nbclient with what makes it fast.

    The one slow import of jsonschema is left out and the kernel is ended without ceremony: nothing else is left to
    save short of keeping a kernel alive between runs.
    """
    sys.modules["rfc3987_syntax"] = None  # jsonschema does without; it compiles a grammar for a second otherwise
    import nbclient
    import nbformat

    cells = [
        nbformat.v4.new_code_cell("import pandas as pd\nimport plotly.graph_objects as go"),
        nbformat.v4.new_code_cell("import plotly\nprint(pd.__version__, plotly.__version__)"),
    ]
    notebook = nbformat.v4.new_notebook(cells=cells)
    client = nbclient.NotebookClient(
        notebook, kernel_name="python3", timeout=120, record_timing=False, shutdown_kernel="immediate"
    )
    client.execute()
    nbformat.write(notebook, target)


def papermill_then_nbconvert(template: Path, source: Path, trial: str, folder: Path) -> list[list[str | Path]]:
    """The two commands of the usual way: fill the template in, then make a page of it."""
    filled = folder / "filled.ipynb"
    run = ["-m", "papermill", "--no-progress-bar", "-p", "source", source, "-p", "trial", trial, template, filled]
    return [
        [sys.executable, *run],
        [sys.executable, "-m", "nbconvert", "--to", "html", "--output", folder / "filled.html", filled],
    ]


def commit_rows(database: str, rows_file: str) -> None:
    """Store prepared rows by sqlite3 alone, one transaction an operation; prints the median seconds of one.

    The rows file holds a list of operations, each a list of [table, {column: value}].
    """
    operations = json.loads(Path(rows_file).read_text(encoding="utf-8"))
    connection = _open(database)
    statements = {table: _insert(table, row) for table, row in operations[0]}
    spent = []
    for operation in operations:
        began = time.perf_counter()
        connection.execute("BEGIN IMMEDIATE")
        for table, row in operation:
            connection.execute(statements[table], tuple(row.values()))
        connection.execute("COMMIT")
        spent.append(time.perf_counter() - began)
    connection.close()
    print(statistics.median(spent))


def take_in_rows(database: str, readings_file: str, rows_file: str) -> None:
    """Read a file of readings by pandas and store its prepared rows by sqlite3, in one transaction; prints the seconds.

    The rows file holds {table: [{column: value}]}: what it takes to work them out is given for nothing. That they are
    those of the file is looked at afterwards.
    """
    import pandas

    prepared = json.loads(Path(rows_file).read_text(encoding="utf-8"))
    statements = {table: _insert(table, rows[0]) for table, rows in prepared.items()}
    values = {table: [tuple(row.values()) for row in rows] for table, rows in prepared.items()}
    began = time.perf_counter()
    frame = pandas.read_csv(readings_file)
    connection = _open(database)
    connection.execute("BEGIN IMMEDIATE")
    for table, statement in statements.items():
        connection.executemany(statement, values[table])
    connection.execute("COMMIT")
    connection.close()
    spent = time.perf_counter() - began
    if frame["value"].tolist() != [row["value"] for row in prepared["reading"]]:
        raise SystemExit("the prepared rows are not those of the file")
    print(spent)


def phreeqc_one_by_one(mixtures_file: str, part: str) -> None:
    """pH of the first mixtures by PHREEQC; prints the seconds and the pH. Loading the database is not counted."""
    from tests.phreeqc_peer import Peer, PeerSystem

    told = json.loads(Path(mixtures_file).read_text(encoding="utf-8"))
    peer = Peer([PeerSystem(*system) for system in told["systems"]], told["pkw"])
    names = [name for name, *_ in told["systems"]]
    mixtures = list(zip(told["totals"][: int(part)], told["strong"], strict=False))
    began = time.perf_counter()
    found = [
        peer.solve(dict(zip(names, totals, strict=True)), max(strong, 0.0), max(-strong, 0.0))[0]
        for totals, strong in mixtures
    ]
    print(json.dumps({"seconds": time.perf_counter() - began, "ph": found}))


def brentq_one_by_one(mixtures_file: str, part: str) -> None:
    """pH of the first mixtures by `scipy.optimize.brentq`; prints the seconds and the pH.

    The charge balance of one mixture in plain floats, and a loop over the ionic strength around it; what does not
    change within a mixture is worked out before.
    """
    told = json.loads(Path(mixtures_file).read_text(encoding="utf-8"))
    mixtures = list(zip(told["totals"][: int(part)], told["strong"], strict=False))
    solve = _charge_balance(told["systems"], 10.0 ** -told["pkw"], told["slope"])
    solve(*mixtures[0])
    began = time.perf_counter()
    found = [solve(totals, strong) for totals, strong in mixtures]
    print(json.dumps({"seconds": time.perf_counter() - began, "ph": found}))


def _charge_balance(systems: list, kw: float, slope: float) -> Callable[[list[float], float], float]:
    """A function that gives the pH of a mixture: totals and net charge of the strong ions, mol/kg water."""
    from scipy.optimize import brentq

    charges = [[charge - lost for lost in range(len(pka) + 1)] for _, charge, pka in systems]
    constants = [[10.0**-value for value in pka] for _, _, pka in systems]

    def state(ph: float, lowering: float, present: list, strong: float) -> tuple[float, float]:
        """Charge left over and twice the ionic strength."""
        gamma, hydrogen = 10.0**-lowering, 10.0**-ph
        free, hydroxide = hydrogen / gamma, kw / hydrogen / gamma
        balance, doubled = strong + free - hydroxide, abs(strong) + free + hydroxide
        for total, steps, values in present:
            weight, weights = 1.0, [1.0]
            for step in steps:
                weight *= step / hydrogen
                weights.append(weight)
            shared = [one * gamma ** -(z * z) for one, z in zip(weights, values, strict=True)]
            scale = total / sum(shared)
            balance += scale * sum(one * z for one, z in zip(shared, values, strict=True))
            doubled += scale * sum(one * z * z for one, z in zip(shared, values, strict=True))
        return balance, doubled

    def ph_of(totals: list[float], strong: float) -> float:
        present = [row for row in zip(totals, constants, charges, strict=True) if row[0]]
        strength, ph = abs(strong) / 2, 7.0
        for _ in range(100):
            root = strength**0.5
            lowering = slope * (root / (1 + root) - 0.3 * strength)
            ph = brentq(lambda trial: state(trial, lowering, present, strong)[0], 0, 14, xtol=1e-9)  # noqa: B023
            followed = state(ph, lowering, present, strong)[1] / 2
            if abs(followed - strength) < 1e-9:
                return ph
            strength = followed
        raise SystemExit("the loop over the ionic strength did not settle")

    return ph_of


def _open(database: str) -> sqlite3.Connection:
    connection = sqlite3.connect(database, isolation_level=None)
    for pragma in PRAGMAS:
        connection.execute(f"PRAGMA {pragma}")
    return connection


def _insert(table: str, row: dict[str, object]) -> str:
    return f"INSERT INTO {table} ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})"


COMMANDS = {
    "run-bare-notebook": run_bare_notebook,
    "commit-rows": commit_rows,
    "take-in-rows": take_in_rows,
    "phreeqc-one-by-one": phreeqc_one_by_one,
    "brentq-one-by-one": brentq_one_by_one,
}

if __name__ == "__main__":
    COMMANDS[sys.argv[1]](*sys.argv[2:])
