"""What a batch is made of, recorded as readings: droplet sizes, colour, a spin in a centrifuge, the oils it holds."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from kit.bench.structure import (
    COLOUR,
    OIL_PHASE,
    OIL_VISCOSITY,
    SEPARATION,
    SIZES,
    counted_note,
    light_note,
    radius_note,
)
from kit.errors import BatchError
from kit.labbook.batch_measuring import Measuring
from kit.labbook.receipt import Receipt
from kit.labbook.source import nearest_names
from kit.science.droplets import DropletCount
from kit.science.number_text import short
from kit.units import number, plain, read


class StructureMeasuring(Measuring):
    """The calls that say how a batch is built; each leaves readings with all the conditions that `read` takes."""

    def read_droplets(
        self, counts: Mapping[str, int] | None = None, *, note: str = "", **sizes_and_conditions: object
    ) -> tuple[Receipt, ...]:
        """Record droplet sizes: counts under a microscope, or the percentiles and means of an instrument.

        Parameters
        ----------
        counts : mapping          Diameter of a class to droplets counted, {"2 um": 40, "4 um": 120}: kept with the
                                  reading, whose value is the Sauter mean.
        note : str                Anything else.
        sizes_and_conditions      Sizes d10, d50, d90, d32, d43, "4.2 um", by volume; and what `read` takes.

        Returns
        -------
        tuple of Receipt   One a size.

        Raises
        ------
        BatchError   `droplets.nothing` without counts and sizes, `droplets.both` with both, `droplets.size` for sizes
                     that are not above zero, or a smaller percentile above a larger one.
        KitError     `droplets.count`, `science.not_positive`.
        """
        sizes = {name: sizes_and_conditions.pop(name) for name in SIZES if name in sizes_and_conditions}
        if bool(counts) == bool(sizes):
            raise BatchError(
                "counts and sizes were both given" if counts else "neither counts nor a size were given",
                where=f"{self.name}, droplets",
                allowed=f"counts, or some of {', '.join(SIZES)}",
                mend='read_droplets({"2 um": 40, "4 um": 120}) or read_droplets(d50="4.2 um", d90="9 um")',
                code="droplets.both" if counts else "droplets.nothing",
            )
        if counts:
            where = f"{self.name}, droplets"
            rows = [(read(size, "um", where=where), number(count, where=where)) for size, count in counts.items()]
            found = DropletCount([float(size) for size, _ in rows], [float(count) for _, count in rows])
            value = f"{short(found.sauter.value_um, 4)} um"
            told = counted_note(rows, note)
            return (self.read(SIZES["d32"], value, note=told, **sizes_and_conditions),)
        read_as = {SIZES[name]: read(size, "um", where=f"{self.name}, {name}") for name, size in sizes.items()}
        self._check_sizes(read_as)
        whole = "sizes: " + ", ".join(f"{name} {size:f}" for name, size in read_as.items())  # new as a whole or not
        told = f"{whole}; {note}" if note else whole
        return tuple(
            self.read(name, f"{size:f} um", note=told, **sizes_and_conditions) for name, size in read_as.items()
        )

    def read_colour(
        self, lightness: object, a: object, b: object, *, light: str = "", note: str = "", **conditions: object
    ) -> tuple[Receipt, ...]:
        """Record a colour in CIELAB.

        Parameters
        ----------
        lightness, a, b : number   L*, a*, b* as read.
        light : str                Illuminant and observer, "D65, 10 degrees"; only colours of one are compared.
        note : str                 Anything else.
        conditions                 As `read`.

        Returns
        -------
        tuple of Receipt   L*, a*, b*.

        Raises
        ------
        KitError   `colour.lightness`, `science.not_finite`.
        """
        from kit.science.colour_difference import Lab, cie76

        values = [number(value, where=f"{self.name}, colour") for value in (lightness, a, b)]
        colour = Lab(*map(float, values))
        cie76(colour, colour)  # refuses what is no colour before any of the three is on record
        # a colour that differs in a* alone is new as a whole
        whole = f"colour: {' '.join(f'{value:f}' for value in values)}"
        told = light_note(light, f"{whole}; {note}" if note else whole)
        return tuple(
            self.read(name, value, note=told, **conditions) for name, value in zip(COLOUR, values, strict=True)
        )

    def read_spin(
        self, separated: str, *, rpm: object, minutes: object, radius: str = "", note: str = "", **conditions: object
    ) -> Receipt:
        """Record what separated in a centrifuge.

        Parameters
        ----------
        separated : str   Of the height or the volume, "0 %".
        rpm : number      [1/min]
        minutes : number  [min]
        radius : str      From the axis to the bottom of the sample, "10 cm"; without it no force is told.
        note : str        Anything else.
        conditions        As `read`.

        Raises
        ------
        BatchError   `spin.range` for what no spin can be: more than all separated, a speed, a time or a radius that is
                     not above zero.
        """
        where = f"{self.name}, spin"
        share, speed = read(separated, "%", where=where), number(rpm, where=where)
        time_min = number(minutes, where=where)
        radius_cm = read(radius, "cm", where=f"{self.name}, radius") if radius else None
        positive = {"speed": speed, "time": time_min} | ({} if radius_cm is None else {"radius": radius_cm})
        wrong = [f"a {name} of {plain(value)}" for name, value in positive.items() if value <= 0]
        wrong += [] if 0 <= share <= 100 else [f"{plain(share)} % separated"]
        if wrong:
            raise BatchError(
                ", ".join(wrong),
                where=where,
                allowed="0 to 100 % separated; speed, time and radius above zero",
                mend="look at the tube and the settings again",
                code="spin.range",
            )
        told = radius_note(radius_cm, note)
        time = f"{time_min * 60:f} s"
        return self.read(SEPARATION, f"{share:f} %", rpm=rpm, reading_time=time, note=told, **conditions)

    def read_oil_viscosity(self, material: str, value: str, **conditions: object) -> Receipt:
        """Record the viscosity of one oil of the formula, or of the oil phase, read by itself.

        Parameters
        ----------
        material : str   Key of a supply form of the formula, or "oil phase" for the blend.
        value : str      "62 mPa.s" or "68 mm2/s".
        conditions       As `read`; all at one temperature.

        Raises
        ------
        BatchError   `oil.material` for what is neither.
        """
        name, known = material.strip(), [line.material.key for _, line in self.view.formula.placed_lines()]
        if name not in (*known, OIL_PHASE):
            raise BatchError(
                f"{name!r} is no supply form of {self.view.formula.title}",
                where=f"{self.name}, viscosity of an oil",
                allowed=", ".join([*nearest_names(name, known), OIL_PHASE]),
                mend="name a line of the formula by its key, or the blend",
                code="oil.material",
            )
        return self.read(f"{OIL_VISCOSITY}{name}", value, **conditions)

    def _check_sizes(self, sizes: Mapping[str, Decimal]) -> None:
        """Refuse sizes that no distribution can have, before any of them is on record. [um]"""
        rising = [sizes[name] for name in (SIZES["d10"], SIZES["d50"], SIZES["d90"]) if name in sizes]
        moments = [sizes[name] for name in (SIZES["d32"], SIZES["d43"]) if name in sizes]
        if min(sizes.values()) <= 0 or rising != sorted(rising) or moments != sorted(moments):
            raise BatchError(
                ", ".join(f"{name} {plain(size)} um" for name, size in sizes.items()),
                where=f"{self.name}, droplets",
                allowed="above 0 um, D10 at most D50 at most D90, D[3,2] at most D[4,3]",
                mend="look at the printed sheet again",
                code="droplets.size",
            )
