"""Quantities typed at the bench, read once at the edge: "250 g", "185 degF", "19000 mPa.s".

Inside the kit a quantity is a plain number whose unit stands in its name (`mass_g`, `temp_c`). This module is
the only place that turns typed text into such a number. Numbers stay exact decimals: "20.04 g" is
Decimal("20.04"), never a binary fraction.
"""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from tokenize import TokenError

from kit.errors import UnitError

_NUMBER = re.compile(r"^\s*([+-]?[0-9][0-9\s.,']*(?:[eE][+-]?\d+)?|[+-]?[.,]\d+)\s*(.*?)\s*$", re.DOTALL)
# A space or an apostrophe inside a number may only part thousands: "12 345,6", never "2 5".
_GROUPED = re.compile(r"^[+-]?\d{1,3}([ ']\d{3})+([.,]\d+)?$")
_COMMA_BEFORE_THREE = re.compile(r"^[+-]?\d{1,3}(,\d{3})+$")

_MINUS = "\u2212"  # the typographic minus that comes with pasted text

# Spellings that the registry would read as something else ("C" is coulomb, "F" farad) or not at all.
_SPELLINGS = {
    "degC": ("degC", "°C", "C", "deg C", "celsius", "℃"),
    "degF": ("degF", "°F", "F", "deg F", "fahrenheit", "℉"),
    "K": ("K", "kelvin"),
    "mPa*s": ("mPa.s", "mPa*s", "mPa s", "mPas", "mPa·s", "mPa⋅s", "cP", "cps"),
    "Pa*s": ("Pa.s", "Pa*s", "Pa s", "Pas", "Pa·s", "Pa⋅s"),
    "%": ("%", "pct", "percent", "% w/w", "%w/w"),
    "rpm": ("rpm", "rev/min", "r/min", "1/min", "min-1", "/min", "min^-1"),
    "rev/s": ("rev/s", "rps", "r/s"),
    "mV": ("mV",),
    "min": ("min", "minute", "minutes", "mins"),
    "h": ("h", "hour", "hours", "hr", "hrs"),
    "d": ("d", "day", "days"),
    "s": ("s", "sec", "second", "seconds"),
    # Said in capitals the registry would read mega: "250 ML", "5 MG".
    "g": ("g", "gram", "grams", "gramme", "grammes"),
    "kg": ("kg",),
    "mg": ("mg",),
    "mL": ("mL", "cc", "cm3", "cm^3"),
    "L": ("L", "l", "litre", "liter"),
    "um": ("um", "µm", "μm", "micron", "microns"),
    "mm^2/s": ("mm2/s", "mm²/s", "mm^2/s", "cSt"),
}
_TWO_MEANINGS = {"gr": "gram (g) or grain (0.0648 g)"}
_CANONICAL = {
    spelling.lower() if len(spelling) > 1 else spelling: unit
    for unit, spellings in _SPELLINGS.items()
    for spelling in spellings
}

# What the registry raises for unit text it cannot read, beside its own `UndefinedUnitError`: its parser works on Python
# tokens and then does the arithmetic that the text asks for.
_UNREADABLE = (
    TokenError,  # "g(": a bracket or quotation left open
    AssertionError,  # "g*": an operator without its other side
    ValueError,  # "kg 2", "²": a number or a power where none can be
    TypeError,  # "g+m": a sum of units; "mdB": a prefix before a logarithmic unit
    ArithmeticError,  # "g/0"
    LookupError,  # "g^0"
    RecursionError,  # thousands of operators in a row
)

# Signs that no unit has; the registry's parser passes over some of them, but "g?" is not grams.
_STRAY = re.compile(r"[^\w\s°℃℉·⋅.*/^()%+-]")

# Exact factors of what is typed every day: for these the large registry of units is not loaded.
_SCALES = (
    {"s": Decimal(1), "min": Decimal(60), "h": Decimal(3600), "d": Decimal(86400)},
    {"mg": Decimal("0.001"), "g": Decimal(1), "kg": Decimal(1000)},
    {"um": Decimal("0.001"), "mm": Decimal(1), "cm": Decimal(10), "m": Decimal(1000)},
    {"W": Decimal(1), "kW": Decimal(1000)},
    {"mbar": Decimal(1), "bar": Decimal(1000)},
)
# A turn is not a radian per second: these stay outside the general registry on purpose.
_TURNS_PER_MINUTE = {"rpm": Decimal(1), "rev/s": Decimal(60)}

