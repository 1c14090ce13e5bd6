"""A vessel as it is typed for a scale-up, "name: kettle; mass: 5 kg; head: rotor-stator 50 mm", and as recorded."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace

from kit.errors import ParameterError
from kit.formula.vessel_wall import read_vessel as describe_vessel
from kit.science.number_text import short
from kit.science.stirrers import Span, Stirrer, known_stirrers, stirrer
from kit.units import number, read

WHERE = "scale_up"
EXAMPLE = (
    "name: kettle; mass: 5 kg; head: rotor-stator 50 mm; gap: 0.2 mm; minutes: 7; width: 22 cm; wall: stainless steel; "
    "wall mass: 3.2 kg; heater: 2 kW"
)
_WALLS = ("stainless steel", "borosilicate glass")
_LENGTH = r"(\d+(?:\.\d+)?)\s*mm\b"
_GAP = re.compile(rf"gap\s*(?:of\s*)?{_LENGTH}", re.IGNORECASE)
_DIAMETER = re.compile(rf"(?<![\w.,]){_LENGTH}")


@dataclass(frozen=True, slots=True)
class Vessel:
    """A vessel with what stirs it. What is not known is None or empty.

    Parameters
    ----------
    name : str                     As it is told to a reader.
    mass_g : float                 Of the batch in it. [g]
    head : Stirrer                 High-shear head.
    stirrer : Stirrer              Stirrer, anchor or sweep.
    rpm, minutes : float           Of the machine that the rule is about. [1/min, min]
    width_m : float                Inner diameter. [m]
    wall : str                     What it is made of, as published heat capacities name it.
    wall_g : float                 Its mass. [g]
    wall_c : float                 Its temperature before the pour. [degC]
    heater_w : float               Power of the heater. [W]
    heater_share : float           Of its power that reaches the batch, measured once. [-]
    rate_per_min : float           Rate constant of cooling measured there. [1/min]
    covered : bool                 Whether a lid is on while it is hot.
    stop_c : float                 Batch temperature at which the high-shear head is stopped. [degC]
    sweep_rpm : float              Speed of the scraper. [1/min]
    vacuum_mbar : float            Pressure while stirring. [mbar]
    """

    name: str = ""
    mass_g: float | None = None
    head: Stirrer | None = None
    stirrer: Stirrer | None = None
    rpm: float | None = None
    minutes: float | None = None
    width_m: float | None = None
    wall: str = ""
    wall_g: float | None = None
    wall_c: float | None = None
    heater_w: float | None = None
    heater_share: float | None = None
    rate_per_min: float | None = None
    covered: bool = False
    stop_c: float | None = None
    sweep_rpm: float | None = None
    vacuum_mbar: float | None = None

    def over(self, recorded: Vessel) -> Vessel:
        """This vessel, what it does not state taken from another.

        Parameters
        ----------
        recorded : Vessel   The other.
        """
        stated = {
            field.name: getattr(self, field.name)
            for field in fields(self)
            if getattr(self, field.name) not in (None, "", False)
        }
        return replace(recorded, **stated)


def keyed(text: str, where: str, apart: str = ":") -> tuple[str, str]:
    """Key and value of "mass: 5 kg".

    Parameters
    ----------
    text : str    As typed.
    where : str   The parameter, for the message.
    apart : str   What parts the two.

    Raises
    ------
    ParameterError   `scale.pair`.
    """
    key, mark, value = text.partition(apart)
    if not (mark and key.strip() and value.strip()):
        raise ParameterError(
            f"{text!r} is no pair of a name and a value",
            where=where,
            allowed='a name, a colon and a value, such as "mass: 5 kg"',
            mend="write both",
            code="scale.pair",
        )
    return key.strip(), value.strip()


def read_vessel(text: str, parameter: str) -> Vessel:
    """A vessel from typed text.

    Parameters
    ----------
    text : str        Pairs parted by semicolons, as in `EXAMPLE`.
    parameter : str   The parameter it was typed for.

    Raises
    ------
    ParameterError   `scale.pair`, `scale.vessel` for a name that is none or stands twice, `scale.value` for a value
                     that is not above zero.
    UnitError        For a quantity that cannot be read.
    """
    where = f"{WHERE}, {parameter}"
    pairs = [keyed(part, where) for part in text.split(";") if part.strip()]
    names = [key.lower() for key, _ in pairs]
    for name in names:
        if name not in _READERS or names.count(name) > 1:
            raise ParameterError(
                f"{name!r} {'stands twice' if name in _READERS else 'says nothing of a vessel'}",
                where=where,
                allowed=", ".join(_READERS),
                mend=f'write it as in "{EXAMPLE}"',
                code="scale.vessel",
            )
    vessel = Vessel()
    for name in sorted(names, key=list(_READERS).index):
        vessel = _READERS[name](vessel, dict(zip(names, (value for _, value in pairs), strict=True))[name], where)
    return vessel


def read_vessels(texts: Sequence[str]) -> tuple[Vessel, ...]:
    """The vessels a process is carried to; each has a name of its own and a mass.

    Parameters
    ----------
    texts : sequence of str   As typed.

    Raises
    ------
    ParameterError   `scale.no_vessel`, `scale.vessel_name`, `scale.vessel_mass`; as `read_vessel`.
    """
    vessels = tuple(read_vessel(text, "to_vessels") for text in texts)
    names = [vessel.name for vessel in vessels]
    problems = {
        "scale.no_vessel": "no vessel to carry the process to was named" if not vessels else "",
        "scale.vessel_name": "a vessel has no name, or two have the same" if len({*names, ""}) <= len(names) else "",
        "scale.vessel_mass": "a vessel has no mass of the batch" if any(one.mass_g is None for one in vessels) else "",
    }
    for code, what in problems.items():
        if what:
            raise ParameterError(
                what,
                where=f"{WHERE}, to_vessels",
                allowed="name and mass for each vessel, and what else is known of it",
                mend=f'to_vessels = ["{EXAMPLE}"]',
                code=code,
            )
    return vessels


def machine(text: str) -> Stirrer | None:
    """A stirrer or head from words, "25 mm rotor-stator, gap 0.2 mm"; None where no diameter in mm is told.

    Parameters
    ----------
    text : str   As recorded or typed. A kind without published numbers keeps its diameter only.
    """
    gap = _GAP.search(text)
    found = _DIAMETER.search(text if gap is None else text.replace(gap[0], " "))
    if found is None or float(found[1]) == 0:
        return None
    gap_m = float(gap[1]) / 1000 if gap and float(gap[1]) > 0 else None
    kinds = [kind for kind in known_stirrers() if kind in text.lower()]
    diameter_m = float(found[1]) / 1000
    return stirrer(kinds[0], diameter_m, name=text, gap_m=gap_m) if kinds else Stirrer(text, diameter_m, gap_m=gap_m)


def machine_words(found: Stirrer | None) -> str:
    """A stirrer or head in words; empty without one.

    Parameters
    ----------
    found : Stirrer   With its gap where known.
    """
    if found is None:
        return ""
    gap = f", gap {short(found.gap_m * 1000)} mm" if found.gap_m and "gap" not in found.name else ""
    return f"{found.name}{gap}"


def _quantity(field: str, unit: str, factor: float = 1.0, lowest: float | None = 0.0):
    """A reader of one quantity, above `lowest` where there is a limit."""

    def take(vessel: Vessel, text: str, where: str) -> Vessel:
        value = float(read(text, unit, where=where)) * factor
        if lowest is not None and value <= lowest:
            raise _no_value(text, where)
        return replace(vessel, **{field: value})

    return take


def _no_value(text: str, where: str) -> ParameterError:
    return ParameterError(
        f"{text!r} is not above zero", where=where, mend="give the measured value, or leave it out", code="scale.value"
    )


def _take_machine(field: str):
    def take(vessel: Vessel, text: str, where: str) -> Vessel:
        found = machine(text)
        if found is None:
            raise ParameterError(
                f"{text!r} tells no diameter",
                where=where,
                allowed=f"a diameter in mm, with its kind where it is one of {', '.join(known_stirrers())}",
                mend=f"{field}: rotor-stator 50 mm",
                code="scale.diameter",
            )
        return replace(vessel, **{field: found})

    return take


def _on_machine(field: str, value_of):
    """A reader of a number that belongs to the head, or to the stirrer where there is no head."""

    def take(vessel: Vessel, text: str, where: str) -> Vessel:
        place = "head" if vessel.head else "stirrer"
        found = getattr(vessel, place)
        if found is None:
            raise ParameterError(
                f"{text!r} belongs to a head or a stirrer, and none is named",
                where=where,
                mend="name the head or the stirrer with its diameter",
                code="scale.diameter",
            )
        return replace(vessel, **{place: replace(found, **{field: value_of(text, where)})})

    return take


def _span(text: str, where: str) -> Span:
    ends = [float(number(part, where=where)) for part in text.split(" to ")]
    if len(ends) > 2 or min(ends) <= 0:
        raise _no_value(text, where)
    return Span(ends[0], ends[-1])


def _gap_m(text: str, where: str) -> float:
    value = float(read(text, "mm", where=where)) / 1000
    if value <= 0:
        raise _no_value(text, where)
    return value


def _ks(text: str, where: str) -> float:
    return _span(text, where).middle


def _take_wall(vessel: Vessel, text: str, where: str) -> Vessel:
    found = describe_vessel(text).wall
    if not found:
        raise ParameterError(
            f"no heat capacity is known of a vessel of {text!r}",
            where=where,
            allowed=", ".join(_WALLS),
            mend="name one of these, or leave the wall out",
            code="scale.wall",
        )
    return replace(vessel, wall=found)


def _take_share(vessel: Vessel, text: str, where: str) -> Vessel:
    """How much of its heater's power reaches the batch, "50 %"."""
    part = float(read(text, "%", where=where)) / 100
    if not 0 < part <= 1:
        raise ParameterError(
            f"{text!r} of a heater's power cannot reach the batch",
            where=where,
            allowed="above 0 and up to 100 %",
            mend="give the share that was measured, or leave it out",
            code="scale.value",
        )
    return replace(vessel, heater_share=part)


