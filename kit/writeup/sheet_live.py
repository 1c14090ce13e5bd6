"""A batch sheet while the batch is made: what was weighed and done, and what is still missing."""

from __future__ import annotations

from decimal import Decimal

from kit.bench.sheet import SheetLine
from kit.bench.weighing import judge
from kit.labbook.times import show_time
from kit.labbook.view import BatchView
from kit.labbook.weighed import as_planned_now, rescaled_by, weighed_g
from kit.show import Cell, Table
from kit.trials.wording import plural
from kit.units import plain
from kit.writeup.sheet_tables import mass_words, small_words, tolerance_words

TO_WEIGH, MISSING = "to weigh", "missing"
_CHOSEN = {"accept": "accepted", "rescale": "the others made bigger"}
_TONES = {"over": "flag", "under": "flag", "within": "pass"}


def weighed_table(batch: BatchView) -> Table:
    """Every line with its target as it stands now, what was weighed, its lot, and whether it is within tolerance."""
    grams, lots = weighed_g(batch.effective), batch.lots()
    rows: list[tuple[object, ...]] = []
    for line in targets_now(batch):
        mass = grams.get(line.place)
        rows.append(
            (
                line.phase,
                line.material.name,
                plain(line.target_g),
                tolerance_words(line),
                "" if mass is None else plain(mass),
                "" if mass is None else ", ".join(lots.get(line.material.key, ())) or Cell("lot NOT RECORDED", "flag"),
                _state(line, mass, batch),
            )
        )
    target = sum((line.target_g for line in targets_now(batch)), Decimal(0))
    total = sum(grams.values(), Decimal(0))
    rows.append(("", Cell("total", "strong"), mass_words(target), "", mass_words(total), "", _left_words(batch)))
    return Table(
        ("phase", "material", "target, g", "tolerance, g", "weighed, g", "lot", "state"),
        rows,
        title=f"{batch.name}: weighed so far",
        note=" ".join(filter(None, [_rescaled_words(batch), small_words(batch.sheet.lines)])),
        numeric=frozenset({2, 3, 4}),
        key="sheet-weighed",
    )


def progress_table(batch: BatchView) -> Table:
    """The stages of making with what was recorded last, or that it is missing."""
    rows = [("lines weighed", _left_words(batch)), *_stages(batch)]
    return Table(("stage", "recorded"), rows, title=f"{batch.name}: where it stands", key="sheet-progress")


def targets_now(batch: BatchView) -> tuple[SheetLine, ...]:
    """The lines of the sheet, made bigger where an over-weighed line was answered so."""
    return tuple(as_planned_now(line, batch.effective) for line in batch.sheet.lines)


def missing_lines(batch: BatchView) -> tuple[SheetLine, ...]:
    """Lines of the sheet with a target of which nothing was weighed."""
    grams = weighed_g(batch.effective)
    return tuple(line for line in batch.sheet.lines if line.target_g and line.place not in grams)


def _rescaled_words(batch: BatchView) -> str:
    factor = rescaled_by(batch.effective)
    return "" if factor == 1 else f"Targets are made bigger by {float(factor):.4f}, after a line was over-weighed."


def _state(line: SheetLine, mass: Decimal | None, batch: BatchView) -> Cell:
    if mass is None:
        return Cell(TO_WEIGH if line.target_g else "–", "strong" if line.target_g else "quiet")
    found = judge(line, mass)
    if found.verdict not in ("over", "under"):
        return Cell(found.verdict, _TONES.get(found.verdict, "quiet"))
    words = f"{found.verdict} by {plain(abs(mass - line.target_g))} g"
    chosen = [item.body for item in batch.standing("over-weighing") if item.body["material"] == line.material.key]
    answer = f", {_CHOSEN[chosen[-1]['choice']]}: {chosen[-1]['why']}" if chosen else ", not answered yet"
    return Cell(words + (answer if found.verdict == "over" else ""), _TONES[found.verdict])


def _left_words(batch: BatchView) -> str:
    wanted = [line for line in batch.sheet.lines if line.target_g]
    left = missing_lines(batch)
    if not left:
        return f"all {plural(len(wanted), 'line')}"
    names = ", ".join(f"{line.material.name} ({line.phase})" for line in left)
    return f"{len(wanted) - len(left)} of {plural(len(wanted), 'line')}; {MISSING}: {names}"


def _stages(batch: BatchView) -> list[tuple[str, object]]:
    asked = [
        ("equipment", batch.standing("equipment")),
        ("phases combined", batch.standing("combine")),
        ("gross mass", batch.standing("gross")),
        ("water make-up", batch.standing("top-up")),
    ]
    asked += [
        (
            f"phase {phase.name} added",
            tuple(item for item in batch.standing("add") if item.body["phase"] == phase.name),
        )
        for phase in batch.formula.phases
        if phase.kind not in ("water", "oil") and phase.lines
    ]
    asked.append(("end of making", batch.standing("finish")))
    return [(name, show_time(found[-1].measured_at) if found else Cell(MISSING, "strong")) for name, found in asked]
