"""How the batches were made, side by side: temperatures, speeds, minutes, cooling; what is absent says NOT RECORDED."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from kit.labbook.ledger import Effective
from kit.labbook.view import BatchView
from kit.trials.arms import Arm
from kit.trials.as_made import Row
from kit.trials.wording import NOT_RECORDED, joined
from kit.units import plain

# the temperature the cooling time is read at: cool-down phases go in about there (common practice, no source)
COOLED_TO_C = Decimal(40)

_HOT = ("water", "oil")


def process_rows(arms: Sequence[Arm]) -> tuple[tuple[Row, ...], int]:
    """What differs between batches or was not recorded, a row a subject, and how many subjects are identical."""
    done = {batch.name: process_of(batch) for arm in arms for batch in arm.batches}
    subjects = list(dict.fromkeys(subject for found in done.values() for subject in found))
    rows, identical = [], 0
    for subject in subjects:
        values = {found.get(subject, NOT_RECORDED) for found in done.values()}
        if len(values) == 1 and not next(iter(values)).startswith(NOT_RECORDED):
            identical += 1
            continue
        rows.append(
            (
                subject,
                tuple(
                    joined({batch.name: done[batch.name].get(subject, NOT_RECORDED) for batch in arm.batches})
                    for arm in arms
                ),
            )
        )
    return tuple(rows), identical


def process_of(batch: BatchView) -> dict[str, str]:
    """One batch's process by subject; the subjects that a repeat needs are always there."""
    return {
        **_combination(batch),
        f"minutes from combining to {COOLED_TO_C} °C": cooling_minutes(batch),
        **_additions(batch),
        **_steps(batch),
    }


def cooling_minutes(batch: BatchView) -> str:
    """Minutes from combining until the batch had cooled to 40 °C, between two logged points by a straight line."""
    log = _cooling_log(batch)
    if not log:
        return f"{NOT_RECORDED} (no cooling log)"
    for (before, warm), (after, cold) in itertools.pairwise(log):
        if warm > COOLED_TO_C >= cold:
            return f"{before + (after - before) * (warm - COOLED_TO_C) / (warm - cold):.0f}"
    held = ", ".join(f"{plain(temp)} °C" for _, temp in log)
    return f"{NOT_RECORDED} (the log does not pass {COOLED_TO_C} °C: {held})"


def _combination(batch: BatchView) -> dict[str, str]:
    done = batch.standing("combine")
    body = done[-1].body if done else {}
    temps = body.get("temps_c", {})
    hot = [phase.name for phase in batch.formula.phases if phase.kind in _HOT]
    told = {f"phase {name} at combining, °C": _figure(temps.get(name)) for name in hot}
    told["after combining, °C"] = _figure(temps.get("after"))
    told["order of combining"] = body.get("order") or NOT_RECORDED
    return told | {f"combining, {word}": _figure(body.get(word)) for word in ("rpm", "minutes")}


def _additions(batch: BatchView) -> dict[str, str]:
    told = {
        f"phase {phase.name} added at, °C": NOT_RECORDED for phase in batch.formula.phases if phase.kind == "cool-down"
    }
    for item in batch.standing("add"):
        name = f"phase {item.body['phase']} added"
        told[f"{name} at, °C"] = _figure(item.body.get("temp_c"))
        told |= {f"{name}, {word}": _figure(item.body[word]) for word in ("rpm", "minutes") if word in item.body}
    return told


def _steps(batch: BatchView) -> dict[str, str]:
    """Other steps, numbered by kind: what was measured in each, or its words."""
    told: dict[str, str] = {}
    seen: dict[str, int] = {}
    for item in batch.standing("step"):
        name = _step_name(item)
        seen[name] = seen.get(name, 0) + 1
        subject = name if seen[name] == 1 else f"{name} ({seen[name]})"
        told[subject] = _step_words(item)
    return told


def _figure(text: str | None) -> str:
    """A recorded number in one spelling, so that 78 and 78.0 are no difference."""
    return plain(Decimal(text).normalize()) if text else NOT_RECORDED


def _step_name(item: Effective) -> str:
    phase = f", phase {item.body['phase']}" if item.body.get("phase") else ""
    return f"{item.body.get('do', 'note')}{phase}"


def _step_words(item: Effective) -> str:
    measured = [
        f"{_figure(item.body[name])} {unit}"
        for name, unit in (("temp_c", "°C"), ("rpm", "rpm"), ("minutes", "min"))
        if name in item.body
    ]
    return ", ".join([*([item.body["text"]] if item.body.get("text") else []), *measured]) or "done"


def _cooling_log(batch: BatchView) -> list[tuple[Decimal, Decimal]]:
    """Minutes after combining and temperature, in order of time; the temperature after combining is the first point."""
    points = []
    for item in batch.standing("temperature"):
        minutes = _minutes_after(item, batch)
        if minutes is not None and "temp_c" in item.body and item.body.get("place", "batch") == "batch":
            points.append((minutes, Decimal(item.body["temp_c"])))
    done = batch.standing("combine")
    after = done[-1].body.get("temps_c", {}).get("after") if done else None
    if after and points and not any(minutes == 0 for minutes, _ in points):
        points.append((Decimal(0), Decimal(after)))
    return sorted(points, key=lambda point: point[0])


def _minutes_after(item: Effective, batch: BatchView) -> Decimal | None:
    if "minutes_after" in item.body:
        return Decimal(item.body["minutes_after"])
    if not batch.combined_at:
        return None
    seconds = (datetime.fromisoformat(item.measured_at) - datetime.fromisoformat(batch.combined_at)).total_seconds()
    return Decimal(round(seconds)) / 60 if seconds >= 0 else None
