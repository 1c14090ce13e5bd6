"""A stability protocol: where jars are kept, when they are pulled, what is read and what it must keep to. Frozen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from kit.bench.methods import AgeWindow
from kit.bench.stability_acceptance import AT_END, AT_START, Acceptance
from kit.bench.stability_station import Station
from kit.bench.storage import REFERENCE, freeze_thaw_cycles, storage_temp_c, storage_words
from kit.science.number_text import plural
from kit.show import Block, Fielded, Table, listing
from kit.units import plain


@dataclass(frozen=True, slots=True)
class Pack:
    """A container that goes into storage: its name, what one takes [g], and where it goes; everywhere when empty."""

    name: str
    fill_g: Decimal
    places: tuple[str, ...] = ()

    def goes_to(self, place: str) -> bool:
        """Whether jars of it stand in a place."""
        return not self.places or place in self.places


@dataclass(frozen=True, slots=True, repr=False)
class Place(Fielded):
    """Where jars are kept, and its stations.

    Parameters
    ----------
    name : str                    "40 degC", "light", "freeze-thaw 3 cycles".
    stations : tuple of Station   In order.
    """

    name: str
    stations: tuple[Station, ...]

    @property
    def temp_c(self) -> float | None:
        """Its temperature; None for light and for freeze-thaw. [degC]"""
        found = storage_temp_c(self.name)
        return None if found is None else float(found)

    @property
    def is_freeze_thaw(self) -> bool:
        """Whether it is cycles of freezing and thawing: looked at once, after the last."""
        return freeze_thaw_cycles(self.name) is not None

    @property
    def rests(self) -> bool:
        """Whether its jars rest at 25 degC before they are read."""
        return self.name != REFERENCE


@dataclass(frozen=True)
class StabilityProtocol:
    """What was decided before any data. Frozen.

    Parameters
    ----------
    subject : str                   The formula, in words.
    formula : str                   Fingerprint of the version; empty where it is for no one version.
    baseline : AgeWindow            The age that relative limits are held against; jars go into storage then.
    places : tuple of Place         With their stations.
    limits : tuple of Acceptance    Frozen limits.
    packs : tuple of Pack           What stands there; the first is read at the baseline.
    rest_h : Decimal                At 25 degC before a reading. [h]
    spare : int                     Jars more, in every place and pack.
    microbiology : tuple of str     Places of which a jar goes to a laboratory at the last station.
    batches : int                   How many batches it is for.
    trials : tuple of str           Trials it is for; every batch of the version, or of the study, when empty.
    note : str                      Anything else.
    """

    subject: str
    formula: str
    baseline: AgeWindow
    places: tuple[Place, ...]
    limits: tuple[Acceptance, ...]
    packs: tuple[Pack, ...]
    rest_h: Decimal = Decimal(24)
    spare: int = 1
    microbiology: tuple[str, ...] = ()
    batches: int = 1
    trials: tuple[str, ...] = ()
    note: str = ""

    def place(self, name: str) -> Place | None:
        """A place by its name; None where the protocol has none such."""
        return next((place for place in self.places if place.name == name), None)

    def limit(self, property: str) -> Acceptance | None:
        """The limit of a property; None where it has none."""
        return next((limit for limit in self.limits if limit.property.lower() == property.lower()), None)

    def jars_of(self, place: Place, pack: Pack) -> int:
        """Jars of one pack for one place and one batch: each is read once and discarded."""
        if not pack.goes_to(place.name):
            return 0
        for_laboratory = pack == self.packs[0] and place.name in self.microbiology
        return len(place.stations) + self.spare + for_laboratory

    @property
    def jars(self) -> int:
        """Jars of one batch, the one for the baseline included."""
        return 1 + sum(self.jars_of(place, pack) for place in self.places for pack in self.packs)

    @property
    def grams(self) -> Decimal:
        """Product that one batch must spare. [g]"""
        kept = (self.jars_of(place, pack) * pack.fill_g for place in self.places for pack in self.packs)
        return self.packs[0].fill_g + sum(kept, Decimal(0))

    def jars_table(self) -> Table:
        """Jars by place and pack, their stations, and the grams they take."""
        rows = [("baseline", 1, plain(self.packs[0].fill_g), str(self.baseline), self.packs[0].name)]
        for place in self.places:
            for pack in self.packs:
                if pack.goes_to(place.name):
                    count = self.jars_of(place, pack)
                    stations = ", ".join(station.label for station in place.stations)
                    rows.append((storage_words(place.name), count, plain(count * pack.fill_g), stations, pack.name))
        rows.append(("in all, one batch", self.jars, plain(self.grams), "", ""))
        spare = f"{self.spare} spare in each place" if self.spare else "none spare"
        micro = ", ".join(storage_words(name) for name in self.microbiology)
        return Table(
            ("kept at", "jars", "g", "pulled after", "in"),
            rows,
            title="Jars and grams",
            note=f"A jar is read once and discarded; {spare}."
            + (f" One more of {micro} goes to the microbiology laboratory at the end." if micro else ""),
            numeric=frozenset({1, 2}),
        )

    def limits_table(self) -> Table:
        """What every property must keep to."""
        return Table(
            ("property", "limit", "looked at", "method"),
            [(limit.property, limit.words, limit.when, limit.method or "–") for limit in self.limits],
            title="Limits, frozen",
            note=f"Relative limits are held against the value at {self.baseline} after the end of making, when jars go "
            "into storage; earlier values of a product that still builds are shown and not fitted.",
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """What whoever pulls the jars must know, and what is left open."""
        rest = f"Jars from anywhere but 25 °C rest {plain(self.rest_h)} h at 25 °C before pH and viscosity are read."
        found = [rest, "Each jar is read once and discarded, and judged beside the jar kept at 25 °C."]
        if len(self.packs) == 1:
            found.append(f"Only {self.packs[0].name} is planned: the final pack is not, and glass tells nothing of it.")
        if any(place.is_freeze_thaw for place in self.places):
            found.append("Freeze-thaw: −10 °C and 25 °C, 24 h each (common practice); read after the last cycle.")
        if not self.microbiology:
            found.append("No jar is planned for microbiology at the end.")
        start = [limit.property for limit in self.limits if limit.when == AT_START]
        end = [limit.property for limit in self.limits if limit.when == AT_END]
        found += [f"At the baseline only: {', '.join(start)}."] if start else []
        found += [f"At the end only: {', '.join(end)}."] if end else []
        return (*found, *([self.note] if self.note else []))

    @property
    def words(self) -> str:
        """How much of it there is."""
        return (
            f"{plural(len(self.places), 'condition')}, {self.jars} jars and {plain(self.grams)} g of each of "
            f"{plural(self.batches, 'batch', 'batches')}"
        )

    def row(self) -> dict:
        """The protocol as a row of text."""
        return {
            "subject": self.subject,
            "formula": self.formula,
            "baseline": self.baseline.row(),
            "places": [
                {"name": place.name, "stations": [station.row() for station in place.stations]} for place in self.places
            ],
            "limits": [limit.row() for limit in self.limits],
            "packs": [
                {"name": pack.name, "fill_g": plain(pack.fill_g), "places": list(pack.places)} for pack in self.packs
            ],
            "rest_h": plain(self.rest_h),
            "spare": self.spare,
            "microbiology": list(self.microbiology),
            "batches": self.batches,
            "trials": list(self.trials),
            "note": self.note,
        }

    @classmethod
    def from_row(cls, row: Mapping) -> StabilityProtocol:
        """The protocol that `row()` wrote."""
        return cls(
            subject=row["subject"],
            formula=row["formula"],
            baseline=AgeWindow.from_row(row["baseline"]),
            places=tuple(
                Place(one["name"], tuple(Station.from_row(station) for station in one["stations"]))
                for one in row["places"]
            ),
            limits=tuple(Acceptance.from_row(one) for one in row["limits"]),
            packs=tuple(Pack(one["name"], Decimal(one["fill_g"]), tuple(one["places"])) for one in row["packs"]),
            rest_h=Decimal(row["rest_h"]),
            spare=row["spare"],
            microbiology=tuple(row["microbiology"]),
            batches=row["batches"],
            trials=tuple(row["trials"]),
            note=row["note"],
        )

    def _parts(self) -> Block:
        return Block((f"Stability protocol for {self.subject}: {self.words}.", self.jars_table(), self.limits_table(),
                      listing("To know", self.notes)))  # fmt: skip

    def _repr_html_(self) -> str:
        return self._parts()._repr_html_()

    def __str__(self) -> str:
        return str(self._parts())

    __repr__ = __str__