_EXAMPLES = {
    "g": "250 g",
    "degC": "78 degC",
    "mPa*s": "19000 mPa.s",
    "%": "6.00 %",
    "rpm": "6500 rpm",
    "min": "4 min",
    "h": "24 h",
    "s": "60 s",
    "mL": "250 mL",
    "mV": "-3 mV",
    "g/mL": "0.98 g/mL",
}


def number(text: object, *, where: str = "", decimal_mark: str | None = None) -> Decimal:
    """Read one number exactly.

    Parameters
    ----------
    text : str, int or Decimal   "3.00", "3,00" or a number already. A float is read as it prints.
    where : str                  What the number is, for the error.
    decimal_mark : "." or ","    Declared mark; without it a comma before exactly three digits is refused.

    Raises
    ------
    UnitError   `units.not_a_number`, `units.ambiguous_comma`, `units.mixed_marks`.
    """
    if isinstance(text, bool) or text is None:
        raise _not_a_number(text, where)
    if isinstance(text, (int, Decimal)):
        return _finite(Decimal(text), text, where)
    if isinstance(text, float):
        return _finite(Decimal(repr(text)), text, where)
    return _finite(_decimal(str(text).strip().replace(_MINUS, "-"), where, decimal_mark), text, where)


def read(text: object, to: str, *, where: str = "", decimal_mark: str | None = None) -> Decimal:
    """Read a quantity and give its value in the unit asked for.

    Parameters
    ----------
    text : str         Number and unit, such as "250 g", "0.25 kg", "185 degF", "1,5 g".
    to : str           Unit of the result: "g", "degC", "mPa*s", "rpm", "min", "h", "%", "mL", "mV" ...
    where : str        What is being read, for the error.
    decimal_mark : str Declared decimal mark, "." or ",".

    Returns
    -------
    Decimal   Exact where no factor is needed; else to 15 significant digits.

    Raises
    ------
    UnitError   `units.missing`, `units.unknown`, `units.wrong_kind`, `units.ambiguous_comma`, `units.not_a_number`.
    """
    value, unit = split(text, where=where, decimal_mark=decimal_mark)
    if not unit:
        raise UnitError(
            f"{text!r} has no unit", where=where, mend=f'write for example "{_example(to)}"', code="units.missing"
        )
    given, wanted = _canonical(unit), _canonical(to)
    if given in _TWO_MEANINGS:
        raise UnitError(
            f"{text!r}: the unit {unit!r} can mean {_TWO_MEANINGS[given]}",
            where=where,
            mend=f'write for example "{_example(to)}"',
            code="units.unknown",
        )
    if given == wanted:
        return value
    if given in _TURNS_PER_MINUTE and wanted in _TURNS_PER_MINUTE:
        return _tidy(value * _TURNS_PER_MINUTE[given] / _TURNS_PER_MINUTE[wanted])
    for scale in _SCALES:
        if given in scale and wanted in scale:
            return _tidy(value * scale[given] / scale[wanted])
    if "%" in (given, wanted) or given in _TURNS_PER_MINUTE or wanted in _TURNS_PER_MINUTE:
        raise _wrong_kind(text, to, where)
    return _convert(value, given, wanted, text=text, to=to, where=where)


def split(text: object, *, where: str = "", decimal_mark: str | None = None) -> tuple[Decimal, str]:
    """Split "250 g" into Decimal("250") and "g"; the unit is empty when none was typed."""
    if isinstance(text, (int, float, Decimal)) and not isinstance(text, bool):
        return number(text, where=where), ""
    match = _NUMBER.match(str(text).replace(_MINUS, "-")) if text is not None else None
    if not match:
        raise _not_a_number(text, where)
    digits, unit = match.groups()
    return number(digits.strip(), where=where, decimal_mark=decimal_mark), unit


def percent(text: object, *, where: str = "", decimal_mark: str | None = None) -> Decimal:
    """Read a percentage by weight: "6.00 %", "6.00" or Decimal("6.00")."""
    value, unit = split(text, where=where, decimal_mark=decimal_mark)
    if unit and _canonical(unit) != "%":
        raise UnitError(
            f"{text!r} is not a percentage by weight",
            where=where,
            allowed='"6.00 %" or "6.00"',
            mend="give % w/w of the finished product; grams belong to the batch sheet",
            code="units.wrong_kind",
        )
    return value


def minutes(text: object, *, where: str = "") -> Decimal:
    """Read a duration in minutes: "4 min", "24 h" or a bare number of minutes."""
    value, unit = split(text, where=where)
    return read(f"{value} {unit}", "min", where=where) if unit else value


