"""What the entries of a batch say, each by itself: what it did to the masses, the step it records, what was read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from kit.bench.events import Added, Adjusted, Combined, Gross, Taken, ToppedUp, Weighed, WeighedBack
from kit.bench.readings import Reading
from kit.formula.composition import Step
from kit.formula.formula import Formula
from kit.formula.material import Material
from kit.labbook.ledger import Effective
from kit.labbook.times import hours_between, show_time
from kit.show import Worded

READING_NUMBERS = ("value", "age_typed_h", "temp_c", "rpm", "torque_pct", "reading_time_s", "rest_h")
READING_WORDS = (
    "property",
    "unit",
    "text",
    "method",
    "instrument",
    "spindle",
    "container",
    "calibration",
    "storage",
    "sample",
    "replicate",
    "operator",
    "note",
)


@dataclass(frozen=True, slots=True, repr=False)
class Observation(Worded):
    """A coded word seen at the bench: grain "none", colour "off-white"."""

    entry: int
    name: str
    word: str
    measured_at: str
    age_h: Decimal | None
    age_typed_h: Decimal | None = None
    note: str = ""
    void: str = ""
    storage: str = ""
    rest_h: Decimal | None = None

    @property
    def words(self) -> str:
        """What was seen, when, and whether it stands: "grain: none, 168.0 h old"."""
        age = self.age_h if self.age_h is not None else self.age_typed_h
        told = [f"{self.name}: {self.word}", "in process" if age is None else f"{age:.1f} h old"]
        told += [f"jar kept at {self.storage}"] if self.storage else []
        told += [f"VOID: {self.void}"] if self.void else []
        return ", ".join(told)


@dataclass(frozen=True, slots=True, repr=False)
class Decision(Worded):
    """What was decided about a batch, by whom and why."""

    entry: int
    verdict: str
    why: str
    by: str
    at: str

    @property
    def words(self) -> str:
        """The decision with its reason, by whom and when."""
        why = f": {self.why}" if self.why else ""
        return f"{self.verdict}{why} (by {self.by or 'NOT RECORDED'}, {show_time(self.at)})"


def age_h(finished_at: str, measured_at: str) -> Decimal | None:
    """Hours from the end of making; None before it. [h]"""
    if not finished_at or not measured_at:
        return None
    age = hours_between(finished_at, measured_at)
    return age if age >= 0 else None


def material_of(body: Mapping, formula: Formula) -> Material:
    """The material an entry names: carried in the entry when it is not one of the formula's lines."""
    if "material_row" in body:
        return Material.from_row(body["material_row"])
    for _, line in formula.placed_lines():
        if line.material.key == body["material"]:
            return line.material
    raise KeyError(body["material"])


def event_of(item: Effective, formula: Formula, phase_kinds: Mapping[str, str], as_lot: Material | None):
    """What an entry did to the masses, for the mass balance; None where it did nothing.

    Parameters
    ----------
    item : Effective
    formula : Formula            Of the batch.
    phase_kinds : mapping        Phase to its kind, "water" or "oil".
    as_lot : Material, None      The material as the certificate of its lot has it.
    """
    body, mass = item.body, decimal_or_none(item.body.get("mass_g"))
    match item.kind:
        case "weigh":
            kind = phase_kinds[body["phase"]]
            return Weighed(material_of(body, formula), body["phase"], kind, mass, as_lot)
        case "weigh-back":
            boat = material_of(body, formula) if body.get("material") else None
            return WeighedBack(mass, body["phase"], body["container"], boat)
        case "combine":
            return Combined(tuple(body["phases"]))
        case "add":
            return Added(body["phase"])
        case "gross":
            phases = body.get("phases_in")
            return Gross(Decimal(body["gross_g"]) - Decimal(body["tare_g"]), tuple(phases) if phases else None)
        case "top-up":
            return ToppedUp(mass, as_lot=as_lot)
        case "adjust":
            return Adjusted(material_of(body, formula), mass, as_lot)
        case "take":
            return Taken(mass, body.get("why", ""))
        case _:
            return None


def step_of(item: Effective) -> Step:
    """The step of the making that an entry records.

    Parameters
    ----------
    item : Effective
    """
    body = item.body
    do = {"step": body.get("do", "note"), "temperature": "cool"}.get(item.kind, item.kind)
    return Step(
        do=do,
        phase=body.get("phase", ""),
        temp_c=decimal_or_none(body.get("temp_c")),
        rpm=decimal_or_none(body.get("rpm")),
        minutes=decimal_or_none(body.get("minutes_after" if item.kind == "temperature" else "minutes")),
        text=body.get("text", body.get("order", "")),
        temps_c=tuple((name, Decimal(temp)) for name, temp in sorted(body.get("temps_c", {}).items())),
    )


def reading_of(item: Effective, batch: str, finished_at: str) -> Reading:
    """The reading that an entry of a batch holds, with its age counted from the end of making.

    Parameters
    ----------
    item : Effective
    batch : str         Its name.
    finished_at : str   The end of its making; empty while it is open.
    """
    body = item.body
    clocked = "" if body.get("untimed") else item.measured_at
    return Reading(
        entry=item.seq,
        batch=batch,
        measured_at=clocked or None,
        age_h=age_h(finished_at, clocked),
        declared=frozenset(body.get("declared", ())),
        void=item.void,
        **{name: decimal_or_none(body.get(name)) for name in READING_NUMBERS},
        **{name: body.get(name, "") for name in READING_WORDS},
    )


def observation_of(item: Effective, finished_at: str) -> Observation:
    """The coded word that an entry of a batch holds.

    Parameters
    ----------
    item : Effective
    finished_at : str   The end of its making; empty while it is open.
    """
    return Observation(
        item.seq,
        item.body["name"],
        item.body["word"],
        item.measured_at,
        age_h(finished_at, item.measured_at),
        decimal_or_none(item.body.get("age_typed_h")),
        item.body.get("note", ""),
        item.void,
        item.body.get("storage", ""),
        decimal_or_none(item.body.get("rest_h")),
    )


def decision_of(item: Effective) -> Decision:
    """The decision that an entry of a batch holds.

    Parameters
    ----------
    item : Effective
    """
    return Decision(item.seq, item.body["verdict"], item.body.get("why", ""), item.body.get("by", ""), item.measured_at)


def decimal_or_none(text: str | None) -> Decimal | None:
    """A kept number, or None where nothing was kept."""
    return None if text in (None, "") else Decimal(text)
