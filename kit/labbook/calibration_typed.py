"""What is typed of a calibration becomes the text its entry keeps: millivolts make slope and offset, a table the pH."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

from kit.bench.calibration import BOTTLE
from kit.errors import RecordError
from kit.science.electrode import ElectrodeCalibration, calibrate_electrode
from kit.science.ph_buffers import NBS, interpolated_ph, primary_buffer
from kit.units import number, plain, read, split

TABLES = {"bottle": BOTTLE, "nbs": NBS}
"""Tables a calibration may name, by the word that is typed."""

# A meter shows whole per cents and millivolts, and may take its slope between two of three buffers.
_DISPLAY_PCT, _DISPLAY_MV = Decimal(1), Decimal(1)


def calibration_body(
    instrument: str,
    name: str,
    *,
    slope_pct: object,
    offset_mv: object,
    buffers: Sequence[object],
    millivolts: Sequence[object],
    table: str,
    temp: str,
    at: str,
    note: str,
) -> dict[str, object]:
    """The content of a calibration entry; without millivolts and table the same as before there were any.

    Raises
    ------
    RecordError   `calibration.table`, `calibration.temperature`, `calibration.contradicts`.
    KitError      `buffer.unknown`, `buffer.temperature`, and those of `calibrate_electrode`.
    UnitError     For a number that cannot be read.
    """
    where = f"calibration {name}"
    chosen = _table(table, where)
    temp_c = read(temp, "degC", where=where) if temp else None
    ph = [_buffer_ph(buffer, chosen, temp_c, where) for buffer in buffers]
    shown = {
        "slope_pct": None if slope_pct is None else _bare(slope_pct, "%", where),
        "offset_mv": None if offset_mv is None else _bare(offset_mv, "mV", where),
    }
    body: dict[str, object] = {
        "name": name,
        "instrument": instrument,
        "note": note,
        "at": at,
        "buffers": [plain(value) for value in ph],
        "temp_c": "" if temp_c is None else plain(temp_c),
    }
    if millivolts:
        kept = [_bare(value, "mV", where) for value in millivolts]
        shown = _from_millivolts(kept, ph, temp_c, shown, where)
        body |= {"millivolts": [plain(value) for value in kept], "table": chosen or BOTTLE}
    elif chosen:
        body["table"] = chosen
    if chosen == NBS:
        body["buffer_names"] = [primary_buffer(str(buffer)).name for buffer in buffers]
    return body | {key: "" if value is None else plain(value) for key, value in shown.items()}


def closing_body(buffer: object, shown: object, *, temp: str, at: str, note: str, where: str) -> dict[str, str]:
    """The content of a closing check: what the buffer's table says, what the meter showed."""
    return {
        "buffer": plain(number(buffer, where=f"{where}, buffer")),
        "read": plain(number(shown, where=f"{where}, read")),
        "temp_c": plain(read(temp, "degC", where=where)) if temp else "",
        "at": at,
        "note": note,
    }


def _table(typed: str, where: str) -> str:
    word = typed.strip().lower()
    if word and word not in TABLES:
        raise RecordError(
            f"there is no buffer table {typed!r}",
            where=where,
            allowed=", ".join(f'"{known}"' for known in TABLES),
            mend='"bottle" for the values on the label of the bottle, "nbs" for primary buffers by name',
            code="calibration.table",
        )
    return TABLES.get(word, "")


def _buffer_ph(buffer: object, table: str, temp_c: Decimal | None, where: str) -> Decimal:
    """The pH of one buffer: typed, from a bottle's table by temperature, or from the primary table."""
    if table != NBS and not isinstance(buffer, Mapping):
        return number(buffer, where=where)
    if temp_c is None:
        raise _no_temperature("a buffer table", where)
    if table == NBS:
        found = primary_buffer(str(buffer)).ph_at(float(temp_c))
    else:
        typed = {float(read(temp, "degC", where=where)): float(number(ph, where=where)) for temp, ph in buffer.items()}
        found = interpolated_ph(typed, float(temp_c), name="the bottle")
    return Decimal(f"{found:.3f}")


def _from_millivolts(
    millivolts: Sequence[Decimal], ph: Sequence[Decimal], temp_c: Decimal | None, shown: Mapping, where: str
) -> dict[str, Decimal]:
    if temp_c is None:
        raise _no_temperature("a slope in % of theory", where)
    line = calibrate_electrode([float(mv) for mv in millivolts], [float(value) for value in ph], float(temp_c))
    found = {"slope_pct": Decimal(f"{line.slope_pct:.2f}"), "offset_mv": Decimal(f"{line.offset_mv:.2f}")}
    for key, word, unit, allowed in (
        ("slope_pct", "slope", "%", _DISPLAY_PCT),
        ("offset_mv", "offset", "mV", _DISPLAY_MV),
    ):
        if shown[key] is not None and abs(shown[key] - found[key]) > allowed:
            raise _contradicts(word, shown[key], found[key], unit, line, where)
    return found


def _contradicts(
    word: str, typed: Decimal, found: Decimal, unit: str, line: ElectrodeCalibration, where: str
) -> RecordError:
    return RecordError(
        f"the {word} was typed as {plain(typed)} {unit}, but the millivolts give {plain(found)} {unit} "
        f"({line.slope_mv_per_ph:.2f} mV per pH at {line.temp_c:g} degC)",
        where=where,
        allowed=f"within 1 {unit} of what the millivolts give",
        mend=f"check the millivolts, the buffers and their order; or leave the {word} out, it follows from them",
        code="calibration.contradicts",
    )


def _no_temperature(what: str, where: str) -> RecordError:
    return RecordError(
        f"the temperature of the buffers is missing; {what} needs it",
        where=where,
        allowed='temp="25 degC"',
        mend="give the temperature the buffers had",
        code="calibration.temperature",
    )


def _bare(value: object, unit: str, where: str) -> Decimal:
    found, given = split(value, where=where)
    return read(value, unit, where=where) if given else found
