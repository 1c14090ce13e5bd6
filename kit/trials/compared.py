"""What a comparison holds, before anything is shown of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from kit.labbook.study_view import StudyView
from kit.trials.arms import Arm
from kit.trials.batch_ph import BatchPh, batch_phs
from kit.trials.changes import Changes
from kit.trials.results import CodedResult, LeftOut, PropertyResult

if TYPE_CHECKING:
    from kit.formula.prices import Price


@dataclass(frozen=True)
class Compared:
    """Versions side by side, the control first.

    Parameters
    ----------
    study : StudyView                  The study, with the spec everything is judged by.
    arms : tuple of Arm                One a formula version; batches of one version pool whatever their trial's name.
    results : tuple of PropertyResult  Numeric properties, by property, method and age.
    observations : tuple of CodedResult  Coded properties, by property and age.
    not_used : tuple of LeftOut        Every reading that is in no mean, with its state, code and words.
    changes : Changes                  Lines that differ from the control's.
    notes : tuple of str               What the whole comparison has to be read with.
    prices : dict                      Material key to `Price`, for the cost of each version; empty when none are known.
    ph_results : tuple                 The results for pH at every age, also where other properties were asked for.
    """

    study: StudyView
    arms: tuple[Arm, ...]
    results: tuple[PropertyResult, ...]
    observations: tuple[CodedResult, ...]
    not_used: tuple[LeftOut, ...]
    changes: Changes
    notes: tuple[str, ...] = ()
    prices: Mapping[str, Price] = field(default_factory=dict)
    ph_results: tuple[PropertyResult, ...] = ()

    @property
    def control(self) -> Arm:
        """The arm the others are set against."""
        return self.arms[0]

    @cached_property
    def phs(self) -> dict[str, BatchPh]:
        """The pH of each batch by its name: measured, predicted, and what follows from it."""
        return batch_phs((batch for arm in self.arms for batch in arm.batches), self.ph_results)
