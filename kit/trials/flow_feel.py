"""What was felt and seen of a batch: wet combing and coded words. A panel test is planned and judged elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kit.bench.readings import Reading
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.science.statistics import mean_sd
from kit.trials.flow_select import age_label
from kit.trials.judging import age_of, fold
from kit.trials.selection import coded_readings

_COMBING = "comb"


@dataclass(frozen=True, slots=True)
class Felt:
    """One property of one batch at one age: the mean of its readings, or the words seen.

    Parameters
    ----------
    batch, property, age, unit : str
    values : tuple of float      Readings that stand and carry no flag. [unit]
    words : tuple of str         Coded words.
    left_out : tuple of str      Readings that do not count, each with the reason.
    """

    batch: str
    property: str
    age: str
    unit: str
    values: tuple[float, ...] = ()
    words: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()

    @property
    def mean(self) -> float | None:
        """Mean of the readings; None without one. [unit]"""
        return mean_sd(self.values).mean if self.values else None

    @property
    def sd(self) -> float | None:
        """Their standard deviation; None below two. [unit]"""
        return mean_sd(self.values).sd if len(self.values) > 1 else None


def felt_of(source: Source, study: StudyView, batch: BatchView, names: Sequence[str] = ()) -> tuple[Felt, ...]:
    """What was felt and seen of a batch, by property and age.

    Parameters
    ----------
    source : Source
    study : StudyView
    batch : BatchView
    names : sequence of str   Properties and observations; wet combing and every coded word when empty.
    """
    wanted = {fold(name) for name in names}
    found: dict[tuple[str, str], list[Reading]] = {}
    for reading in (*(item for item in batch.readings if item.value is not None), *coded_readings(batch)):
        if not reading.void and _is_wanted(reading, wanted):
            found.setdefault((reading.property, age_label(reading, study)), []).append(reading)
    return tuple(_felt(source, study, batch, *key, readings) for key, readings in found.items())


def _is_wanted(reading: Reading, wanted: set[str]) -> bool:
    if wanted:
        return fold(reading.property) in wanted
    return reading.value is None or _COMBING in fold(reading.property)


def _felt(source: Source, study: StudyView, batch: BatchView, name: str, age: str, readings: Sequence[Reading]) -> Felt:
    values, words, left = [], [], []
    for reading in readings:
        flags = source.flags(reading, study)
        why = " ".join(flag.words for flag in flags)
        if age_of(reading) is None:
            why = why or "it has no age: read while the batch was made"
        shown = reading.text if reading.value is None else f"{float(reading.value):g}"
        if why:
            left.append(f"{shown}: {why}")
        elif reading.value is None:
            words.append(reading.text)
        else:
            values.append(float(reading.value))
    unit = next((reading.unit for reading in readings if reading.unit), "")
    return Felt(batch.name, name, age, unit, tuple(values), tuple(words), tuple(left))
