"""How much batches scatter, from the record: the repeated versions of a study, pooled."""

from __future__ import annotations

import re
from decimal import Decimal

from kit.errors import KitError
from kit.labbook.source import open_source
from kit.trials.compare import compare
from kit.trials.plan_scatter import Scatter, read_scatter

_NUMBER = re.compile(r"^\s*[-+]?[0-9][0-9.,]*\s*$")  # meant as a scatter, and no name of a file


def scatter_of(history: object = "", *, study: str = "", property: str = "viscosity", age: str = "72 h") -> Scatter:
    """The batch scatter a plan is judged with.

    Parameters
    ----------
    history : str or source    As `read_scatter` takes it; else a lab book, its file, a snapshot or a source.
    study : str                Of a lab book; the only one when omitted.
    property, age : str        Whose scatter.

    Returns
    -------
    Scatter   The usual assumption, and why, where nothing of that property was made twice.

    Raises
    ------
    KitError   `plan.scatter`, and those of `open_source` and `compare`.
    """
    if history is None or isinstance(history, int | float | Decimal):
        return read_scatter("" if history is None else str(history))
    if isinstance(history, str) and (not history.strip() or "%" in history or _NUMBER.match(history)):
        return read_scatter(history)
    source = open_source(history)
    found = source.study(study)
    trials = source.trials(found.name)
    where = f"study {found.name}, {property} at {age}"
    try:
        control = found.control if found.control in trials else next(iter(trials), "")  # it may not be made yet
        result = compare(source, trials, control=control).result(property, age) if trials else None
    except KitError as problem:
        if problem.code not in ("compare.property", "compare.result", "age.unknown", "compare.no_result"):
            raise
        result = None
    if result is None or not result.scatter.df or not result.scatter.sd or result.scale != "ln":
        usual = read_scatter("")
        return Scatter(usual.sd, 0, f"{usual.words}; {where} tells of none: nothing was made twice on a ratio scale")
    sd = result.scatter.sd
    rests = "; ".join(result.scatter.rests_on)
    return Scatter(sd, result.scatter.df, f"{100 * sd:.1f} % with {result.scatter.df} df from {where}: {rests}")
