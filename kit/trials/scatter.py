"""How much batches of one version scatter: pooled over versions made more than once, here and in earlier studies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from kit.bench.methods import AgeWindow
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.science.statistics import pooled_sd
from kit.trials.arms import Arm, versions_of
from kit.trials.results import BatchValue, Scatter
from kit.trials.selection import Group, Selection
from kit.trials.values import batch_values, scaled_means


class History:
    """The earlier studies a study names, their readings sorted once.

    Their readings are held against the methods of the present study and, key by key, against its control's reading:
    only scatter seen under the same conditions says anything here.
    """

    def __init__(self, source: Source, study: StudyView, windows: Sequence[AgeWindow]) -> None:
        self._windows = windows
        self._studies: list[tuple[str, tuple[Arm, ...], Selection]] = []
        for name in study.history:
            arms = versions_of(source.batches(study=name))
            self._studies.append(
                (name, arms, Selection(source, source.study(name), arms, windows, methods=study.methods))
            )

    def repeats(self, group: Group, scale: str) -> list[tuple[str, tuple[BatchValue, ...]]]:
        """Batch values of every earlier version, with its study and trials in words."""
        if group.reference is None:
            return []
        found = []
        for name, arms, selection in self._studies:
            alike = selection.groups.get(group.key)
            if alike is None:
                continue
            mine = Group(alike.key, alike.method, alone=alike.alone)
            mine.refer_to(group.reference, self._windows)
            found += [
                (f"study {name}: {arm.label}", batch_values(mine.counted.get(arm.label, ()), scale)) for arm in arms
            ]
        return found


def pooled_scatter(
    group: Group, arms: Sequence[Arm], values: Mapping[str, tuple[BatchValue, ...]], history: History, scale: str
) -> Scatter:
    """The scatter of batch means that is known for one property, method and age.

    Parameters
    ----------
    group : Group      The key, and the control's reading that all have to be comparable with.
    values : dict      Batch values of the present arms, by label.
    history : History  Earlier studies.

    Returns
    -------
    Scatter   On the scale of the calculation; versions with a single batch add nothing.
    """
    groups = [*history.repeats(group, scale), *((arm.label, values[arm.label]) for arm in arms)]
    repeated = [(told, found) for told, found in groups if len(found) > 1]
    pool = pooled_sd([scaled_means(found, scale) for _, found in repeated])
    return Scatter(pool.sd, pool.df, tuple(f"{told} ({len(found)} batches)" for told, found in repeated))


def repeats(group: Group, history: History, scale: str) -> dict[str, tuple[BatchValue, ...]]:
    """Batch values of earlier versions that were made more than once, by their study and trials in words.

    Parameters
    ----------
    group : Group      The key, and the control's reading that all have to be comparable with.
    history : History  Earlier studies.
    """
    return {told: found for told, found in history.repeats(group, scale) if len(found) > 1}
