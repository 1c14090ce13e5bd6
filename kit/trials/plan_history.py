"""How much batches scatter, from the record: the repeated versions of a study, pooled."""

from __future__ import annotations

from kit.errors import KitError
from kit.labbook.source import open_source
from kit.trials.compare import compare
from kit.trials.plan_scatter import Scatter, read_scatter


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
    if history is None or (isinstance(history, str) and (not history.strip() or "%" in history)):
        return read_scatter(history or "")
    source = open_source(history)
    found = source.study(study)
    trials = source.trials(found.name)
    where = f"study {found.name}, {property} at {age}"
    try:
        result = compare(source, trials, control=found.control or trials[0]).result(property, age) if trials else None
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
