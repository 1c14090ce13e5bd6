"""Which temperature will the batch have when its hot phases are brought together, and is that warm enough?"""

from __future__ import annotations

from dataclasses import dataclass

from kit.formula.heater import PhaseHeating, heating_table
from kit.formula.rules.findings import Finding
from kit.formula.thermal import Portion, ingredient_masses, streams_of
from kit.formula.vessel_wall import VesselWall
from kit.science.heat_balance import LOSSES, MixedTemperature, Stream
from kit.science.thermal_facts import heat_capacity_of
from kit.science.thermophysical import Mixed, Part, mixed_heat_capacity
from kit.show import Block, Fielded, Table, listing

HOT_KINDS = ("water", "oil")
ROOM_C = 22.0
"""Temperature a cold vessel, and what is not heated yet, is taken to have. [degC]"""
OFF_C = 3.0
"""A temperature after combining further than this from the balance is worth a look; own choice. [degC]"""


@dataclass(frozen=True, slots=True, repr=False)
class PourPhase(Fielded):
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
    heating : tuple of PhaseHeating   Energy and time of each phase with a heater; empty without one.
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
    heating: tuple[PhaseHeating, ...] = ()

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
        heated = [heating_table(self.heating, self.title)] if self.heating else []
        return Block((self.words, self.table(), *heated, *([listing("To see to", told)] if told else [])))

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
