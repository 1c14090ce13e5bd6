"""The arms against the control: ratios or differences, with intervals where the data allow them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.trials.difference_words import DifferenceWords
from kit.trials.results import EQUIVALENT, BatchValue, Difference
from kit.trials.wording import plural

if TYPE_CHECKING:
    from kit.science.arm_verdict import ArmVerdicts

_THE_SAME = f"'{EQUIVALENT[:1].upper()}{EQUIVALENT[1:]}'"


@dataclass(frozen=True)
class Judged:
    """All arms of one property at one age against the control.

    Parameters
    ----------
    differences : dict   Arm to its difference; only arms with batch values beside a control with batch values.
    analysis : str       Which analysis, and why; empty where nothing was compared.
    multiplicity : str   How several arms were allowed for; empty for one.
    notes : tuple        What all of them have to be read with.
    """

    differences: Mapping[str, Difference]
    analysis: str = ""
    multiplicity: str = ""
    notes: tuple[str, ...] = ()


def against_control(
    control: tuple[str, Sequence[BatchValue]],
    arms: Mapping[str, Sequence[BatchValue]],
    history: Mapping[str, Sequence[BatchValue]],
    *,
    scale: str,
    unit: str,
    places: Mapping[str, int],
    margin: float | None = None,
    cautions: Mapping[str, Sequence[str]] | None = None,
) -> Judged:
    """Set arms against their control; the batch is the unit.

    Parameters
    ----------
    control : (label, values)   Batch values of the control, at least one.
    arms : dict                 Label to batch values, at least one each.
    history : dict              Label to batch values of earlier versions that were made more than once.
    scale, unit : str           "ln" gives ratios; unit of the values.
    places : dict               Label to the decimals its readings were typed with.
    margin : float              What is too small to matter, stated beforehand: a ratio above 1, or a difference.
    cautions : dict             Label to what weakens its difference from outside.

    Returns
    -------
    Judged   The analysis is chosen by how batches lie on days, see `kit.science.arm_verdict`.
    """
    if not arms:
        return Judged({})
    from kit.science.arm_verdict import arm_verdicts

    found = arm_verdicts(
        _batches(*control),
        [_batches(label, values) for label, values in arms.items()],
        scale=scale,
        margin=margin,
        history=[_batches(label, values) for label, values in history.items()],
        unit=unit,
    )
    words = DifferenceWords(found, margin, scale, unit)
    differences = {
        verdict.label: words.difference(
            verdict,
            arms[verdict.label],
            control[1],
            places=places.get(verdict.label, 2),
            cautions=(cautions or {}).get(verdict.label, ()),
        )
        for verdict in found.verdicts
    }
    multiplicity = " ".join(told for told in (found.multiplicity, _same_words(found)) if told)
    return Judged(differences, found.why, multiplicity, found.notes)


def _same_words(found: ArmVerdicts) -> str:
    """Of which of several versions "the same" holds by itself, and of which with all in view; empty where of none."""
    held = {verdict.label: verdict.equivalence for verdict in found.verdicts if verdict.equivalence is not None}
    if len(found.verdicts) < 2 or not any(same.shown for same in held.values()):
        return ""
    together = [label for label, same in held.items() if same.shown_together]
    named = "all of them" if len(together) == len(found.verdicts) else ", ".join(together) or "none of them"
    return (
        f"{_THE_SAME} is told of each version by itself, where 5 % of those that differ by the whole margin are called "
        f"the same too; with all {len(found.verdicts)} in view, by one-sided bounds that hold at once (95 %), it is "
        f"told of {named}."
    )


def _batches(label: str, values: Sequence[BatchValue]):
    from kit.science.arm_batches import ArmBatches

    return ArmBatches(label, tuple(value.mean for value in values), tuple(value.day for value in values))


def together_words(results: Sequence, versions: int) -> str:
    """How several versions against one control were allowed for, in a sentence; empty for one.

    Parameters
    ----------
    results : sequence of PropertyResult
    versions : int   Beside the control.
    """
    if versions < 2 or not any(result.multiplicity for result in results):
        return ""
    told = (
        f"{plural(versions, 'version')} against one control: the intervals of a property at an age hold for all of "
        "them together; by itself each would be narrower."
    )
    if not any(result.margin_words for result in results):
        return told
    return f"{told} {_THE_SAME} is told of each by itself, and then with all in view."
