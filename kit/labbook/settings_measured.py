"""The setting temperature that earlier batches of a formula version showed while they cooled."""

from __future__ import annotations

from kit.bench.cooling_state import cooling_state
from kit.formula.model import FormulaModel
from kit.formula.setting import SettingSeenOn, SettingTemperature
from kit.labbook.cooling_record import cooling_log
from kit.labbook.source import Source
from kit.labbook.view import BatchView

_LATEST = 3  # batches looked at: each takes a second


def settings_measured(source: Source, formula: FormulaModel, *, without: str = "") -> SettingTemperature:
    """What the latest batches of this very formula version say of its setting temperature.

    Parameters
    ----------
    source : Source           The lab book or a snapshot.
    formula : FormulaModel    Another version may set elsewhere: it does not count.
    without : str             Name of a batch to leave out.
    """
    keys = source.batch_keys(formula=formula.fingerprint)
    views = [source.batch(f"{trial}/{number}") for _, trial, number in keys]
    logged = [view for view in views if view.name != without and view.standing("temperature")]
    latest = sorted(logged, key=lambda view: view.started_at)[-_LATEST:]
    return SettingTemperature(tuple(_seen(view) for view in latest))


def _seen(view: BatchView) -> SettingSeenOn:
    state = cooling_state(cooling_log(view))
    found = state.forecast.setting if state.forecast else None
    if found is None:
        return SettingSeenOn(view.name, None, None, "too few readings")
    return SettingSeenOn(view.name, found.temp_c, found.sd_c, found.why)
