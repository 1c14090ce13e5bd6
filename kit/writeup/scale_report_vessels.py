"""What is known of the bench and of every vessel, side by side; what is not says so."""

from __future__ import annotations

from collections.abc import Sequence

from kit.science.number_text import short
from kit.show import Cell, Table
from kit.writeup.report_formula import NOT_RECORDED
from kit.writeup.scale_report_vessel import Vessel, machine_words

NOT_STATED = Cell("NOT STATED", "flag")


def equipment_table(bench: Vessel, vessels: Sequence[Vessel]) -> Table:
    """What is known of every vessel; what is not says so."""
    rows = []
    for words, value in _EQUIPMENT:
        row = [words, value(bench) or NOT_RECORDED]
        rows.append((*row, *(value(vessel) or NOT_STATED for vessel in vessels)))
    return Table(
        ("item", "bench", *(vessel.name for vessel in vessels)),
        rows,
        title="What is known of the vessels",
        note="The bench as recorded, else as planned in the formula, unless it was stated. Nothing is filled in by "
        "guess: what a section needs and does not find stands there as not known.",
    )


def _mass(grams: float | None) -> str:
    return "" if grams is None else f"{short(grams / 1000, 4)} kg" if grams >= 1000 else f"{short(grams, 4)} g"


def _with_unit(field: str, unit: str, factor: float = 1.0):
    def words(vessel: Vessel) -> str:
        value = getattr(vessel, field)
        return "" if value is None else f"{short(value * factor, 4)} {unit}"

    return words


def _heater_words(vessel: Vessel) -> str:
    share = "" if vessel.heater_share is None else f", {100 * vessel.heater_share:.0f} % of it into the batch"
    return f"{_with_unit('heater_w', 'W')(vessel)}{share}"


_EQUIPMENT = (
    ("batch", lambda vessel: _mass(vessel.mass_g)),
    ("high-shear head", lambda vessel: machine_words(vessel.head)),
    ("stirrer", lambda vessel: machine_words(vessel.stirrer)),
    ("speed", _with_unit("rpm", "rpm")),
    ("time", _with_unit("minutes", "min")),
    ("inner diameter", _with_unit("width_m", "mm", 1000)),
    ("wall", lambda vessel: vessel.wall),
    ("mass of the wall", lambda vessel: _mass(vessel.wall_g)),
    ("heater", _heater_words),
)
