"""One jar read on two instruments: whether they agree within what is known of both values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from kit.bench.mean_uncertainty import MeanUncertainty, mean_uncertainty
from kit.bench.methods import age_window
from kit.bench.readings import Reading
from kit.labbook.source import Source, open_source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.science.uncertainty_use import InstrumentDifference, InstrumentValue
from kit.science.uncertainty_use import between_instruments as difference_of
from kit.show import Block, Cell, Fielded, Table, Worded
from kit.trials.flow_select import age_label
from kit.trials.judging import fold, scale_of
from kit.trials.one_study import one_study
from kit.trials.results import LN
from kit.trials.values import mean_and_sd
from kit.trials.wording import significant

ONE_JAR = (
    "One jar of one batch, by the same method, age, spindle, speed and container, on two instruments; unflagged "
    "readings. Batches read on one instrument are never set against each other by these uncertainties: the scatter "
    "between batches already holds them."
)
JAR_NOT_NAMED = "The jar was not named (sample=): that both read one is taken for granted."
NOTHING = "No jar of these batches was read on two instruments in one way."
_K = 2.0


@dataclass(frozen=True, slots=True, repr=False)
class OnInstrument(Fielded):
    """What one instrument read of a jar.

    Parameters
    ----------
    instrument : str
    mean : float                      Of its readings. [unit]
    readings : tuple of Reading
    known : MeanUncertainty, None     None where nothing tells the uncertainty of one of them.
    """

    instrument: str
    mean: float
    readings: tuple[Reading, ...]
    known: MeanUncertainty | None


@dataclass(frozen=True, slots=True, repr=False)
class JarOnTwo(Worded):
    """One jar on two instruments.

    Parameters
    ----------
    batch, property, age, unit : str
    first, second : OnInstrument
    difference : InstrumentDifference, None   First less second; None where an uncertainty is not known.
    words : str                               Whether they agree, or why that cannot be told.
    """

    batch: str
    property: str
    age: str
    unit: str
    first: OnInstrument
    second: OnInstrument
    difference: InstrumentDifference | None
    words: str

    @property
    def state(self) -> str:
        """ "agree", "differ" or "cannot be told"."""
        if self.difference is None:
            return "cannot be told"
        return "agree" if self.difference.agrees else "differ"


@dataclass(frozen=True, slots=True, repr=False)
class BetweenInstruments:
    """Every jar that was read on two instruments.

    Parameters
    ----------
    jars : tuple of JarOnTwo   Empty where there is none.
    """

    jars: tuple[JarOnTwo, ...]

    @property
    def words(self) -> str:
        """Each in a sentence."""
        return "\n".join(f"{jar.batch}, {jar.property}, {jar.age}: {jar.words}" for jar in self.jars) or NOTHING

    def table(self) -> Table:
        """The jars, a row a pair of instruments."""
        tones = {"differ": "flag", "cannot be told": "quiet"}
        rows = [
            (
                f"{jar.batch}, {jar.property}, {jar.age}",
                _value(jar.first, jar.unit),
                _value(jar.second, jar.unit),
                Cell(jar.state, tones.get(jar.state, "")),
                jar.words,
            )
            for jar in self.jars
        ]
        heads = ("batch, property, age", "on one", "on the other", "", "told")
        return Table(heads, rows, title="One jar on two instruments", note=ONE_JAR if rows else NOTHING)

    def _repr_html_(self) -> str:
        return Block((self.table(),))._repr_html_()

    def __str__(self) -> str:
        return self.words

    __repr__ = __str__


def between_instruments(
    source: object, names: Sequence[str] = (), property: str = "", age: str = "", *, study: str = ""
) -> BetweenInstruments:
    """Jars that were read on two instruments, and whether the instruments agree within what is known of both values.

    Parameters
    ----------
    source : object      What `open_source` takes: a lab book, its file, a snapshot.
    names : sequence     Trials ("LIN-03") or batches ("LIN-03/1") of one study; the whole study when empty.
    property : str       Such as "pH"; every one when empty.
    age : str            Label of an age window, "72 h"; every age when empty.
    study : str          The study; the only one, or that of the first name, when empty.

    Returns
    -------
    BetweenInstruments   Values on one instrument are never set against each other.

    Raises
    ------
    RecordError   `labbook.study`, `labbook.trial`, `labbook.batch`.
    KitError      `instruments.study` for a name of another study, `age.unknown`.
    """
    opened = open_source(source)
    asked = [names] if isinstance(names, str) else list(dict.fromkeys(names))
    chosen = one_study(opened, asked, study, where="between_instruments()", code="instruments.study")
    label = age_window(age, chosen.windows).label if age else ""
    jars = [
        jar
        for batch in _batches(opened, chosen, asked)
        for jar in jars_on_two(opened, chosen, batch)
        if fold(property) in ("", fold(jar.property)) and label in ("", jar.age)
    ]
    return BetweenInstruments(tuple(jars))


def jars_on_two(source: Source, study: StudyView, batch: BatchView) -> Iterable[JarOnTwo]:
    """The jars of one batch that were read on two instruments, a pair of instruments each.

    Parameters
    ----------
    source : Source
    study : StudyView
    batch : BatchView
    """
    jars: dict[tuple, dict[str, list[Reading]]] = {}
    for reading in batch.readings:
        age = age_label(reading, study)
        if reading.value is None or reading.void or not age or not reading.instrument:
            continue
        on = jars.setdefault(_jar(reading, age), {})
        on.setdefault(fold(reading.instrument), []).append(reading)
    for (_, age, *_), on in jars.items():
        if len(on) < 2:
            continue
        clean = [
            [reading for reading in found if not source.flags(reading, study, batch.readings)] for found in on.values()
        ]
        found = [_on_instrument(source, study, readings) for readings in clean if readings]
        for first, second in combinations(found, 2):
            yield _pair(batch.name, age, first, second)


def _jar(reading: Reading, age: str) -> tuple:
    """What has to be alike for two values to be of one jar read in one way."""
    told = (reading.method, reading.spindle, reading.container, reading.storage, reading.sample)
    temp = None if reading.method else reading.temp_c  # a method has a tolerance of its own, which flags
    numbers = (reading.rpm, reading.reading_time_s, temp)
    return fold(reading.property), age, reading.unit, *numbers, *(fold(one) for one in told)


def _on_instrument(source: Source, study: StudyView, readings: Sequence[Reading]) -> OnInstrument:
    scale = scale_of(readings[0].property, source.method_of(readings[0], study))
    positive = all(reading.value > 0 for reading in readings)
    mean, _ = mean_and_sd([float(reading.value) for reading in readings], scale if positive else "")
    known = mean_uncertainty(readings, source.calibration, mean=mean, relative=scale == LN and positive)
    return OnInstrument(readings[0].instrument, mean, tuple(readings), known)


def _pair(batch: str, age: str, first: OnInstrument, second: OnInstrument) -> JarOnTwo:
    read = first.readings[0]
    unit = "" if read.unit in ("", "1") else read.unit
    blind = [one.instrument for one in (first, second) if one.known is None]
    if blind:
        words = (
            f"the uncertainty on {' and '.join(blind)} is not known (torque and speed of a viscosity, three buffers or "
            "a closing check of a pH): whether the instruments agree cannot be told."
        )
        return JarOnTwo(batch, read.property, age, unit, first, second, None, words)
    values = [InstrumentValue(one.mean, one.known.expanded / _K, one.instrument) for one in (first, second)]
    found = difference_of(*values)
    words = found.words if read.sample else f"{found.words} {JAR_NOT_NAMED}"
    return JarOnTwo(batch, read.property, age, unit, first, second, found, words)


def _value(one: OnInstrument, unit: str) -> str:
    value = significant(one.mean, 5 if one.mean >= 1000 else 4)
    known = "" if one.known is None else f" ± {significant(one.known.expanded, 2)}"
    return f"{one.instrument}: {value}{known}{f' {unit}' if unit else ''}, n = {len(one.readings)}"


def _batches(source: Source, study: StudyView, names: Sequence[str]) -> Iterable[BatchView]:
    """The batches named, those of the trials named, or all of the study."""
    for name in names or source.trials(study.name):
        yield from (source.batch(name),) if "/" in name else source.batches(name)
