"""What may be given to a panel: batches that are finished and stopped by no rule; on people, more than that."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from kit.bench.panel_plan import ON_PEOPLE, PLACE_WORDS, PLACES
from kit.bench.readings import Reading, usable
from kit.bench.storage import REFERENCE, storage_key
from kit.errors import BatchError, RecordError, UnitError
from kit.formula.composition import Composition
from kit.formula.label_allergens import allergen_contents, undeclared
from kit.formula.model import SpecLine
from kit.labbook.source import Source
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.science.number_text import short
from kit.units import plain, read, same_unit

_DAY = len("2026-03-02")
_PASSED = ("A", "B only", "met")


@dataclass(frozen=True, slots=True)
class Cleared:
    """What a panel may be served.

    Parameters
    ----------
    allergens : tuple of str    What is known of allergens over all samples, without saying which sample has which.
    overridden : tuple of str   Rules set aside for a reason, in words.
    """

    allergens: tuple[str, ...]
    overridden: tuple[str, ...]


def cleared(
    source: Source,
    study: StudyView,
    samples: Mapping[str, str],
    *,
    place: str,
    consent: str,
    override: str,
    where: str,
) -> Cleared:
    """Refuse what must not be given to a panel.

    Parameters
    ----------
    source : Source
    study : StudyView       The study of all samples.
    samples : mapping       Letter to batch, or to the study's bought reference product.
    place : str             One of `kit.bench.panel_plan.PLACES`.
    consent : str           Who holds the consent; needed on people.
    override : str          Why a rule is set aside; never enough on people for what is outside a limit.
    where : str             For the message.

    Raises
    ------
    RecordError   `labbook.batch`, `panel.study`, `panel.not_finished`, `panel.place`, `panel.consent`, `panel.stop`,
                  `panel.people`, `panel.challenge`.
    """
    _check_place(place, consent, where)
    batches = [
        _batch(source, study, name, where) for name in samples.values() if name != study.reference_product or not name
    ]
    aside = []
    for batch in batches:
        if place in ON_PEOPLE:
            aside += _for_people(source, study, batch, override, where)
        else:
            aside += _unless(override, _stops(batch), batch, where)
    bought = len(batches) < len(samples)
    return Cleared(_allergens([batch.composition("meant") for batch in batches], bought), tuple(aside))


def _check_place(place: str, consent: str, where: str) -> None:
    if place not in PLACES:
        raise RecordError(
            f"{place!r} is no place to try a sample",
            where=where,
            allowed="; ".join(f"{name}: {PLACE_WORDS[name]}" for name in PLACES),
            mend="name one of these",
            code="panel.place",
        )
    if place in ON_PEOPLE and not consent.strip():
        raise RecordError(
            f"a panel {PLACE_WORDS[place]} needs the informed consent of every assessor, in writing, before",
            where=where,
            allowed='consent="who holds the forms, and since when", or on="tress"',
            mend="collect the consent first; tests on people belong to qualified testers",
            code="panel.consent",
        )


def _batch(source: Source, study: StudyView, name: str, where: str) -> BatchView:
    batch = source.batch(name)
    if batch.study != study.name:
        raise RecordError(
            f"{name} is of study {batch.study}, not of {study.name}",
            where=where,
            mend="a panel compares batches of one study",
            code="panel.study",
        )
    if not batch.finished_at:
        raise RecordError(
            f"{name} is not finished: nobody knows yet what is in it",
            where=where,
            mend="finish the batch, then plan the panel",
            code="panel.not_finished",
        )
    return batch


def _unless(override: str, why: Iterable[str], batch: BatchView, where: str, code: str = "panel.stop") -> list[str]:
    """Refuse for these reasons, unless one is given to set them aside; then they are kept with it."""
    found = [f"{batch.name}: {reason}" for reason in why]
    if found and not override.strip():
        raise RecordError(
            f"{'; '.join(found)}",
            where=where,
            mend='mend the batch, or leave it out; to serve it all the same give override="why", which is recorded',
            code=code,
        )
    return found


def _for_people(source: Source, study: StudyView, batch: BatchView, override: str, where: str) -> list[str]:
    never = [*_stops(batch), *_outside(source, study, batch)]
    if never:
        raise RecordError(
            f"{batch.name} never goes on people: {'; '.join(never)}",
            where=where,
            mend='leave it out, or let the panel judge cut tresses: on="tress"',
            code="panel.people",
        )
    return _unless(override, _unproven(source, study, batch), batch, where, "panel.challenge")


def _stops(batch: BatchView) -> list[str]:
    """What the review of the batch as made stops."""
    try:
        found = batch.review()
    except BatchError as problem:
        return [f"what is in it is not known ({problem.what})"]
    return [f"{finding.words} [{finding.code}]" for finding in found.stops]


def _outside(source: Source, study: StudyView, batch: BatchView) -> list[str]:
    """Limits of the spec that the last readings of the batch lie outside of; a pH that nobody read."""
    found, names = [], {line.property.lower() for line in study.spec}
    for line in study.spec:
        readings = _last(source, study, batch, line.property, line.method)
        if readings and _is_outside(readings, line):
            unit = "" if readings[0].unit in ("", "1") else f" {readings[0].unit}"
            found.append(f"{line.property} {short(_mean(readings), 4)}{unit}, asked {line.words()}")
    if "ph" not in names or not _last(source, study, batch, "pH"):
        told = "there is no spec for its pH" if "ph" not in names else "its pH was not read"
        found.append(f"{told}, so nobody can say that it is inside its limit")
    return found


def _last(source: Source, study: StudyView, batch: BatchView, name: str, method: str = "") -> list[Reading]:
    """The readings of the last day on which it was read, of jars that were not kept warm or cold."""
    fits = [
        reading
        for reading in batch.readings
        if reading.property.lower() == name.lower()
        and method in ("", reading.method)
        and reading.value is not None
        and usable(reading, source.flags(reading, study))
        and storage_key(reading.storage) in ("", REFERENCE)
    ]
    last = max((reading.measured_at or "" for reading in fits), default="")
    return [reading for reading in fits if (reading.measured_at or "")[:_DAY] == last[:_DAY]]


def _mean(readings: Sequence[Reading]) -> float:
    return float(sum(reading.value for reading in readings) / len(readings))


def _is_outside(readings: Sequence[Reading], line: SpecLine) -> bool:
    """Whether their mean lies outside; where their unit cannot be set beside that of the limits, nobody can say not."""
    unit = readings[0].unit or "1"
    ends = (line.low, line.high)
    if line.unit and not same_unit(line.unit, unit):
        try:
            ends = [None if end is None else read(f"{plain(end)} {line.unit}", unit) for end in ends]
        except UnitError:
            return True
    if not all(same_unit(reading.unit or "1", unit) for reading in readings):
        return True
    (low, high), mean = ends, _mean(readings)
    return (low is not None and mean < low) or (high is not None and mean > high)


def _unproven(source: Source, study: StudyView, batch: BatchView) -> list[str]:
    """Why nobody knows that the formula is preserved; nothing where a challenge test of that formula was passed."""
    fingerprint = batch.formula.fingerprint
    tests = [
        test
        for made in source.batches(study=study.name, formula=fingerprint)
        for test in made.challenge_tests
        if not test.void
    ]
    if any(test.evaluate().decision in _PASSED for test in tests):
        return []
    told = f"the last one: {tests[-1].evaluate().decision}" if tests else "none is recorded"
    return [f"no challenge test of this formula was passed ({told}): a good look is not preservation"]


def _allergens(compositions: Iterable[Composition], bought: bool) -> tuple[str, ...]:
    known: dict[str, None] = {}
    open_: dict[str, None] = {}
    for composition in compositions:
        known |= dict.fromkeys(item.name for item in allergen_contents(composition))
        for category in ("fragrance", "extract"):
            open_ |= dict.fromkeys(material.name for material in undeclared(composition, category))
    told = []
    if known:
        told.append(f"Allergens known in one sample or another: {', '.join(sorted(known))}.")
    if open_:
        told.append(f"Allergens not declared by the supplier of: {', '.join(sorted(open_))}.")
    if bought:
        told.append("One sample is a bought product: its list of ingredients lies with whoever leads the panel.")
    return tuple(told)
