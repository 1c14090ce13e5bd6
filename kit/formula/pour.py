"""Which temperature will the batch have when its hot phases are brought together, and is that warm enough?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from kit.errors import FormulaError
from kit.formula.model import FormulaModel
from kit.formula.rules.findings import PRACTICE, Finding
from kit.formula.thermal import Portion, highest_melt, ingredient_masses, portions_of, streams_of
from kit.formula.vessel_wall import VesselWall
from kit.science.heat_balance import LOSSES, MARGIN_C, MixedTemperature, Stream, mixed_temperature
from kit.science.heating import heat_needed
from kit.science.thermal_facts import heat_capacity_of, melt_of
from kit.science.thermophysical import Mixed, Part, mixed_heat_capacity
from kit.show import Block, Table, listing

HOT_KINDS = ("water", "oil")
ROOM_C = 22.0
"""Temperature a cold vessel, and what is not heated yet, is taken to have. [degC]"""
OFF_C = 3.0
"""A temperature after combining further than this from the balance is worth a look; own choice. [degC]"""


@dataclass(frozen=True, slots=True)
class PourPhase:
    """A phase on its way into the batch.

    Parameters
    ----------
    name : str                   "A".
    kind : str                   "water", "oil" ...
    portions : tuple             Its supply forms and masses. [g]
    temp_c : float               None where no step gives it. [degC]
    """

    name: str
    kind: str
    portions: tuple[Portion, ...]
    temp_c: float | None

    @property
    def mass_g(self) -> float:
        """Of the whole phase. [g]"""
        return sum(mass for _, mass in self.portions)

    @property
    def capacity(self) -> Mixed:
        """Heat capacity at its temperature, with the share of the mass it is known for. [J/(g K)]"""
        masses = ingredient_masses(self.portions)
        temp_c = 75.0 if self.temp_c is None else self.temp_c
        return mixed_heat_capacity([Part(inci, mass, heat_capacity_of(inci, temp_c)) for inci, mass in masses.items()])

    def streams(self) -> list[Stream]:
        """The phase in a heat balance."""
        return streams_of(f"phase {self.name}", self.portions, self.temp_c)


@dataclass(frozen=True, slots=True)
class HoldBack:
    """Water kept cold and added after the pour. [g, degC]"""

    mass_g: float
    temp_c: float

    def stream(self) -> Stream:
        """The water in a heat balance."""
        return Stream("hold-back water", self.mass_g, self.temp_c, heat_capacity_of("Aqua", self.temp_c))


@dataclass(frozen=True)
class Pour:
    """The heat balance of a pour.

    Parameters
    ----------
    title : str                       Formula or batch.
    phases : tuple of PourPhase       What is combined.
    mixed : MixedTemperature          After combining, the vessel included where it is known; None where a phase has no
                                      temperature.
    in_cold : MixedTemperature        The same in a vessel at room temperature; None where the vessel is not known.
    after_hold_back : MixedTemperature   After the cold water; None without any.
    vessel : VesselWall               As described; None where nothing is.
    vessel_c : float                  What the vessel is taken to have. [degC]
    setting_c : float                 Measured setting temperature; None where none was. [degC]
    setting_from : str                Where it was measured.
    planned_after_c : float           What the step says; None where it says nothing. [degC]
    read_after_c : float              What was read after combining; None before or where it was not. [degC]
    findings : tuple of Finding       Cautions first.
    energy_kj : tuple of pairs        Phase and the heat it takes from room temperature, low and high. [kJ]
    """

    title: str
    phases: tuple[PourPhase, ...]
    mixed: MixedTemperature | None
    in_cold: MixedTemperature | None = None
    after_hold_back: MixedTemperature | None = None
    vessel: VesselWall | None = None
    vessel_c: float | None = None
    setting_c: float | None = None
    setting_from: str = ""
    planned_after_c: float | None = None
    read_after_c: float | None = None
    findings: tuple[Finding, ...] = ()
    energy_kj: tuple[tuple[str, tuple[float, float]], ...] = ()

    @property
    def coldest(self) -> MixedTemperature | None:
        """The coldest the batch comes to: after the hold-back water, where there is any."""
        return self.after_hold_back or self.mixed

    @property
    def known_share(self) -> float:
        """Share of the mass of the phases whose heat capacity is known, the vessel apart. [-]"""
        total = sum(phase.mass_g for phase in self.phases)
        return sum(phase.mass_g * phase.capacity.known_share for phase in self.phases) / total

    @property
    def cautions(self) -> tuple[Finding, ...]:
        """What to see to before the batch is made."""
        return tuple(finding for finding in self.findings if finding.severity == "caution")

    @property
    def words(self) -> str:
        """The mixing temperature in one sentence, or why there is none."""
        if self.mixed is None:
            blind = ", ".join(phase.name for phase in self.phases if phase.temp_c is None)
            return f"Mixing temperature NOT COMPUTED: no step gives a temperature for phase {blind}."
        cold = f"; after the hold-back water {span(self.after_hold_back)}" if self.after_hold_back else ""
        known = f"heat capacity known for {self.known_share:.1%} of what is poured"
        return f"Mixing temperature {span(self.mixed)}{cold}; {known}; {LOSSES}."

    def table(self) -> Table:
        """What is brought together, and what comes of it."""
        energy = dict(self.energy_kj)
        rows = [self._phase_row(phase, energy.get(phase.name)) for phase in self.phases]
        vessel = self.vessel.stream(self.vessel_c) if self.vessel and self.vessel_c is not None else None
        if vessel is not None:
            capacity = f"{vessel.heat_capacity_j_gk:.2f}"
            rows.append((vessel.name, f"{vessel.mass_g:.0f}", f"{vessel.temp_c:.0f}", capacity, "", ""))
        results = (
            ("after combining", self.mixed),
            (f"the same, vessel at {ROOM_C:g} °C", self.in_cold),
            ("after the hold-back water", self.after_hold_back),
        )
        read = [] if self.read_after_c is None else [("read after combining", "", f"{self.read_after_c:g}", "", "", "")]
        rows += [(name, "", span(found, unit=False), "", "", "") for name, found in results if found is not None]
        rows += read
        heads = ("", "mass, g", "temperature, °C", "heat capacity, J/(g K)", "known of the mass", "heat it takes, kJ")
        note = (
            f"Heat from {ROOM_C:g} °C, no losses, no vessel. Published values; what is not known lies between bounds."
        )
        return Table(heads, rows, title=f"Heat balance of the pour: {self.title}", note=note, numeric=_NUMERIC)

    def _phase_row(self, phase: PourPhase, energy: tuple[float, float] | None) -> tuple[str, ...]:
        capacity = phase.capacity
        temp = "NOT KNOWN" if phase.temp_c is None else f"{phase.temp_c:g}"
        heat = "" if energy is None else between(*energy, ".0f")
        value = between(capacity.low, capacity.high, ".2f")
        return f"phase {phase.name}", f"{phase.mass_g:.1f}", temp, value, f"{capacity.known_share:.1%}", heat

    def _block(self) -> Block:
        told = [f"{finding.severity.upper()} {finding.words}" for finding in self.findings]
        return Block((self.words, self.table(), *([listing("To see to", told)] if told else [])))

    def _repr_html_(self) -> str:
        return self._block()._repr_html_()

    def __str__(self) -> str:
        return str(self._block())

    __repr__ = __str__


_NUMERIC = frozenset({1, 2, 3, 4, 5})


def span(mixed: MixedTemperature, *, unit: bool = True) -> str:
    """A temperature with the ends that unknown heat capacities leave open: "77.4 to 78.1 °C".

    Parameters
    ----------
    mixed : MixedTemperature   From a heat balance.
    unit : bool                Whether to write the unit.
    """
    return between(mixed.low_c, mixed.high_c, ".1f") + (" °C" if unit else "")


def between(low: float, high: float, form: str) -> str:
    """Two ends as text, one number where they print alike.

    Parameters
    ----------
    low, high : float   Ends, any unit.
    form : str          Format of each, ".1f".
    """
    ends = format(low, form), format(high, form)
    return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


def planned_phases(
    formula: FormulaModel, batch_g: float, temps_c: Mapping[str, float] | None = None
) -> list[PourPhase]:
    """The hot phases of a formula with the temperatures that its steps give them.

    Parameters
    ----------
    formula : FormulaModel   As meant.
    batch_g : float          Mass to make. [g]
    temps_c : mapping        Temperatures that go before those of the steps, by phase. [degC]
    """
    composition, planned = formula.composition(), {**planned_temps(formula), **(temps_c or {})}
    return [
        PourPhase(
            phase.name, phase.kind, tuple(portions_of(composition, batch_g, [phase.name])), planned.get(phase.name)
        )
        for phase in formula.phases
        if phase.kind in HOT_KINDS and any(line.qs or line.pct for line in phase.lines)
    ]


def planned_temps(formula: FormulaModel) -> dict[str, float]:
    """Temperature of each phase at the pour: of the step that combines, else the last it is heated to. [degC]

    Parameters
    ----------
    formula : FormulaModel   With its steps.
    """
    found: dict[str, float] = {}
    for step in formula.steps:
        if step.do == "heat" and step.phase and step.temp_c is not None:
            found[step.phase] = float(step.temp_c)
        if step.do == "combine":
            found |= {name: float(temp) for name, temp in step.temps_c}
    return found


def balance_pour(
    title: str,
    phases: Sequence[PourPhase],
    *,
    vessel: VesselWall | None = None,
    vessel_c: float | None = None,
    setting_c: float | None = None,
    setting_from: str = "",
    hold_back: HoldBack | None = None,
    planned_after_c: float | None = None,
) -> Pour:
    """The heat balance of a pour, and what to see to before it.

    Parameters
    ----------
    title : str                      Formula or batch.
    phases : sequence of PourPhase   What is combined.
    vessel : VesselWall              The vessel it is combined in.
    vessel_c : float                 Its temperature; that of the water phase, heated in it, where omitted. [degC]
    setting_c : float                Setting temperature of this formula, measured; never assumed. [degC]
    setting_from : str               Where it was measured.
    hold_back : HoldBack             Water kept cold, taken out of the water phase.
    planned_after_c : float          Temperature after combining by the steps. [degC]

    Raises
    ------
    FormulaError   `pour.hold_back` where no water phase holds that much water, `pour.nothing` without hot phases.
    ThermalError   `heat.streams`.
    """
    if not phases:
        raise FormulaError(
            "there is no water phase and no oil phase to combine",
            where=title,
            mend='mark the phases: kind = "water", kind = "oil"',
            code="pour.nothing",
        )
    poured = list(phases) if hold_back is None else _without(phases, hold_back, title)
    if any(phase.temp_c is None for phase in poured):
        return Pour(title, tuple(poured), None, vessel=vessel, setting_c=setting_c, setting_from=setting_from)
    hot = [stream for phase in poured for stream in phase.streams()]
    warm_c = _vessel_temp(poured) if vessel_c is None else vessel_c
    wall = vessel.stream(warm_c) if vessel is not None else None
    mixed = mixed_temperature([*hot, *([wall] if wall else [])])
    in_cold = mixed_temperature([*hot, vessel.stream(ROOM_C)]) if wall and warm_c > ROOM_C else None
    after = mixed_temperature([*hot, *([wall] if wall else []), hold_back.stream()]) if hold_back else None
    pour = Pour(
        title,
        tuple(poured),
        mixed,
        in_cold,
        after,
        vessel,
        warm_c,
        setting_c,
        setting_from,
        planned_after_c,
        energy_kj=tuple((phase.name, _energy(phase)) for phase in poured),
    )
    return _with_findings(pour)


def _vessel_temp(phases: Sequence[PourPhase]) -> float:
    """The water phase is heated in the vessel; without one the first phase is."""
    return next((phase for phase in phases if phase.kind == "water"), phases[0]).temp_c


def _energy(phase: PourPhase) -> tuple[float, float]:
    cold = [
        Stream(stream.name, stream.mass_g, min(ROOM_C, phase.temp_c), stream.heat_capacity_j_gk, stream.melts)
        for stream in phase.streams()
    ]
    needed = heat_needed(cold, phase.temp_c)
    return needed.low_kj, needed.high_kj


def _without(phases: Sequence[PourPhase], held: HoldBack, title: str) -> list[PourPhase]:
    """The phases with the hold-back water taken out of the first that has as much."""
    found, left = [], held.mass_g
    for phase in phases:
        portions = []
        for material, mass_g in phase.portions:
            taken = left if material.is_water and mass_g >= left else 0.0
            left -= taken
            portions.append((material, mass_g - taken))
        found.append(PourPhase(phase.name, phase.kind, tuple(portions), phase.temp_c))
    if left:
        raise FormulaError(
            f"no hot phase holds {held.mass_g:g} g of water to hold back",
            where=title,
            allowed="less than the water of the water phase",
            mend="hold back less",
            code="pour.hold_back",
        )
    return found


def _with_findings(pour: Pour) -> Pour:
    return replace(pour, findings=tuple(sorted(_findings(pour), key=lambda finding: finding.severity != "caution")))


def _findings(pour: Pour) -> Iterable[Finding]:
    yield from _margin(pour)
    yield from _melt(pour)
    if pour.vessel is None or pour.vessel.missing:
        lacks = f"{' and '.join(pour.vessel.missing)} not known" if pour.vessel else "not described"
        words = f"The vessel is not counted ({lacks}): a cold one takes several degrees out of the batch."
        yield Finding("note", "heat.vessel_unknown", words, source=PRACTICE)
    if pour.planned_after_c is not None and _outside(pour.planned_after_c, pour.mixed) > OFF_C:
        words = f"The steps say {pour.planned_after_c:g} °C after combining, the balance {span(pour.mixed)}."
        yield Finding("note", "heat.planned_after", words, source="arithmetic")


def _margin(pour: Pour) -> Iterable[Finding]:
    """The margin above the setting temperature, where that was measured; it is never assumed."""
    if pour.setting_c is None:
        words = (
            "The setting temperature of this formula was not measured, so the margin above it is not known. Log the "
            "cooling of a batch to below 40 °C: its shoulder gives it. The network of quat and alcohol may set hotter "
            "than the alcohol."
        )
        yield Finding("note", "heat.setting_unknown", words, source=PRACTICE)
        return
    above = pour.coldest.low_c - pour.setting_c
    source = f" ({pour.setting_from})" if pour.setting_from else ""
    where = f"{pour.setting_c:.0f} °C, where it sets{source}"
    yield from _too_cold("heat.pour_margin", above, pour, where, pour.setting_c)


def _melt(pour: Pour) -> Iterable[Finding]:
    """The margin above the highest published melt of a fatty alcohol, which is known before anything is made."""
    portions = [portion for phase in pour.phases for portion in phase.portions]
    melt = highest_melt(portions)
    if melt is None:
        return
    name, melt_c = melt
    above = pour.coldest.low_c - melt_c
    yield from _too_cold("heat.pour_melt", above, pour, f"{melt_c:g} °C, where {name} melts", melt_c)
    if above < 0 and melt_of(name, 1.0) is None:
        words = f"The heat that {name} gives off on setting is not published here and not counted: somewhat warmer."
        yield Finding("note", "heat.latent_unknown", words)


def _too_cold(code: str, above: float, pour: Pour, where: str, limit_c: float) -> Iterable[Finding]:
    low_c = pour.coldest.low_c
    mend = "Hold back less water" if pour.after_hold_back else "Warm the colder phase and the vessel"
    numbers = {"value": Decimal(f"{low_c:.1f}"), "limit": Decimal(f"{limit_c + MARGIN_C:.1f}"), "source": PRACTICE}
    if above < 0:
        words = f"The batch would be at {low_c:.1f} °C, below {where}: grains. {mend}."
        yield Finding("caution", code, words, **numbers)
    elif above < MARGIN_C:
        words = (
            f"The batch would be at {low_c:.1f} °C, only {above:.1f} °C above {where}; {MARGIN_C:g} °C are wanted. "
            f"{mend}."
        )
        yield Finding("caution", code, words, **numbers)
    elif pour.in_cold is not None and pour.in_cold.low_c - limit_c < MARGIN_C:
        words = f"In a vessel at {ROOM_C:g} °C it would be at {span(pour.in_cold)}, too near {where}: warm the vessel."
        yield Finding("note", f"{code}_cold_vessel", words, **numbers)


def compare_after(pour: Pour, read_c: float) -> Finding | None:
    """What to say of the temperature read after combining; None where it fits the balance or there is none.

    Parameters
    ----------
    pour : Pour      With the temperatures of the phases as read.
    read_c : float   After combining. [degC]
    """
    if pour.mixed is None:
        return None
    off = _outside(read_c, pour.mixed)
    if off <= OFF_C:
        return None
    colder = read_c < pour.mixed.low_c
    why = _why_colder(pour, read_c) if colder else "A temperature was mistyped, or the vessel was heated meanwhile."
    words = (
        f"{read_c:g} °C was read after combining, the heat balance gives {span(pour.mixed)}: {off:.1f} °C "
        f"{'colder' if colder else 'warmer'}. {why}"
    )
    number = Decimal(f"{pour.mixed.temp_c:.1f}")
    return Finding("caution", "heat.after_differs", words, (), Decimal(str(read_c)), number, "arithmetic")


def _why_colder(pour: Pour, read_c: float) -> str:
    if pour.in_cold is not None and _outside(read_c, pour.in_cold) <= OFF_C:
        return f"It fits a vessel at {ROOM_C:g} °C ({span(pour.in_cold)}): warm the vessel."
    return "Heat went into a cold vessel, head or the room, or a temperature was mistyped."


def with_read_after(pour: Pour, read_c: float) -> Pour:
    """The balance with the temperature read after combining beside it.

    Parameters
    ----------
    pour : Pour      With the temperatures of the phases as read.
    read_c : float   After combining. [degC]
    """
    finding = compare_after(pour, read_c)
    return replace(pour, read_after_c=read_c, findings=(*([finding] if finding else []), *pour.findings))


def _outside(temp_c: float, mixed: MixedTemperature) -> float:
    """How far a temperature lies outside a range; zero inside it. [degC]"""
    return max(mixed.low_c - temp_c, temp_c - mixed.high_c, 0.0)
