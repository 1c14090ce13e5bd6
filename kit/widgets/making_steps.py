"""The steps of making that a batch asks for: what can be typed for each, what was planned, what was recorded."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from kit.formula.composition import Step
from kit.formula.formula import Formula
from kit.labbook.ledger import Effective
from kit.units import plain

COMBINE, COOL, ADD, STEP, LEFT, VESSEL, WATER, ADJUST, FINISH = (
    "combine",
    "temperature",
    "add",
    "step",
    "weigh-back",
    "gross",
    "top-up",
    "adjust",
    "finish",
)
_ORDERS = ("oil into water", "water into oil")
_STEPS = ("heat", "disperse", "rest", "note")  # recorded as steps; the others have calls of their own


@dataclass(frozen=True, slots=True)
class Field:
    """Something to type: its name, head and unit, what was planned, words that are offered."""

    name: str
    head: str
    unit: str = ""
    planned: str = ""
    options: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MakingStep:
    """One step with its fields; `kind` is that of the entries it makes, `press` stands on its button."""

    key: str
    kind: str
    caption: str
    press: str
    fields: tuple[Field, ...]
    phase: str = ""
    do: str = ""
    text: str = ""
    note: str = ""


def making_steps(formula: Formula) -> tuple[MakingStep, ...]:
    """The steps of a formula in its order; then what a bench day asks for beside them."""
    found: list[MakingStep] = []
    for number, step in enumerate(formula.steps, start=1):
        found += _planned(number, step, formula)
    known = {(step.kind, step.phase) for step in found}
    rest = [_combine(Step("combine"), formula), _cool(Step("cool"))]
    rest += [_add(Step("add", phase.name)) for phase in formula.phases if phase.kind == "cool-down"]
    found += [step for step in rest if (step.kind, step.phase) not in known]
    weighed = (_left(formula), _vessel(), _water())
    adjusters = [step for step in found if step.kind == ADJUST] or [_adjust(Step("adjust"))]
    return (*(step for step in found if step.kind != ADJUST), *weighed, adjusters[0], _finish())


def recorded_words(item: Effective) -> str:
    """What an entry of making holds, in one line."""
    body = item.body
    named = [body.get(name, "") for name in ("text", "container", "order")]
    if item.kind == ADJUST:
        named.append(body["material_row"]["name"])
    temps = [f"{name} {temp} °C" for name, temp in body.get("temps_c", {}).items()]
    measured = [
        f"{before}{body[name]} {unit}"
        for name, before, unit in (
            ("temp_c", "", "°C"),
            ("minutes_after", "", "min after combining"),
            ("mass_g", "", "g"),
            ("gross_g", "gross ", "g"),
            ("tare_g", "tare ", "g"),
            ("rpm", "", "rpm"),
            ("minutes", "", "min"),
        )
        if body.get(name)
    ]
    return ", ".join([*filter(None, named), *temps, *measured, *filter(None, [body.get("note", "")])]) or "done"


def belongs(item: Effective, step: MakingStep) -> bool:
    """Whether an entry was made by this step."""
    if item.kind != step.kind:
        return False
    if step.kind == ADD:
        return item.body["phase"] == step.phase
    if step.kind == STEP:
        return (item.body["do"], item.body["phase"]) == (step.do, step.phase)
    return True


def _planned(number: int, step: Step, formula: Formula) -> Iterable[MakingStep]:
    if step.do in _STEPS:
        yield _other(number, step)
    elif step.do == "combine":
        yield _combine(step, formula)
    elif step.do == "cool":
        yield _cool(step)
    elif step.do == "add" and step.phase:
        yield _add(step)
    elif step.do == "adjust":
        yield _adjust(step)


def _other(number: int, step: Step) -> MakingStep:
    phase = f" phase {step.phase}" if step.phase else ""
    fields = (*_temp(step), *_speed(step), *([] if step.do == "heat" else [Field("text", "what was done")]))
    return MakingStep(
        f"step-{number}",
        STEP,
        f"{step.do.capitalize()}{phase}",
        "Record this step",
        tuple(one for one in fields if one.name != "rpm" or step.rpm is not None),
        phase=step.phase,
        do=step.do,
        text=step.text,
        note=step.text,
    )


def _combine(step: Step, formula: Formula) -> MakingStep:
    planned = dict(step.temps_c)
    hot = [phase.name for phase in formula.phases if phase.kind in ("water", "oil")]
    temps = [Field(name, f"phase {name}, °C", "degC", _number(planned.get(name))) for name in hot]
    after = Field("after", "after, °C", "degC", _number(planned.get("after")))
    order = Field("order", "order", options=_ORDERS)
    return MakingStep(
        COMBINE, COMBINE, "Combine", "Record the combining", (*temps, after, *_speed(step), order), note=step.text
    )


def _cool(step: Step) -> MakingStep:
    fields = (*_temp(step), Field("at", "minutes after combining", "min"))
    text = f"{step.text.rstrip('.')}. " if step.text else ""
    note = f"{text}Points around 40 °C and below let cooling times be compared."
    return MakingStep(COOL, COOL, "Cooling log", "Record the temperature", fields, note=note)


def _add(step: Step) -> MakingStep:
    return MakingStep(
        f"add-{step.phase}",
        ADD,
        f"Add phase {step.phase}",
        f"Record that phase {step.phase} is in",
        (*_temp(step), *_speed(step)),
        phase=step.phase,
        note=step.text,
    )


def _left(formula: Formula) -> MakingStep:
    places = (*(f"beaker {phase.name}" for phase in formula.phases if phase.kind != "adjust"), "mixing head")
    fields = (Field("container", "what was weighed back", options=places), Field("mass", "left in it, g", "g"))
    note = (
        "What stayed in a beaker or on the mixing head: full less clean, on the balance. Never by hand while it runs."
    )
    return MakingStep(LEFT, LEFT, "What stayed behind", "Record what stayed behind", fields, note=note)


def _vessel() -> MakingStep:
    fields = (Field("gross", "vessel with batch, g", "g"), Field("tare", "empty vessel, g", "g"))
    note = "Below 50 °C. What is missing after the losses above is taken for water."
    return MakingStep(VESSEL, VESSEL, "Vessel on the balance", "Record the vessel", fields, note=note)


def _water() -> MakingStep:
    note = "Boiled and cooled."
    return MakingStep(
        WATER,
        WATER,
        "Water made up",
        "Record the water",
        (Field("mass", "water, g", "g"), Field("lot", "lot")),
        note=note,
    )


def _adjust(step: Step) -> MakingStep:
    usual = ("citric acid 10 %", "lactic acid 10 %", "sodium hydroxide 10 %")
    fields = (
        Field("material", "what was poured in", options=usual),
        Field("mass", "mass, g", "g"),
        Field("lot", "lot"),
        Field("why", "why"),
    )
    text = f"{step.text.rstrip('.')}. " if step.text else ""
    note = f"{text}It becomes part of the formula. Goggles and gloves; drop by drop, stirring."
    return MakingStep(ADJUST, ADJUST, "Adjust", "Record what was poured in", fields, note=note)


def _finish() -> MakingStep:
    note = "Ages count from here, and nothing more can be added to the batch."
    return MakingStep(
        FINISH, FINISH, "End of making", "Making is finished", (Field("note", "note, if any"),), note=note
    )


def _temp(step: Step) -> tuple[Field, ...]:
    named: Mapping[str, Decimal] = dict(step.temps_c)
    planned = step.temp_c if step.temp_c is not None else named.get(step.phase)
    return (Field("temp", "temperature, °C", "degC", _number(planned)),)


def _speed(step: Step) -> tuple[Field, ...]:
    return (
        Field("rpm", "speed, rpm", "rpm", _number(step.rpm)),
        Field("minutes", "minutes", "min", _number(step.minutes)),
    )


def _number(value: Decimal | None) -> str:
    return "" if value is None else plain(value)
