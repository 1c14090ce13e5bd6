"""Trials or batches that are asked for together are of one study."""

from __future__ import annotations

from collections.abc import Sequence

from kit.errors import KitError
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView


def one_study(source: Source, names: Sequence[str], study: str, *, where: str, code: str) -> StudyView:
    """The study of some trials or batches.

    Parameters
    ----------
    source : Source          What is read.
    names : sequence of str  Trials or batches, "LIN-03" or "LIN-03/1".
    study : str              The study; the only one, or that of the first name, when empty.
    where, code : str        For the error.

    Raises
    ------
    RecordError   `labbook.study`, `labbook.trial`.
    KitError      The code given, for a name of another study.
    """
    owners = {name: source.trial(name.partition("/")[0]).study for name in names}
    chosen = source.study(study or next(iter(owners.values()), ""))
    for name, owner in owners.items():
        if owner != chosen.name:
            raise KitError(
                f"{name} is of study {owner}, not of {chosen.name}",
                where=where,
                mend="name trials of one study: methods and ages belong to it",
                code=code,
            )
    return chosen
