"""Colour of batches against the control at the same age, and against themselves when they were young: CIEDE2000."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kit.bench.readings import Reading
from kit.bench.structure import COLOUR, light_of
from kit.labbook.source import Source, open_source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.science.colour_difference import ColourDifference, Lab, colour_difference
from kit.show import Block, Fielded, Table, Worded
from kit.trials.arms import in_order
from kit.trials.flow_select import age_label
from kit.trials.judging import age_of, fold
from kit.trials.one_study import one_study
from kit.trials.wording import ABSENT

FIRST, CONTROL = "its own first age", "the control"
NOTE = (
    "CIEDE2000 with all weights 1: made for small differences, up to about 5. One instrument, illuminant and observer; "
    "each batch for itself, nothing is tested. Below about 1 hardly anybody sees it (common practice, no source)."
)
NOTHING = "No batch has L*, a* and b* of one age."


@dataclass(frozen=True, slots=True, repr=False)
class BatchColour(Fielded):
    """The colour of one batch at one age.

    Parameters
    ----------
    batch, age : str
    age_h : float              Mean age of its readings. [h]
    colour : Lab               Means of L*, a*, b*.
    n_readings : int           Of the property read least often.
    instrument, light : str    As recorded, empty where they were not.
    is_control : bool          Whether it is a batch of the control.
    storage : str              Of the jar, empty where it was not recorded.
    """

    batch: str
    age: str
    age_h: float
    colour: Lab
    n_readings: int
    instrument: str
    light: str
    is_control: bool
    storage: str = ""


@dataclass(frozen=True, slots=True, repr=False)
class ColourChange(Worded):
    """One colour against another.

    Parameters
    ----------
    of, standard : BatchColour
    against : str                              "the control" or "its own first age".
    difference : ColourDifference, None        None where they were not read alike.
    words : str                                The difference with its direction, or why there is none.
    """

    of: BatchColour
    standard: BatchColour
    against: str
    difference: ColourDifference | None
    words: str


@dataclass(frozen=True, slots=True)
class Colours:
    """The colours of some trials, and how they differ.

    Parameters
    ----------
    colours : tuple of BatchColour
    changes : tuple of ColourChange
    left_out : tuple of str           What does not count, each with the reason.
    """

    colours: tuple[BatchColour, ...]
    changes: tuple[ColourChange, ...]
    left_out: tuple[str, ...] = ()

    def table(self) -> Table:
        """Every colour with what it differs by."""
        rows = [
            (
                f"{found.batch}{' (control)' if found.is_control else ''}",
                f"{found.age}{f', kept at {found.storage}' if found.storage else ''}",
                *(f"{part:.2f}" for part in found.colour),
                found.n_readings,
                *(self._told(found, against) for against in (CONTROL, FIRST)),
            )
            for found in self.colours
        ]
        heads = ("batch", "age", *COLOUR, "readings", "against the control", "against its first age")
        left = f"\nLeft out: {'; '.join(self.left_out)}." if self.left_out else ""
        note = f"{NOTE if rows else NOTHING}{left}"
        return Table(heads, rows, title="Colour, CIEDE2000", note=note, numeric=frozenset({2, 3, 4, 5}))

    def _told(self, colour: BatchColour, against: str) -> str:
        found = [change.words for change in self.changes if change.of is colour and change.against == against]
        return "\n".join(found) or ABSENT

    def _repr_html_(self) -> str:
        return Block((self.table(),))._repr_html_()

    def __str__(self) -> str:
        return str(self.table())

    __repr__ = __str__


def colour_differences(source: object, trials: Sequence[str] = (), *, study: str = "", control: str = "") -> Colours:
    """The colours of the batches of some trials against the control at the same age, and against their first age.

    Parameters
    ----------
    source : object      What `open_source` takes: a lab book, its file, a snapshot.
    trials : sequence    Trials of one study, the control among them or not; all of it when empty.
    study : str          The study; the only one, or that of the first trial, when empty.
    control : str        The control; the study's own when empty. Batches of its formula version are controls too.

    Returns
    -------
    Colours   From readings "L*", "a*" and "b*" of one batch and age, as `batch.read_colour` leaves them. Jars kept
              otherwise are colours of their own.

    Raises
    ------
    RecordError   `labbook.study`, `labbook.trial`.
    KitError      `colour.study` for a trial of another study, `colour.lightness`.
    """
    opened = open_source(source)
    asked = [trials] if isinstance(trials, str) else list(dict.fromkeys(trials))
    chosen = one_study(opened, asked, study, where="colour_differences()", code="colour.study")
    if control:
        one_study(opened, [control], chosen.name, where="colour_differences(), control", code="colour.study")
    standard = control or chosen.control
    controls = opened.batches(standard, study=chosen.name) if standard else ()
    versions = {batch.formula.fingerprint for batch in controls}
    named = [batch for name in asked or opened.trials(chosen.name) for batch in opened.batches(name)]
    batches = in_order({batch.name: batch for batch in (*controls, *named)}.values())
    left: list[str] = []
    colours = [found for batch in batches for found in _colours_of(opened, chosen, batch, versions, left)]
    return Colours(tuple(colours), tuple(_changes(colours)), tuple(left))


def _colours_of(
    source: Source, study: StudyView, batch: BatchView, versions: set[str], left: list[str]
) -> Iterable[BatchColour]:
    names, jars = {fold(name) for name in COLOUR}, {}
    for reading in batch.readings:
        if fold(reading.property) not in names or reading.value is None or reading.void:
            continue
        flags = source.flags(reading, study)
        if flags or age_of(reading) is None:
            why = " ".join(flag.words for flag in flags) or "it has no age"
            left.append(f"{reading.title}: {why}")
            continue
        key = (age_label(reading, study), fold(reading.storage), fold(reading.instrument), fold(light_of(reading)))
        jars.setdefault(key, []).append(reading)
    for (age, *_), readings in jars.items():
        parts = [[item for item in readings if fold(item.property) == fold(name)] for name in COLOUR]
        if all(parts):
            yield _colour(batch, age, readings, parts, batch.formula.fingerprint in versions)
        else:
            lacking = ", ".join(name for name, part in zip(COLOUR, parts, strict=True) if not part)
            left.append(f"{batch.name}, {age}: {lacking} not read")


def _colour(
    batch: BatchView, age: str, readings: Sequence[Reading], parts: Sequence[Sequence[Reading]], control: bool
) -> BatchColour:
    means = [sum(float(item.value) for item in part) / len(part) for part in parts]
    ages = [float(age_of(item)) for item in readings]
    first = readings[0]
    return BatchColour(
        batch.name,
        age,
        sum(ages) / len(ages),
        Lab(*means),
        min(map(len, parts)),
        first.instrument,
        light_of(first),
        control,
        first.storage,
    )


def _changes(colours: Sequence[BatchColour]) -> Iterable[ColourChange]:
    for found in colours:
        own = [other for other in colours if other.batch == found.batch and other.age_h < found.age_h]
        if own:
            yield _change(found, min(own, key=lambda other: other.age_h), FIRST)
        if not found.is_control:
            same = (found.age, fold(found.storage))
            beside = [other for other in colours if other.is_control and (other.age, fold(other.storage)) == same]
            yield from (_change(found, other, CONTROL) for other in beside)


def _change(of: BatchColour, standard: BatchColour, against: str) -> ColourChange:
    named = f"{standard.batch}: " if against == CONTROL else f"{standard.age}: "
    for word, one, other in (
        ("instrument", of.instrument, standard.instrument),
        ("illuminant and observer", of.light, standard.light),
    ):
        if fold(one) != fold(other):
            words = f"{named}not compared, {word} {one or 'not recorded'} and {other or 'not recorded'}"
            return ColourChange(of, standard, against, None, words)
    found = colour_difference(standard.colour, of.colour)
    return ColourChange(of, standard, against, found, f"{named}{found.ciede2000:.2f}, {found.words}")
