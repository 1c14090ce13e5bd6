"""What goes with the day of making: settings and lines it cannot be told from, and versions of other days."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal, InvalidOperation

from kit.trials.arms import Arm, day_made
from kit.trials.changes import Changes
from kit.trials.process import process_of
from kit.trials.results import UNTESTED, PropertyResult

# what is chosen at the bench; temperatures and times of cooling are what came of it
_CHOSEN = ("rpm", "minutes")
_READ = "minutes from combining"
_HOLD = {"combining, minutes": "hold time (combining, minutes)", "combining, rpm": "speed (combining, rpm)"}
_FEWEST_LEVELS = 3  # of a line: two versions on two days are told by the days without a control


def coinciding_with_day(arms: Sequence[Arm], changes: Changes) -> tuple[str, ...]:
    """What goes with the day of making among these batches, a sentence each; nothing where all were made on one day.

    Parameters
    ----------
    arms : sequence of Arm   With their batches.
    changes : Changes        Their lines as meant, in the order of the arms.

    Returns
    -------
    tuple of str   Only what was chosen: speeds and times of the steps, and lines at three levels or more.
    """
    from kit.science.design_day import confounded_with_day

    batches = [batch for arm in arms for batch in arm.batches]
    days = [day_made(batch) for batch in batches]
    if len(set(days)) < 2:
        return ()
    levels = _settings([process_of(batch) for batch in batches]) | _lines(arms, changes)
    found = confounded_with_day(levels, days, interactions=False) if levels else ()
    return tuple(one.words for one in found)


def cross_day(arms: Sequence[Arm], changes: Changes, results: Sequence[PropertyResult]) -> str:
    """Versions made on no day of the control and tested nowhere, with what they change, in a sentence; empty for none.

    Parameters
    ----------
    arms : sequence of Arm                The control first.
    changes : Changes                     Their lines as meant, in the order of the arms.
    results : sequence of PropertyResult  With the differences.
    """
    control, told = arms[0], []
    for place, arm in enumerate(arms[1:], start=1):
        if set(arm.days) & set(control.days) or not _untested(arm, results):
            continue
        told.append(f"{arm.label} ({', '.join(_changed(place, changes)) or 'the making'})")
    if not told:
        return ""
    return (
        f"Cross-day and not tested: {'; '.join(told)}. Made on no day of the control, and nothing says how far batches "
        "scatter: what stands beside the control holds the day as well as the change."
    )


def _untested(arm: Arm, results: Sequence[PropertyResult]) -> bool:
    """Whether there are differences of this arm and none has an interval."""
    found = [result.arm(arm.label).difference for result in results]
    verdicts = {difference.verdict for difference in found if difference is not None}
    return verdicts == {UNTESTED}


def _changed(place: int, changes: Changes) -> list[str]:
    """Lines that an arm has otherwise than the control, largest change first, and whether its steps are others."""
    lines = [line for line in changes.lines if not line.absorbs and line.pcts[place] != line.pcts[0]]
    names = [line.material for line in sorted(lines, key=lambda line: -abs(_gap(line.pcts, place)))]
    return [*names, *(["steps"] if changes.diffs[place].steps else [])]


def _gap(pcts: Sequence[Decimal | None], place: int) -> Decimal:
    return (pcts[place] or Decimal(0)) - (pcts[0] or Decimal(0))


def _settings(done: Sequence[dict[str, str]]) -> dict[str, list[float | None]]:
    """Speeds and times that were recorded at more than one level."""
    subjects = dict.fromkeys(subject for told in done for subject in told)
    chosen = [name for name in subjects if name.endswith(_CHOSEN) and not name.startswith(_READ)]
    levels = {_HOLD.get(name, name): [_number(told.get(name)) for told in done] for name in chosen}
    return {
        name: values for name, values in levels.items() if len({value for value in values if value is not None}) > 1
    }


def _lines(arms: Sequence[Arm], changes: Changes) -> dict[str, list[float]]:
    """Changed lines at three levels or more, as meant, a level a batch; not the line that takes up the change."""
    levels: dict[str, list[float]] = {}
    for line in changes.lines:
        meant = [float(pct or 0) for pct in line.pcts]
        if not line.absorbs and len(set(meant)) >= _FEWEST_LEVELS:
            name = f"{line.material}, % w/w"
            levels[f"{name} (phase {line.phase})" if name in levels else name] = [
                level for arm, level in zip(arms, meant, strict=True) for _ in arm.batches
            ]
    return levels


def _number(text: str | None) -> float | None:
    try:
        return float(Decimal(text)) if text else None
    except InvalidOperation:
        return None
