"""The geometry of a spindle: what its readings are, and the true shear rate where one holds in the whole gap."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from kit.errors import KitError
from kit.science.viscometer_coaxial import WIDEST_RATIO, CoaxialCylinders
from kit.science.viscometer_parts import COAXIAL, GEOMETRIES, spindles
from kit.show import Worded
from kit.units import number, plain, read

RELATIVE_WORDS = "relative: not a material property, comparable on the same spindle and instrument only"
ENTERED, PRINTED, UNKNOWN = "entered with the instrument", "as makers print it", "not recorded"

_LENGTHS = ("inner_radius", "outer_radius", "length")
_NUMBERS = ("end_effect", "shear_rate_per_rpm")
_RADII_NEEDED = "inner_radius, outer_radius and length together, or shear_rate_per_rpm"


@dataclass(frozen=True, slots=True, repr=False)
class SpindleGeometry(Worded):
    """A spindle with what is known of its shape. What is not known is None or empty.

    Parameters
    ----------
    spindle : str                   Such as "disc 5".
    kind : str                      One of `kit.science.viscometer_parts.GEOMETRIES`; empty where it is not known.
    rate_per_rpm : Decimal, None    Shear rate a turn a minute as the maker prints it. [1/s]
    inner_radius_mm, outer_radius_mm, length_mm : Decimal, None   Of coaxial cylinders. [mm]
    end_effect : Decimal, None      Torque of the whole over that of the length alone; 1.10 when None. [-]
    known_from : str                ENTERED, PRINTED or UNKNOWN.
    """

    spindle: str
    kind: str = ""
    rate_per_rpm: Decimal | None = None
    inner_radius_mm: Decimal | None = None
    outer_radius_mm: Decimal | None = None
    length_mm: Decimal | None = None
    end_effect: Decimal | None = None
    known_from: str = UNKNOWN

    @property
    def cylinders(self) -> CoaxialCylinders | None:
        """The two cylinders; None where their radii are not known."""
        if self.inner_radius_mm is None:
            return None
        told = (float(part) / 1000 for part in (self.inner_radius_mm, self.outer_radius_mm, self.length_mm))
        return CoaxialCylinders(*told, *([] if self.end_effect is None else [float(self.end_effect)]))

    @property
    def is_true(self) -> bool:
        """Whether its readings are true viscosities at a known shear rate."""
        if self.kind != COAXIAL:
            return False
        return self.rate_per_rpm is not None or (self.cylinders is not None and self.cylinders.is_narrow)

    def shear_rate_per_s(self, rpm: Decimal) -> float | None:
        """The shear rate at a speed; None where no one rate is known. [1/s]

        Parameters
        ----------
        rpm : Decimal   Above zero. [1/min]
        """
        if not self.is_true:
            return None
        if self.rate_per_rpm is not None:
            return float(self.rate_per_rpm * rpm)
        return self.cylinders.representative_rate_per_s(float(rpm))

    @property
    def words(self) -> str:
        """What its readings are, in a sentence."""
        if self.is_true:
            return f"{self.spindle}, {self.kind} ({self.known_from}): true shear rate and stress"
        if self.kind == COAXIAL:
            ratio = self.cylinders.ratio if self.cylinders else None
            why = (
                f"a gap of {ratio:.3g} to 1, above {WIDEST_RATIO:g}" if ratio else "no radii and no printed shear rate"
            )
            return f"{self.spindle}, {self.kind} with {why}: {RELATIVE_WORDS}"
        kind = f"{self.kind} ({self.known_from})" if self.kind else "geometry NOT RECORDED"
        return f"{self.spindle}, {kind}: {RELATIVE_WORDS}"

    def row(self) -> dict[str, str]:
        """The geometry as a row of text, in the form `from_row` takes."""
        told = {
            "class": self.kind,
            "shear_rate_per_rpm": self.rate_per_rpm,
            "inner_radius_mm": self.inner_radius_mm,
            "outer_radius_mm": self.outer_radius_mm,
            "length_mm": self.length_mm,
            "end_effect": self.end_effect,
        }
        return {name: plain(part) if isinstance(part, Decimal) else part for name, part in told.items() if part}

    @classmethod
    def from_row(cls, spindle: str, row: Mapping[str, str]) -> SpindleGeometry:
        """The geometry that `row()` wrote.

        Parameters
        ----------
        spindle : str   Its name.
        row : mapping   As kept.
        """
        numbers = {name: Decimal(text) for name, text in row.items() if name != "class"}
        return cls(
            spindle,
            row["class"],
            numbers.get("shear_rate_per_rpm"),
            numbers.get("inner_radius_mm"),
            numbers.get("outer_radius_mm"),
            numbers.get("length_mm"),
            numbers.get("end_effect"),
            ENTERED,
        )


def read_geometry(spindle: str, typed: str | Mapping[str, object], *, where: str) -> SpindleGeometry:
    """A geometry as it is typed with an instrument.

    Parameters
    ----------
    spindle : str           Its name.
    typed : str or dict     A class such as "disc", or {"class": "coaxial cylinders", "inner_radius": "14.00 mm",
                            "outer_radius": "15.18 mm", "length": "42.0 mm", "end_effect": "1.10"}, or with
                            "shear_rate_per_rpm": "0.34" as the maker prints it, in 1/s a turn a minute.
    where : str             The instrument, for a message.

    Raises
    ------
    KitError    `instrument.geometry`, `viscometer.radii`, `science.not_positive`.
    UnitError   For a length that cannot be read.
    """
    told = {"class": typed} if isinstance(typed, str) else dict(typed)
    where = f"{where}, {spindle}"
    kind = _kind(told.pop("class", ""), where)
    unknown = sorted(set(told) - {*_LENGTHS, *_NUMBERS})
    if unknown or (told and kind != COAXIAL):
        allowed = ", ".join(("class", *_LENGTHS, *_NUMBERS))
        what = f"{', '.join(unknown)} is not known" if unknown else f"{', '.join(told)} says nothing of a {kind}"
        raise _refused(what, where, f"{allowed}; beside the class only for {COAXIAL}")
    lengths = {name: read(told[name], "mm", where=f"{where}, {name}") for name in _LENGTHS if name in told}
    numbers = {name: number(told[name], where=f"{where}, {name}") for name in _NUMBERS if name in told}
    if 0 < len(lengths) < len(_LENGTHS) or ("end_effect" in numbers and not lengths):
        raise _refused("a part of the cylinders is missing", where, _RADII_NEEDED)
    if any(part <= 0 for part in (*lengths.values(), *numbers.values())):
        raise _refused("a length or number is not above zero", where, "numbers above zero")
    found = SpindleGeometry(
        spindle,
        kind,
        numbers.get("shear_rate_per_rpm"),
        lengths.get("inner_radius"),
        lengths.get("outer_radius"),
        lengths.get("length"),
        numbers.get("end_effect"),
        ENTERED,
    )
    _ = found.cylinders  # refuses a cylinder that does not stand in its cup
    return found


def geometry_of(spindle: str, entered: Mapping[str, SpindleGeometry] | None = None) -> SpindleGeometry:
    """What is known of a spindle: as entered with its instrument, else as makers print it, else nothing.

    Parameters
    ----------
    spindle : str       Its name as recorded with a reading.
    entered : mapping   By spindle, of the instrument.
    """
    if entered and spindle in entered:
        return entered[spindle]
    known = {name.lower(): found for name, found in spindles().items()}.get(" ".join(spindle.lower().split()))
    if known is None:
        return SpindleGeometry(spindle)
    rate = known.shear_rate_per_s_per_rpm
    return SpindleGeometry(spindle, known.geometry, None if rate is None else Decimal(str(rate)), known_from=PRINTED)


def _kind(text: object, where: str) -> str:
    wanted = " ".join(str(text).lower().split())
    for kind in GEOMETRIES:
        if kind.lower() == wanted:
            return kind
    raise _refused(f"{str(text)!r} is no class of geometry", where, ", ".join(GEOMETRIES))


def _refused(what: str, where: str, allowed: str) -> KitError:
    return KitError(what, where=where, allowed=allowed, mend="correct it", code="instrument.geometry")