def _take_lid(vessel: Vessel, text: str, where: str) -> Vessel:
    words: Mapping[str, bool] = {"on": True, "off": False}
    if text.lower() not in words:
        raise ParameterError(f"a lid is not {text!r}", where=where, allowed="on or off", code="scale.lid")
    return replace(vessel, covered=words[text.lower()])


# In the order they are taken: what belongs to a head comes after the head.
_READERS = {
    "name": lambda vessel, text, where: replace(vessel, name=text),
    "mass": _quantity("mass_g", "g"),
    "head": _take_machine("head"),
    "stirrer": _take_machine("stirrer"),
    "gap": _on_machine("gap_m", _gap_m),
    "power number": _on_machine("power_number", _span),
    "pumping number": _on_machine("pumping_number", _span),
    "ks": _on_machine("metzner_otto", _ks),
    "rpm": lambda vessel, text, where: _quantity("rpm", "rpm")(vessel, f"{text} rpm" if _bare(text) else text, where),
    "minutes": lambda vessel, text, where: _quantity("minutes", "min")(
        vessel, f"{text} min" if _bare(text) else text, where
    ),
    "width": _quantity("width_m", "mm", 0.001),
    "wall": _take_wall,
    "wall mass": _quantity("wall_g", "g"),
    "wall temp": _quantity("wall_c", "degC", lowest=None),
    "heater": _quantity("heater_w", "W"),
    "heater share": _take_share,
    "rate": _quantity("rate_per_min", "rpm"),
    "lid": _take_lid,
    "stop": _quantity("stop_c", "degC", lowest=None),
    "sweep": lambda vessel, text, where: _quantity("sweep_rpm", "rpm")(
        vessel, f"{text} rpm" if _bare(text) else text, where
    ),
    "vacuum": _quantity("vacuum_mbar", "mbar"),
}


def _bare(text: str) -> bool:
    """Whether a speed or a time was typed without its unit, as both are at the bench."""
    return re.fullmatch(r"\d+(?:[.,]\d+)?", text.strip()) is not None
