"""After the vessel: pump and filling, with what is to be fixed for the plant and the cautions for whoever makes it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from kit.errors import ParameterError
from kit.formula.formula import Formula
from kit.science.number_text import short
from kit.science.transfer import TransferLoss, pipe_shear_rate_per_s
from kit.show import Block, Cell, Table
from kit.sources import read_data
from kit.units import read
from kit.writeup.report_formula import NOT_RECORDED
from kit.writeup.scale_report_vessel import WHERE, Vessel, keyed
from kit.writeup.scale_report_vessels import NOT_STATED

BEFORE, AFTER_PUMP, FILLED_24_H, FILLED_72_H = "before pump", "after pump", "filled 24 h", "filled 72 h"
_NOT_TESTED = " Not tested: the standard deviation of one reading was not stated."
STAGES = (BEFORE, AFTER_PUMP, FILLED_24_H, FILLED_72_H)


def read_pump(texts: Sequence[str]) -> dict[str, float]:
    """Viscosities along the transfer. [mPa·s]

    Parameters
    ----------
    texts : sequence of str   "before pump: 13800 mPa.s", as `STAGES` names them.

    Raises
    ------
    ParameterError   `scale.pair`, `scale.pump`.
    UnitError        For a viscosity that cannot be read.
    """
    where = f"{WHERE}, pump"
    pairs = [keyed(text, where) for text in texts]
    names = [name.lower() for name, _ in pairs]
    for name in names:
        if name not in STAGES or names.count(name) > 1:
            raise ParameterError(
                f"{name!r} {'stands twice' if name in STAGES else 'is no stage of a transfer'}",
                where=where,
                allowed=", ".join(STAGES),
                mend='pump = ["before pump: 13800 mPa.s", "after pump: 11900 mPa.s"]',
                code="scale.pump",
            )
    return {
        name: _above_zero(float(read(text, "mPa*s", where=where)), text, where)
        for name, (_, text) in zip(names, pairs, strict=True)
    }


def read_pipe(text: str) -> tuple[float, float] | None:
    """Flow and bore, "10 L/min in 40 mm"; None without. [L/min, mm]

    Parameters
    ----------
    text : str   As typed.

    Raises
    ------
    ParameterError   `scale.pair`, `scale.value`.
    UnitError        For a flow or a bore that cannot be read.
    """
    if not text:
        return None
    where = f"{WHERE}, pipe"
    flow, bore = keyed(text, where, " in ")
    return (
        _above_zero(float(read(flow, "L/min", where=where)), flow, where),
        _above_zero(float(read(bore, "mm", where=where)), bore, where),
    )


def _above_zero(value: float, text: str, where: str) -> float:
    if value <= 0:
        raise ParameterError(f"{text!r} is not above zero", where=where, mend="give what was read", code="scale.value")
    return value


def transfer_block(
    readings: Mapping[str, float], pipe: tuple[float, float] | None, flow_index: float, reading_sd_pct: float | None
) -> Block:
    """Viscosity before and after the pump and as filled; the shear rate at the wall of the pipe.

    Parameters
    ----------
    readings : mapping        As `read_pump`. [mPa·s]
    pipe : pair of float      Flow and bore; None where not stated. [L/min, mm]
    flow_index : float        1 for a product that does not thin. [-]
    reading_sd_pct : float    Standard deviation of one reading; None where not known. [%]
    """
    first = readings.get(BEFORE)
    rows = [
        (
            stage,
            NOT_RECORDED if stage not in readings else short(readings[stage], 5),
            _against(readings.get(stage), first, stage, reading_sd_pct),
        )
        for stage in STAGES
    ]
    table = Table(
        ("stage", "viscosity, mPa.s", "against before the pump"),
        rows,
        title="Transfer and filling",
        note="Read all four by one method, at 25 °C, the same spindle, speed and reading time. Shear in the pump is "
        "the usual loss; a gel builds back in part over 24 to 72 h. Judge the filled pack, not the "
        f"vessel.{_NOT_TESTED if reading_sd_pct is None and readings else ''}",
        numeric=frozenset({1}),
    )
    return Block((table, _pipe_words(pipe, flow_index)))


def _against(value: float | None, first: float | None, stage: str, reading_sd_pct: float | None) -> str:
    if stage == BEFORE or value is None:
        return "–"
    if first is None:
        return "before the pump NOT RECORDED"
    loss = TransferLoss(first, value, reading_sd_pct)
    if loss.distinguishable is False:
        return "no change that two readings would not show anyway"
    moved = f"{short(abs(loss.change_pct), 2)} % {'lost' if loss.change_pct < 0 else 'gained'}"
    return moved if loss.distinguishable else f"{moved}, not tested"


def _pipe_words(pipe: tuple[float, float] | None, flow_index: float) -> str:
    if pipe is None:
        return 'Shear rate in pipe and nozzle: flow and bore NOT STATED, pipe = "10 L/min in 40 mm".'
    flow, bore = pipe
    rate = pipe_shear_rate_per_s(flow, bore, flow_index)
    return (
        f"At {short(flow)} L/min in a bore of {short(bore)} mm the shear rate at the wall is {short(rate, 2)} 1/s, for "
        f"laminar flow with a flow index of {flow_index:g}. The gaps of a pump see more: measure before and after it."
    )


def plant_table(vessels: Sequence[Vessel], jacket_words: str, hold_back_words: str, bench_stop: str) -> Table:
    """What is fixed before a batch at the scale is made; blanks for what was not stated.

    Parameters
    ----------
    vessels : sequence of Vessel   What the process is carried to.
    jacket_words : str             The programme; empty without.
    hold_back_words : str          Share and temperature of hold-back water; empty without.
    bench_stop : str               At which temperature the bench stopped its head; empty where not told.
    """
    rows = [
        ("high-shear head stops at", bench_stop or NOT_RECORDED, *(_known(one.stop_c, "°C") for one in vessels)),
        ("scraper or sweep while cooling", "–", *(_known(one.sweep_rpm, "rpm") for one in vessels)),
        ("pressure while stirring", "–", *(_known(one.vacuum_mbar, "mbar") for one in vessels)),
        ("jacket programme", "–", *(jacket_words or NOT_STATED for _ in vessels)),
        ("hold-back water", "–", *(hold_back_words or "none stated" for _ in vessels)),
    ]
    return Table(
        ("what is to be fixed", "bench", *(one.name for one in vessels)),
        rows,
        title="To fix before a batch at the scale",
        note="Stop the head above the setting temperature: high shear in a setting gel breaks it and draws in air. "
        "Below it only the sweep runs, and it must take the product off a cold wall. Vacuum draws off air and water: "
        "weigh or meter what is made up. Common practice, no source.",
    )


def _known(value: float | None, unit: str) -> object:
    return NOT_STATED if value is None else f"{short(value, 4)} {unit}"


_ALWAYS_AT_SCALE = (
    (
        "Pressure and vacuum",
        "A jacket with steam or water under pressure and a vessel under vacuum are pressure equipment: relief, testing "
        "and operation by local codes and by qualified people. Never heat a closed vessel that has no relief.",
    ),
    (
        "Large hot phases",
        "Hundreds of kilograms at 75 to 80 °C scald through splashes, hoses and valves. Closed transfer, heat-proof "
        "clothing, drained lines; add a hot phase slowly, and cold water to a hot batch slowly: it may boil up.",
    ),
    (
        "High-shear mixers and scrapers",
        "Guards and interlocks in place, power locked out before anyone reaches in, no entry into a vessel without the "
        "permit that local codes ask for. Never run a head in air.",
    ),
    (
        "Corrosives and powders in quantity",
        "Acids, alkalis and cationics by pump or closed charging, eye-wash within reach, ventilation and earthing for "
        "powders and for flakes that let go of isopropanol: by local codes on flammables and dust.",
    ),
)


def cautions(formula: Formula, keys: Sequence[str]) -> Table:
    """The cautions of the formula and those that the scale brings.

    Parameters
    ----------
    formula : Formula         Whose materials ask for cautions.
    keys : sequence of str    Cautions of its weigh sheet.
    """
    known = read_data("cautions.toml")["cautions"]
    rows = [(Cell(title, "strong"), text) for title, text in _ALWAYS_AT_SCALE]
    rows += [(Cell(known[key]["title"], "strong"), known[key]["text"]) for key in keys if key in known]
    return Table(
        ("caution", "what to do"),
        rows,
        title=f"Cautions for making {formula.name} at the scale",
        note="They do not replace the suppliers' safety data sheets. Local codes and qualified people decide on "
        "vessels, pressure, steam, electrics, ventilation and waste; nothing here is a release for production.",
    )
