"""What is carried to another vessel: a formula, how it was made at the bench, and what of that was not recorded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.errors import ParameterError
from kit.formula.composition import Composition, Step
from kit.formula.files import load_formula
from kit.formula.formula import Formula
from kit.formula.library import load_library
from kit.formula.vessel_wall import VesselWall
from kit.labbook.cooling_record import cooling_log, read_after_c, vessel_of
from kit.labbook.source import Source
from kit.labbook.view import BatchView
from kit.units import read
from kit.writeup.scale_report_vessel import WHERE, Vessel, keyed, machine, read_vessel

RECORDED, PLANNED, STATED = "as recorded", "as planned", "as stated"
HEAD, STIRRER = "high-shear head", "stirrer"
MACHINES = (HEAD, STIRRER)
_HEADS = ("high-shear head", "head", "rotor-stator")
_HOT = ("water", "oil")
_AFTER = "after"


@dataclass(frozen=True)
class ScaleSubject:
    """What is scaled, with the conditions of the bench.

    Parameters
    ----------
    title : str                    Batch, trial or formula.
    formula : Formula              As meant: what is weighed out at the scale.
    batch : BatchView              Whose making is scaled; None where nothing was made.
    bench : Vessel                 The vessel of the bench.
    temps_c : mapping              Temperature of each hot phase before the pour. [degC]
    temps_from : str               Where these come from; empty where none is known.
    after_c : float                Of the batch right after the pour; None where not recorded. [degC]
    cool_to : tuple of pairs       Cool-down phases with the batch temperature they go in at. [degC]
    log : tuple of pairs           Minutes after combining and temperature. [min, degC]
    room_c : float                 Of the room as recorded; None where it was not. [degC]
    density_g_ml : float           None where not known. [g/mL]
    density_from : str             Where it comes from.
    """

    title: str
    formula: Formula
    batch: BatchView | None
    bench: Vessel
    temps_c: Mapping[str, float]
    temps_from: str
    after_c: float | None
    cool_to: tuple[tuple[str, float], ...]
    log: tuple[tuple[float, float], ...]
    room_c: float | None
    density_g_ml: float | None
    density_from: str

    @property
    def composition(self) -> Composition:
        """As meant."""
        return self.formula.composition()

    @property
    def hot_phases(self) -> tuple[str, ...]:
        """Names of the water and oil phases."""
        return tuple(phase.name for phase in self.formula.phases if phase.kind in _HOT)

    @property
    def lacking_temps(self) -> tuple[str, ...]:
        """Hot phases whose temperature before the pour is not known."""
        return tuple(name for name in self.hot_phases if name not in self.temps_c)

    @property
    def last_addition_c(self) -> float:
        """Batch temperature at which the coldest addition goes in; 40 where none is told. [degC]"""
        return min((temp for _, temp in self.cool_to), default=USUAL_END_C)


USUAL_END_C = 40.0
"""Where cooling is followed to when no addition tells: common practice, no source. [degC]"""


def read_subject(
    source: Source,
    *,
    trial: str = "",
    batch: str = "",
    formula_file: str | None = None,
    materials: str | None = None,
    from_vessel: str = "",
    temps: Sequence[str] = (),
    density: str = "",
    which: str = HEAD,
) -> ScaleSubject:
    """What these names stand for.

    Parameters
    ----------
    source : Source          A lab book or a snapshot.
    trial : str              Trial: its formula, and its last batch for how it was made.
    batch : str              Batch, "NET-05/1", instead.
    formula_file : str       A formula file instead: then nothing is recorded.
    materials : str          Own materials, a file or a folder.
    from_vessel : str        What is stated of the bench over what was recorded.
    temps : sequence of str  Phase temperatures before the pour, "A: 78 degC".
    density : str            Of the product, "0.98 g/mL".
    which : str              One of `MACHINES`: whose speed and time is meant.

    Raises
    ------
    ParameterError   `scale.nothing`, `scale.two_subjects`, `scale.temps`; as `read_vessel`.
    RecordError      `labbook.trial`, `labbook.batch`.
    KitError         As `load_formula`.
    """
    made, formula, title = _chosen(source, trial, batch, formula_file, materials)
    stated = read_vessel(from_vessel, "from_vessel") if from_vessel else Vessel()
    recorded = _recorded_vessel(made, which) if made else Vessel(name="bench")
    bench = stated.over(_planned_vessel(formula, which, recorded))
    log = cooling_log(made) if made else None
    phase_temps, temps_from = _temps(formula, made, temps)
    return ScaleSubject(
        title,
        formula,
        made,
        bench,
        phase_temps,
        temps_from,
        read_after_c(made) if made else None,
        _cool_to(formula, made),
        log.points if log else (),
        log.room_c if log else None,
        *_density(made, density),
    )


def _chosen(source: Source, trial: str, batch: str, formula_file: str | None, materials: str | None):
    named = [name for name, value in (("trial", trial), ("batch", batch), ("formula_file", formula_file)) if value]
    if batch and trial and batch.startswith(f"{trial}/"):
        named.remove("trial")
    if len(named) != 1:
        raise ParameterError(
            f"{' and '.join(named)} were named together"
            if named
            else "neither trial, batch nor formula file was named",
            where=WHERE,
            allowed="one of them",
            mend='name one: trial = "NET-05", batch = "NET-05/1", or formula_file = "nettle.toml"',
            code="scale.two_subjects" if named else "scale.nothing",
        )
    if formula_file:
        formula = load_formula(formula_file, load_library(materials or None))
        return None, formula, formula.title
    if batch:
        made = source.batch(batch)
        return made, made.formula, f"{made.name}, {made.formula.title}"
    formula = source.trial(trial).formula
    batches = source.batches(trial)
    if not batches:
        return None, formula, f"{trial}, {formula.title}"
    return batches[-1], formula, f"{trial}, {formula.title}, made as {batches[-1].name}"


def _recorded_vessel(batch: BatchView, which: str) -> Vessel:
    """What the record says; the empty mass is the tare weighed with the gross mass."""
    items: dict[str, str] = {}
    for entry in batch.standing("equipment"):
        items.update(entry.body["items"])
    described = vessel_of(batch) or VesselWall("")
    head = next((items[name] for name in _HEADS if name in items), "")
    run = _run(batch, which)
    return Vessel(
        name="bench",
        mass_g=float(batch.batch_g),
        head=machine(head),
        stirrer=machine(items.get("stirrer", "")),
        rpm=run.get("rpm"),
        minutes=run.get("minutes"),
        width_m=None if described.width_cm is None else described.width_cm / 100,
        wall=described.wall,
        wall_g=described.mass_g,
        covered=described.covered,
    )


def _run(batch: BatchView, which: str) -> dict[str, float]:
    """Speed and time of the high-shear head at the combination, or of the stirrer at the last addition."""
    entries = batch.standing("combine" if which == HEAD else "add")
    body = entries[-1].body if entries else {}
    return {name: float(body[name]) for name in ("rpm", "minutes") if body.get(name)}


def _planned_vessel(formula: Formula, which: str, recorded: Vessel) -> Vessel:
    """What was not recorded but stands in the steps of the formula."""
    step = _step(formula.steps, "combine" if which == HEAD else "add")
    planned = Vessel(
        rpm=float(step.rpm) if step and step.rpm else None,
        minutes=float(step.minutes) if step and step.minutes else None,
    )
    return recorded.over(planned)


def _step(steps: Sequence[Step], do: str) -> Step | None:
    return next((step for step in reversed(steps) if step.do == do), None)


def _temps(formula: Formula, batch: BatchView | None, typed: Sequence[str]) -> tuple[dict[str, float], str]:
    if typed:
        return _typed_temps(formula, typed), STATED
    for entry in reversed(batch.standing("combine") if batch else ()):
        found = {name: float(temp) for name, temp in entry.body["temps_c"].items() if name != _AFTER}
        if found:
            return found, RECORDED
    step = _step(formula.steps, "combine")
    found = {name: float(temp) for name, temp in step.temps_c if name != _AFTER} if step else {}
    return found, PLANNED if found else ""


def _typed_temps(formula: Formula, typed: Sequence[str]) -> dict[str, float]:
    where = f"{WHERE}, temps"
    pairs = dict(keyed(text, where) for text in typed)
    phases = [phase.name for phase in formula.phases if phase.kind in _HOT]
    strange = sorted(set(pairs) - set(phases))
    if strange:
        raise ParameterError(
            f"{strange[0]!r} is no hot phase of this formula",
            where=where,
            allowed=", ".join(phases),
            mend='temps = ["A: 78 degC", "B: 80 degC"]',
            code="scale.temps",
        )
    return {name: float(read(text, "degC", where=where)) for name, text in pairs.items()}


def _cool_to(formula: Formula, batch: BatchView | None) -> tuple[tuple[str, float], ...]:
    """Cool-down phases with the temperature they went in at, as recorded; else as planned."""
    added = {entry.body["phase"]: entry.body.get("temp_c") for entry in (batch.standing("add") if batch else ())}
    planned = {step.phase: step.temp_c for step in formula.steps if step.do == "add"}
    found = {
        phase.name: added.get(phase.name) or planned.get(phase.name)
        for phase in formula.phases
        if phase.kind not in _HOT
    }
    return tuple((name, float(temp)) for name, temp in found.items() if temp is not None)


def _density(batch: BatchView | None, typed: str) -> tuple[float | None, str]:
    if typed:
        value = read(typed, "g/mL", where=f"{WHERE}, density")
        if value <= 0:
            raise ParameterError(
                f"a density of {typed}", where=f"{WHERE}, density", mend='density = "0.98 g/mL"', code="scale.value"
            )
        return float(value), STATED
    found: list[Decimal] = [
        reading.value
        for reading in (batch.readings if batch else ())
        if reading.property == "density" and reading.value is not None and not reading.void
    ]
    return (float(found[-1]), f"last density of {batch.name}") if found else (None, "")