def plain(value: Decimal) -> str:
    """A decimal as a person writes it: no exponent, the digits it was given."""
    return format(value, "f")


def same_unit(one: str, other: str) -> bool:
    """Whether two spellings mean the same unit ("mPa.s" and "cP")."""
    return _canonical(one) == _canonical(other)


def _decimal(text: str, where: str, decimal_mark: str | None) -> Decimal:
    spaced = text.replace("\u00a0", " ").replace("\u202f", " ")
    if re.search(r"[\s']", spaced) and not _GROUPED.match(spaced):
        raise _not_a_number(text, where)
    cleaned = spaced.replace(" ", "").replace("'", "")
    if decimal_mark == ",":
        if "." in cleaned:
            raise UnitError(
                f"{text!r} holds a point although the decimal mark was declared as a comma",
                where=where,
                mend="write the number without thousands separators",
                code="units.mixed_marks",
            )
    elif "," in cleaned:
        _refuse_unclear_comma(text, cleaned, where, decimal_mark)
    try:
        return Decimal(cleaned.replace(",", "."))
    except InvalidOperation:
        raise _not_a_number(text, where) from None


def _refuse_unclear_comma(text: str, cleaned: str, where: str, decimal_mark: str | None) -> None:
    if decimal_mark == ".":
        raise UnitError(
            f"{text!r} holds a comma although the decimal mark was declared as a point",
            where=where,
            mend="write the number without thousands separators",
            code="units.mixed_marks",
        )
    if "." in cleaned or (cleaned.count(",") > 1 and not _COMMA_BEFORE_THREE.match(cleaned)):
        raise UnitError(
            f"{text!r} mixes decimal marks and thousands separators",
            where=where,
            mend="write the number without thousands separators",
            code="units.mixed_marks",
        )
    if _COMMA_BEFORE_THREE.match(cleaned):
        raise UnitError(
            f"{text!r} can be read in two ways: {cleaned.replace(',', '')} or {cleaned.replace(',', '.', 1)}",
            where=where,
            allowed="a comma as decimal mark, but not before exactly three digits",
            mend="write it without the comma or with a point, or declare the decimal mark",
            code="units.ambiguous_comma",
        )


def _finite(value: Decimal, text: object, where: str) -> Decimal:
    if not value.is_finite():
        raise _not_a_number(text, where)
    return value


def _not_a_number(text: object, where: str) -> UnitError:
    shown = "nothing" if text is None or text == "" else repr(text)
    return UnitError(
        f"{shown} is not a number",
        where=where,
        allowed='digits with one decimal mark, such as "20.04"',
        mend="type the number as the instrument shows it",
        code="units.not_a_number",
    )


def _wrong_kind(text: object, to: str, where: str) -> UnitError:
    return UnitError(
        f"{text!r} cannot be read as {to}",
        where=where,
        mend=f'write for example "{_example(to)}"',
        code="units.wrong_kind",
    )


def _example(to: str) -> str:
    return _EXAMPLES.get(_canonical(to), f"1 {to}")


def _canonical(unit: str) -> str:
    text = " ".join(unit.split())
    return _CANONICAL.get(text.lower() if len(text) > 1 else text, text)


def _convert(value: Decimal, given: str, wanted: str, *, text: object, to: str, where: str) -> Decimal:
    import pint  # heavy; most entries are typed in the unit they are kept in and never come here

    registry = _registry()
    try:
        if _STRAY.search(given):
            raise pint.UndefinedUnitError(given)
        return _tidy(registry.Quantity(value, _for_pint(given)).to(_for_pint(wanted)).magnitude)
    except pint.DimensionalityError:
        raise _wrong_kind(text, to, where) from None
    except (pint.UndefinedUnitError, *_UNREADABLE):
        raise UnitError(
            f"the unit {given!r} is not known",
            where=where,
            mend=f'write for example "{_example(to)}"',
            code="units.unknown",
        ) from None


def _for_pint(unit: str) -> str:
    return {"h": "hour", "d": "day", "K": "kelvin"}.get(unit, unit)


@lru_cache(maxsize=1)
def _registry():
    import pint

    return pint.UnitRegistry(non_int_type=Decimal)


def _tidy(value) -> Decimal:
    """Round away the 28th digit that a division leaves behind, and drop trailing zeros it made."""
    value = value if isinstance(value, Decimal) else Decimal(str(value))
    rounded = Decimal(format(value, ".15g")).normalize()
    return rounded.quantize(Decimal(1)) if rounded == rounded.to_integral() else rounded
