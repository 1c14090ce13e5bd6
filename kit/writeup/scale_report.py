"""What changes from the bench to a kettle to a plant vessel?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

from kit.errors import ParameterError
from kit.figures.figure import Figure
from kit.figures.heat_balance import heat_before_the_pour
from kit.figures.scale_up import cooling_at_scale, scale_ratios
from kit.formula.hold_back import hold_back_pct
from kit.formula.thermal import density as density_without_air
from kit.labbook.source import open_source
from kit.science.heat_balance import MARGIN_C
from kit.science.number_text import short
from kit.science.scale_rules import RULES, TIP_SPEED
from kit.show import Block, Table
from kit.units import read
from kit.writeup.report_formula import NOT_RECORDED
from kit.writeup.scale_report_cooling import CoolingPlan, bench_cooling, cooling_table, lines, plan_cooling, read_jacket
from kit.writeup.scale_report_exposure import check_energy, exposure_block, head_stop_words, water_loss_block
from kit.writeup.scale_report_heat import HeatConditions, Pour, check_hold_back, pours, setting_temperature
from kit.writeup.scale_report_heat_tables import drawn, energy_table, hold_back_words, pour_block
from kit.writeup.scale_report_masses import masses_block, plan_sheets
from kit.writeup.scale_report_mixing import MixingPlan, plan_mixing, power_table, ratios, scale_table
from kit.writeup.scale_report_subject import HEAD, MACHINES, read_subject
from kit.writeup.scale_report_transfer import cautions, plant_table, read_pipe, read_pump, transfer_block
from kit.writeup.scale_report_vessel import WHERE, read_vessels
from kit.writeup.scale_report_vessels import equipment_table


class ScaleReport:
    """The sections of a scale-up.

    Parameters
    ----------
    source : str, Source or Labbook   A lab book or a snapshot.
    trial : str                       Trial whose formula is scaled, made as its last batch.
    batch : str                       Batch, "NET-05/1", instead.
    formula_file : str                A formula file instead; then nothing is recorded.
    materials : str                   Own materials, a file or a folder; empty for none.
    from_vessel : str                 What is stated of the bench over what was recorded.
    to_vessels : sequence of str      What it is carried to, "name: kettle; mass: 5 kg; head: rotor-stator 50 mm".
    machine : str                     "high-shear head" or "stirrer": what the rule is about.
    rule : str                        The one quantity that is kept.
    temps : sequence of str           Phase temperatures before the pour, "A: 78 degC"; as recorded when empty.
    room : str                        Temperature of the room, "22 degC"; from the cooling log, where it tells, when
                                      empty.
    setting_temp : str                Where the mixture sets, as measured; the highest published melt when empty.
    hold_back : str                   Water held back and added cold, "20 % of the batch"; none when empty.
    hold_back_temp : str              Its temperature; that of the room when empty.
    jacket : sequence of str          Jacket programme, "0 min: 70 degC"; none when empty.
    viscosity : str                   At the temperature of stirring, "50 mPa.s"; not known when empty.
    flow_index : float                1 for a product that does not thin. [-]
    density : str                     Of the product; as last read when empty.
    activation_energy : float         For time at temperature. [kJ/mol]
    balances : sequence of str        Divisions, "1 g", or "platform scale 100 g"; those of the batch when empty.
    pump : sequence of str            Viscosities along the transfer, "before pump: 13800 mPa.s".
    pipe : str                        Flow and bore, "10 L/min in 40 mm".
    reading_sd : float                Standard deviation of one viscosity reading. [%]

    Raises
    ------
    ParameterError   `scale.*`, each with what is allowed.
    UnitError        For a quantity that cannot be read.
    RecordError      `labbook.trial`, `labbook.batch`.
    KitError         As `load_formula` and `plan_batch`; `cooling.programme`.
    """

    def __init__(
        self,
        source: object,
        trial: str = "",
        batch: str = "",
        formula_file: str | None = None,
        materials: str | None = None,
        from_vessel: str = "",
        to_vessels: Sequence[str] = (),
        machine: str = HEAD,
        rule: str = TIP_SPEED,
        temps: Sequence[str] = (),
        room: str = "",
        setting_temp: str = "",
        hold_back: str = "",
        hold_back_temp: str = "",
        jacket: Sequence[str] = (),
        viscosity: str = "",
        flow_index: float = 1.0,
        density: str = "",
        activation_energy: float = 85,
        balances: Sequence[str] = (),
        pump: Sequence[str] = (),
        pipe: str = "",
        reading_sd: float | None = None,
    ) -> None:
        _one_of("machine", machine, MACHINES)
        _one_of("rule", rule, RULES)
        self.rule, self.machine = rule, machine
        self.vessels = read_vessels(to_vessels)
        self.subject = read_subject(
            open_source(source),
            trial=trial,
            batch=batch,
            formula_file=formula_file,
            materials=materials,
            from_vessel=from_vessel,
            temps=temps,
            density=density,
            which=machine,
        )
        self.bench_cooling = bench_cooling(self.subject, _temp("room", room))
        self.heat_conditions = self._conditions(setting_temp, hold_back, hold_back_temp)
        self.jacket = read_jacket(jacket)
        self.flow_index = _positive("flow_index", flow_index)
        self.viscosity_mpa_s = _above_zero("viscosity", viscosity, "mPa*s")
        self.energy_kj_mol = check_energy(activation_energy)
        self.sheets = plan_sheets(self.subject.formula, self.vessels, balances, self.subject.batch)
        self.pump, self.pipe = read_pump(pump), read_pipe(pipe)
        self.reading_sd_pct = None if reading_sd is None else _positive("reading_sd", reading_sd)

    def _conditions(self, setting_temp: str, hold_back: str, hold_back_temp: str) -> HeatConditions:
        subject, room_c = self.subject, self.bench_cooling.room_c
        share, cold_c = 0.0, None
        if hold_back:
            pct = hold_back_pct(hold_back, f"{WHERE}, hold_back")
            check_hold_back(subject.composition, pct)
            share, cold_c = float(pct) / 100, _temp("hold_back_temp", hold_back_temp)
            cold_c = room_c if cold_c is None else cold_c
            if cold_c is None:
                raise ParameterError(
                    "the temperature of the hold-back water is not known, nor that of the room",
                    where=f"{WHERE}, hold_back_temp",
                    mend='hold_back_temp = "20 degC"',
                    code="scale.hold_back",
                )
        setting_c, setting_from = _temp("setting_temp", setting_temp), "as stated"
        if setting_c is None:
            setting_c, setting_from = setting_temperature(subject.composition)
        return HeatConditions(
            subject.composition, dict(subject.temps_c), room_c, share, cold_c, setting_c, setting_from
        )

    @property
    def density_g_ml(self) -> float | None:
        """Density of the product: as stated or read, else from its parts where 95 % of them are known. [g/mL]"""
        return self._density[0]

    @cached_property
    def _density(self) -> tuple[float | None, str]:
        if self.subject.density_g_ml is not None:
            return self.subject.density_g_ml, self.subject.density_from
        found = density_without_air(self.subject.composition)
        return (None, "") if found.value is None else (found.value, "from its parts, without air")

    @cached_property
    def mixing(self) -> MixingPlan:
        """Every vessel on the rule."""
        return plan_mixing(
            self.subject.bench,
            self.vessels,
            self.rule,
            place="head" if self.machine == HEAD else "stirrer",
            viscosity_mpa_s=self.viscosity_mpa_s,
            density_g_ml=self.density_g_ml,
            flow_index=self.flow_index,
        )

    @cached_property
    def pours(self) -> list[Pour]:
        """The heat balance of bench and vessels; empty where a phase temperature is not known."""
        if not self.subject.temps_c or self.subject.lacking_temps:
            return []
        return pours(self.heat_conditions, (self.subject.bench, *self.vessels))

    @cached_property
    def cooling_plan(self) -> CoolingPlan:
        """How bench and vessels cool, from the temperature that the heat balance gives."""
        starts: dict[str, float] = {}
        for pour in self.pours:
            mixed = pour.held or pour.mixed
            starts.setdefault(pour.vessel.name, mixed.temp_c)
        return plan_cooling(self.subject, self.bench_cooling, self.vessels, starts, self.jacket)

    def identity(self) -> Table:
        """What is carried where, on which rule, and what the bench recorded of it."""
        subject, cooling = self.subject, self.bench_cooling
        phases = ", ".join(f"{name} {temp:g} °C" for name, temp in subject.temps_c.items())
        density = "" if self.density_g_ml is None else f"{short(self.density_g_ml)} g/mL ({self._density[1]})"
        viscosity = "" if self.viscosity_mpa_s is None else f"{short(self.viscosity_mpa_s)} mPa.s (as stated)"
        rows = [
            ("what is scaled", subject.title),
            ("version fingerprint", subject.formula.fingerprint[:16]),
            ("to", ", ".join(f"{one.name} ({short(one.mass_g / 1000, 4)} kg)" for one in self.vessels)),
            ("the rule", f"{self.rule} of the {self.machine} is kept"),
            ("phases before the pour", f"{phases} ({subject.temps_from})" if phases else NOT_RECORDED),
            ("after the pour", f"{subject.after_c:g} °C" if subject.after_c is not None else NOT_RECORDED),
            ("room", NOT_RECORDED if cooling.room_c is None else f"{cooling.room_c:.1f} °C ({cooling.room_from})"),
            ("density", density or NOT_RECORDED),
            ("viscosity while stirring", viscosity or NOT_RECORDED),
        ]
        return Table(("item", "entry"), rows, title="What this is about")

    def equipment(self) -> Table:
        """What is known of every vessel."""
        return equipment_table(self.subject.bench, self.vessels)

    def masses(self) -> Block:
        """The weigh sheet at the scale."""
        return masses_block(self.sheets, self.vessels, self.heat_conditions.hold_back)

    def scale(self) -> Block:
        """The rule and what the other quantities become."""
        return scale_table(self.mixing)

    def scale_figure(self) -> list[Figure]:
        """Every quantity against the bench; empty where none is known."""
        return _drawn(scale_ratios(ratios(self.mixing), self.rule))

    def power(self) -> Block:
        """Reynolds number and power, as ranges."""
        return power_table(self.mixing)

    def heat(self) -> Block:
        """The heat balance before the pour, its cautions first, and the hold-back water."""
        if not self.pours:
            lacking = ", ".join(self.subject.lacking_temps) or "the phases"
            words = f"Temperature before the pour NOT RECORDED for {lacking}: no heat balance. State temps."
            return Block((words,))
        return Block((pour_block(self.pours, self.heat_conditions), hold_back_words(self.heat_conditions)))

    def heat_figure(self) -> list[Figure]:
        """The heat balance drawn; empty without one."""
        after_c = None if self.subject.batch is None else self.subject.after_c
        pictures = drawn(self.pours, self.heat_conditions, after_c) if self.pours else []
        return _drawn(heat_before_the_pour(pictures, self.heat_conditions.setting_c, MARGIN_C))

    def heating(self) -> Block:
        """Energy and time to heat the phases."""
        if not self.pours:
            return Block(())
        bench = self.subject.bench
        if bench.rate_per_min is None:  # as its own log has it
            bench = replace(bench, rate_per_min=self.cooling_plan.bench.rate_per_min)
        return Block((energy_table(self.heat_conditions, (bench, *self.vessels)),))

    def cooling(self) -> Block:
        """Rates and minutes to each addition."""
        return cooling_table(self.cooling_plan, self.subject)

    def cooling_figure(self) -> list[Figure]:
        """The bench log beside every vessel; empty where nothing is known."""
        marks = [(f"phase {name} goes in", temp) for name, temp in self.subject.cool_to]
        return _drawn(cooling_at_scale(lines(self.cooling_plan), marks))

    def exposure(self) -> Block:
        """Time at temperature of the lines that heat harms."""
        return exposure_block(self.cooling_plan, self.subject, self.energy_kj_mol)

    def water_loss(self) -> Block:
        """Water lost while it cools, an estimate."""
        return water_loss_block(self.cooling_plan, self.subject)

    def plant(self) -> Table:
        """What is to be fixed before a batch at the scale is made."""
        conditions = self.heat_conditions
        jacket = ""
        if self.jacket:
            corners = zip(self.jacket.times_min, self.jacket.temps_c, strict=True)
            jacket = ", ".join(f"{temp:g} °C at {time:g} min" for time, temp in corners)
        held = ""
        if conditions.hold_back:
            held = f"{100 * conditions.hold_back:g} % of the batch at {conditions.hold_back_c:g} °C"
        return plant_table(self.vessels, jacket, held, head_stop_words(self.subject))

    def transfer(self) -> Block:
        """Viscosity before and after the pump, and as filled."""
        return transfer_block(self.pump, self.pipe, self.flow_index, self.reading_sd_pct)

    def cautions(self) -> Table:
        """Cautions of the formula and of the scale."""
        return cautions(self.subject.formula, self.sheets[0].cautions)


def _drawn(figure: Figure | None) -> list[Figure]:
    return [] if figure is None else [figure]


def _one_of(name: str, value: str, allowed: Sequence[str]) -> None:
    if value not in allowed:
        raise ParameterError(
            f"{value!r} is no {name}",
            where=f"{WHERE}, {name}",
            allowed=", ".join(allowed),
            mend=f'{name} = "{allowed[0]}"',
            code=f"scale.{name}",
        )


def _temp(name: str, text: str) -> float | None:
    return float(read(text, "degC", where=f"{WHERE}, {name}")) if text else None


def _above_zero(name: str, text: str, unit: str) -> float | None:
    return _positive(name, float(read(text, unit, where=f"{WHERE}, {name}"))) if text else None


def _positive(name: str, value: float) -> float:
    if not value > 0:
        raise ParameterError(
            f"{name} is {value}",
            where=f"{WHERE}, {name}",
            allowed="above zero",
            mend="give the measured value, or leave it out",
            code="scale.value",
        )
    return float(value)
