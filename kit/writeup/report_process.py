"""The sections of a write-up about how the batch was made."""

from __future__ import annotations

from decimal import Decimal

from kit.bench.weighing import judge
from kit.formula.composition import Step
from kit.labbook.ledger import Effective
from kit.labbook.times import show_time
from kit.labbook.view import BatchView
from kit.show import Cell, Table
from kit.trials.as_made import made_of
from kit.units import plain
from kit.writeup.report_formula import NOT_RECORDED
from kit.writeup.tip_speed import recorded_diameter, speed_words

_EQUIPMENT = ("vessel", "heating", "stirrer", "high-shear head", "balance", "probe")


def equipment(batch: BatchView) -> Table:
    """What the batch was made with; the usual items that were not entered say so."""
    held: dict[str, str] = {"balance": ", ".join(dict.fromkeys(str(line.balance) for line in batch.sheet.lines))}
    for item in batch.standing("equipment"):
        held.update(item.body["items"])
    names = dict.fromkeys([*_EQUIPMENT, *held])
    return Table(
        ("item", "used"), [(name, held.get(name) or NOT_RECORDED) for name in names], title=f"{batch.name}: equipment"
    )


def steps_planned(batch: BatchView) -> Table:
    """The steps with their targets, as planned in the formula."""
    rows = [
        (
            str(number),
            step.do,
            step.phase or "–",
            _temps(step),
            _number(step.rpm),
            _number(step.minutes),
            step.text or "–",
        )
        for number, step in enumerate(batch.formula.steps, start=1)
    ]
    note = "" if rows else "The formula holds no steps: NOT RECORDED."
    return Table(
        ("no.", "do", "phase", "temperature, °C", "rpm", "min", "how"),
        rows,
        title=f"{batch.name}: steps as planned",
        note=note,
        numeric=frozenset({0}),
    )


def steps_done(batch: BatchView) -> Table:
    """What was recorded at the bench, in order, with actual temperatures, speeds, times and masses."""
    diameter_mm = recorded_diameter(batch)
    rows = [
        (show_time(item.measured_at) if item.kind != "temperature" else "", *_done(item, diameter_mm))
        for item in batch.standing(
            "combine",
            "add",
            "step",
            "temperature",
            "weigh-back",
            "gross",
            "top-up",
            "take",
            "adjust",
            "over-weighing",
            "finish",
        )
    ]
    absent = [
        words
        for words, kinds in (
            ("combination (temperatures, order, speed)", ("combine",)),
            ("cooling log", ("temperature",)),
            ("gross mass", ("gross",)),
            ("end of making", ("finish",)),
        )
        if not batch.standing(*kinds)
    ]
    added = {item.body["phase"] for item in batch.standing("add")}
    absent += [
        f"adding phase {phase.name} (temperature, speed)"
        for phase in batch.formula.phases
        if phase.kind not in ("water", "oil") and phase.name not in added
    ]
    rows += [("", words, NOT_RECORDED, "") for words in absent]
    return Table(
        ("time", "step", "recorded", "mass, g"), rows, title=f"{batch.name}: steps as done", numeric=frozenset({3})
    )


def deviations(batch: BatchView, flagged: list[tuple[str, str, str]]) -> Table:
    """Weighings outside tolerance, corrections, voids and flagged readings."""
    rows = []
    for line in batch.sheet.lines:
        mass = sum(_weights(batch, line.place), Decimal(0))
        verdict = judge(line, mass) if mass else None
        if verdict is not None and verdict.verdict in ("over", "under"):
            rows.append(("weighing", verdict.words(), _choice(batch, line.material.key)))
    for item in batch.effective:
        if item.corrected_by:
            rows.append(
                (
                    "correction",
                    f"entry {item.seq} ({item.kind}) put right by entry {item.corrected_by}",
                    item.why_corrected,
                )
            )
        if item.void:
            rows.append(("void", f"entry {item.seq} ({item.kind})", item.void))
    rows += [("flagged reading", words, code) for _, words, code in flagged]
    made, _ = made_of(batch)
    rows += [(finding.severity, finding.words, finding.code) for finding in (made.findings if made else ())]
    note = "" if rows else "None recorded."
    return Table(("kind", "what", "why or code"), rows, title=f"{batch.name}: deviations", note=note)


def _weights(batch: BatchView, place: tuple[str, str]):
    for item in batch.standing("weigh"):
        if (item.body["phase"], item.body["material"]) == place:
            yield Decimal(item.body["mass_g"])


def _choice(batch: BatchView, key: str) -> str | Cell:
    for item in batch.standing("over-weighing"):
        if item.body["material"] == key:
            return f"{item.body['choice']}: {item.body['why']}"
    return NOT_RECORDED


def _done(item: Effective, diameter_mm: Decimal | None) -> tuple[object, object, object]:
    """What was done, how, and the mass where one was weighed [g]; the head's diameter gives a tip speed. [mm]"""
    body = item.body
    match item.kind:
        case "combine":
            temps = (
                ", ".join(f"{name} {temp} °C" for name, temp in sorted(body["temps_c"].items()))
                or "temperatures NOT RECORDED"
            )
            how = [temps, body["order"] or "order NOT RECORDED", *_speed(body, diameter_mm)]
            return f"combine {' + '.join(body['phases'])}", "; ".join(how), "–"
        case "add":
            return f"add phase {body['phase']}", "; ".join([_at(body), *_speed(body)]), "–"
        case "temperature":
            when = (
                f"{body['minutes_after']} min after combining"
                if "minutes_after" in body
                else show_time(item.measured_at)
            )
            return "cooling", f"{body['temp_c']} °C, {when}", "–"
        case "gross" | "weigh-back" | "top-up" | "take" | "adjust":
            return _weighed(item)
        case "over-weighing":
            return "over-weighed line", f"{body['material']}: {body['choice']}, {body['why']}", "–"
        case "finish":
            return "end of making", body.get("note") or "ages count from here", "–"
        case _:
            return (
                body.get("do", item.kind),
                "; ".join([body.get("text", ""), *([_at(body)] if body.get("temp_c") else []), *_speed(body)]),
                "–",
            )


def _weighed(item: Effective) -> tuple[object, object, object]:
    body, mass = item.body, item.body.get("mass_g", "–")
    match item.kind:
        case "weigh-back":
            return "weigh back", f"left in the {body['container']} (phase {body['phase']})", mass
        case "top-up":
            return "water make-up", body.get("note") or "water added", mass
        case "take":
            return "sample taken", body.get("why") or NOT_RECORDED, mass
        case "adjust":
            return "adjust", f"{body['material_row']['name']}{': ' + body['why'] if body.get('why') else ''}", mass
        case _:
            return "gross mass", f"gross {body['gross_g']} g, tare {body['tare_g']} g", _net(body)


def _net(body: dict) -> str:
    return plain(Decimal(body["gross_g"]) - Decimal(body["tare_g"]))


def _at(body: dict) -> str:
    return f"at {body['temp_c']} °C" if body.get("temp_c") else "temperature NOT RECORDED"


def _speed(body: dict, diameter_mm: Decimal | None = None) -> list[str]:
    speed = [speed_words(Decimal(body["rpm"]), diameter_mm)] if body.get("rpm") else []
    return [*speed, *([f"{body['minutes']} min"] if body.get("minutes") else [])]


def _temps(step: Step) -> str:
    named = [f"{name} {plain(temp)}" for name, temp in step.temps_c]
    return ", ".join([*([plain(step.temp_c)] if step.temp_c is not None else []), *named]) or "–"


def _number(value) -> str:
    return "–" if value is None else plain(value)
