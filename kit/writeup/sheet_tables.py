"""The tables of a batch sheet on paper: targets beside blanks to fill in by hand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

from kit.bench.methods import Method
from kit.bench.sheet import Sheet, SheetLine
from kit.formula.composition import Step, show_pct
from kit.formula.model import SpecLine
from kit.show import Cell, Table
from kit.units import plain
from kit.writeup.tip_speed import speed_words

GAP = "\u2003 "  # between blanks: a space that stays
TIGHT = "\u00a0"  # between a blank and its unit, which are not parted at the end of a line
NOT_TO_1_PCT = "not to 1 % *"
_FINER = "* cannot be weighed to 1 %: finer balance or stock solution."
_HOT = ("water", "oil")


def blank(unit: str = "", width: int = 7) -> str:
    """A line to write on, with its unit."""
    return f"{'_' * width}{TIGHT}{unit}" if unit else "_" * width


def tolerance_words(line: SheetLine) -> str:
    """The tolerance of a line in steps of its balance, or what to do where no balance weighs it to 1 %."""
    if line.tolerance_g is None:
        return NOT_TO_1_PCT if line.target_g else line.tolerance_words()
    division = line.balance.division_g
    shown = line.tolerance_g // division * division  # what the display can tell: 3.318 g on a 0.01 g balance is 3.31
    return f"± {plain(shown)}" if shown else line.tolerance_words()


def weighing_table(sheet: Sheet) -> Table:
    """What to weigh, phase by phase with the mass of each, and blanks for what was weighed, its lot and who did it."""
    balances = {str(line.balance): line.balance for line in sheet.lines}
    rows: list[tuple[object, ...]] = []
    for phase, lines in _by_phase(sheet.lines):
        rows += [_weighing_row(line, len(balances) > 1) for line in lines]
        rows.append(_sum_row(f"phase {phase} together", lines))
    rows.append(_sum_row("total", sheet.lines))
    return Table(
        ("phase", "material", "function", "% w/w", "target, g", "tolerance, g", "weighed, g", "lot", "by"),
        rows,
        title="Weigh",
        note=" ".join(filter(None, [f"Balances: {', '.join(balances)}.", small_words(sheet.lines)])),
        numeric=frozenset({3, 4}),
        key="sheet-weigh",
    )


def _by_phase(lines: Iterable[SheetLine]) -> list[tuple[str, list[SheetLine]]]:
    groups: dict[str, list[SheetLine]] = {}
    for line in lines:
        groups.setdefault(line.phase, []).append(line)
    return list(groups.items())


def _weighing_row(line: SheetLine, several: bool) -> tuple[object, ...]:
    material, balance = line.material, line.balance
    on = f" ({balance.name or f'{plain(balance.division_g)} g'})" if several else ""
    return (
        line.phase,
        material.name,
        material.function or material.label_inci,
        show_pct(line.pct),
        plain(line.target_g),
        f"{tolerance_words(line)}{on}",
        "",
        "",
        "",
    )


def _sum_row(words: str, lines: Iterable[SheetLine]) -> tuple[object, ...]:
    lines = tuple(lines)
    pct = sum((line.pct for line in lines), Decimal(0))
    grams = sum((line.target_g for line in lines), Decimal(0))
    return ("", Cell(words, "strong"), "", show_pct(pct), Cell(mass_words(grams), "strong"), "", "", "", "")


def mass_words(grams: Decimal) -> str:
    """A sum of masses: two decimals, more only where they say something."""
    places = max(2, -grams.normalize().as_tuple().exponent)
    return f"{grams:.{places}f}"


def small_words(lines: Iterable[SheetLine]) -> str:
    """What the mark in the tolerance column stands for; empty where every line can be weighed to 1 %."""
    small = [line for line in lines if line.tolerance_g is None and line.target_g]
    if not small:
        return ""
    least = plain(small[0].balance.smallest_g().normalize())
    return f"{_FINER} The smallest weight for 1 % on the {small[0].balance} balance is {least} g."


def steps_table(steps: Iterable[Step], hot: tuple[str, ...], diameter_mm: Decimal | None) -> Table:
    """The steps with their targets, and blanks for the actual values and the time.

    Parameters
    ----------
    steps : iterable of Step        As planned.
    hot : tuple of str              Names of the water and oil phases: what is read at the combination.
    diameter_mm : Decimal or None   Of the high-shear head, for the tip speed of the combination. [mm]
    """
    rows = [
        (
            str(count),
            f"{step.do} {step.phase}".strip(),
            step_target(step, diameter_mm if step.do == "combine" else None),
            step.text or "–",
            _step_blanks(step, hot),
            "",
        )
        for count, step in enumerate(steps, start=1)
    ]
    return Table(
        ("no.", "step", "target", "how", "actual", "time, by"),
        rows,
        title="Do",
        note="" if rows else "The formula holds no steps: write them down as they are done.",
        numeric=frozenset({0}),
        key="sheet-steps",
    )


def step_target(step: Step, diameter_mm: Decimal | None) -> str:
    """What a step aims at: temperatures, speed and tip speed, minutes."""
    parts = [f"{name}{TIGHT}{plain(temp)}{TIGHT}°C" for name, temp in step.temps_c]
    if step.temp_c is not None:
        parts.append(f"{plain(step.temp_c)}{TIGHT}°C")
    if step.rpm is not None:
        parts.append(speed_words(step.rpm, diameter_mm))
    if step.minutes is not None:
        parts.append(f"{plain(step.minutes)}{TIGHT}min")
    return ", ".join(parts) or "–"


def _step_blanks(step: Step, hot: tuple[str, ...]) -> str:
    if step.do == "combine":
        named = [name for name, _ in step.temps_c] or list(hot)
        names = [*(name for name in named if name != "after"), "after"]
        temps = [f"{name}{TIGHT}{blank('°C', 6)}" for name in names]
        return GAP.join([*temps, blank("rpm", 6), blank("min", 4)])
    parts = [blank("°C", 6)] if step.temp_c is not None or step.temps_c else []
    parts += [blank("rpm", 6)] if step.rpm is not None else []
    parts += [blank("min", 5)] if step.minutes is not None else []
    return GAP.join(parts) or blank("", 16)


def masses_table(sheet: Sheet, ph_words: str = "") -> Table:
    """Gross, weigh-backs, water make-up and pH as equations to fill in, then the end of making and the cleaning.

    Parameters
    ----------
    sheet : Sheet     What is made.
    ph_words : str    What the pH is to be and how to get there; empty without a pH spec.
    """
    phases = [phase for phase, lines in _by_phase(sheet.lines) if lines[0].phase_kind in _HOT]
    hot_g = sum((line.target_g for line in sheet.lines if line.phase_kind in _HOT), Decimal(0))
    backs = [f"beaker {phase} {blank('g', 6)}" for phase in phases]
    planned = f"{' + '.join(phases)} by the plan {mass_words(hot_g)} g; as weighed" if phases else "weighed in"
    rows = [
        ("gross", f"gross {blank('g')} − tare {blank('g')} = net {blank('g')}"),
        ("found back", " + ".join([*backs, f"mixing head, tools {blank('g', 6)}"]) + f" = {blank('g')}"),
        (
            "water make-up",
            f"{planned} {blank('g')} − found back {blank('g')} − samples out {blank('g')} − net {blank('g')} = "
            f"{blank('g')} not found back, called water.{GAP}Added {blank('g')}{GAP}lot {blank('', 9)}",
        ),
        *([("pH target", ph_words)] if ph_words else []),
        (
            "pH in process",
            f"before {blank('', 6)} at {blank('°C', 5)}{GAP}poured in {blank('g')} of {blank('', 16)}{GAP}"
            f"after {blank('', 6)} at {blank('°C', 5)}",
        ),
        (
            "end of making",
            f"time {blank('', 9)} (ages count from here){GAP}yield {blank('g')}{GAP}jars {blank('', 5)}{GAP}"
            f"retained sample {blank('', 9)}",
        ),
        (
            "cleaning",
            f"before: vessel, head, scraper clean and dry, by {blank('', 8)}{GAP}after: washed with {blank('', 9)}, "
            f"rinsed, dried, by {blank('', 7)} at {blank('', 6)}",
        ),
    ]
    return Table(("what", "fill in"), rows, title="Make up and finish", key="sheet-masses")


def measuring_table(spec: Iterable[SpecLine], methods: Mapping[str, Method]) -> Table:
    """What to read and when, by which method, against which limits, with blanks for the value and its conditions."""
    rows = [
        (
            f"{line.property}{f', {line.unit}' if line.unit not in ('', '1') else ''}",
            line.age or blank("", 6),
            line.words(),
            _method_words(line, methods),
            "",
            _reading_blanks(line, methods),
            "",
        )
        for line in spec
    ]
    return Table(
        ("property", "age", "spec", "method", "value", "read at", "time, by"),
        rows,
        title="Read",
        note="" if rows else "Neither formula nor study has a spec: nothing to read is asked for.",
        key="sheet-read",
    )


def _method_of(line: SpecLine, methods: Mapping[str, Method]) -> Method | None:
    if line.method:
        return methods.get(line.method)
    fitting = [method for method in methods.values() if method.property.lower() == line.property.lower()]
    return fitting[0] if len(fitting) == 1 else None


def _method_words(line: SpecLine, methods: Mapping[str, Method]) -> str:
    found = _method_of(line, methods)
    return found.words() if found else line.method or ("look and note the word" if line.allowed else "NOT RECORDED")


def _reading_blanks(line: SpecLine, methods: Mapping[str, Method]) -> str:
    found = _method_of(line, methods)
    if found is None:
        return "" if line.allowed else blank("°C", 6)
    needs = [blank("°C", 6)]
    needs += [f"torque {blank('%', 5)}"] if "torque_pct" in found.needs else []
    needs += [f"calibration {blank('', 8)}"] if "calibration" in found.needs else []
    needs += [f"instrument {blank('', 7)}"] if "instrument" in found.needs else []
    return GAP.join(needs)
