"""Heat, cooling and water of a batch as a stranger must know them to repeat it."""

from __future__ import annotations

from kit.bench.cooling_log import addition_findings
from kit.bench.cooling_state import CoolingState
from kit.errors import KitError
from kit.formula.pour_findings import with_read_after
from kit.labbook.cooling_record import cooling_log, pour_of, read_after_c
from kit.labbook.view import BatchView
from kit.labbook.water_record import water_loss_of
from kit.show import listing


def heat_and_cooling(batch: BatchView) -> list[object]:
    """The heat balance of the pour, the temperature at every addition, time at temperature, and the water lost.

    Parameters
    ----------
    batch : BatchView   One batch; what was not recorded is said.
    """
    return [*_pour(batch), *_additions(batch), f"{batch.name}, water: {water_loss_of(batch).words}"]


def _pour(batch: BatchView) -> list[object]:
    try:
        pour = pour_of(batch)
    except KitError as problem:
        return [f"{batch.name}, heat balance of the pour: NOT COMPUTED ({problem.what})."]
    read_c = read_after_c(batch)
    pour = pour if read_c is None else with_read_after(pour, read_c)
    differs = [finding.words for finding in pour.findings if finding.code == "heat.after_differs"]
    after = [] if read_c is not None else ["Temperature after combining: NOT RECORDED."]
    return [pour.table(), *after, *differs] if pour.mixed else [f"{batch.name}: {pour.words}"]


def _additions(batch: BatchView) -> list[object]:
    log = cooling_log(batch)
    if not log.additions:
        return []
    state = CoolingState(log, (), None)
    told = [finding.words for finding in addition_findings(log)]
    heat = state.heat_table()
    return [
        state.additions_table(),
        *([heat] if heat.rows else []),
        *([listing(f"{batch.name}, additions", told)] if told else []),
    ]
