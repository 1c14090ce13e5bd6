"""The batches a response is fitted to: their levels as made, their means, and what was left out and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kit.errors import KitError
from kit.labbook.source import Source, nearest_names
from kit.labbook.study_view import StudyView
from kit.labbook.view import BatchView
from kit.science.design_day import confounded_with_day
from kit.show import Fielded
from kit.trials.arms import Arm, versions_of
from kit.trials.judging import fold
from kit.trials.measured import measure
from kit.trials.process import process_of
from kit.trials.response_levels import MADE, MEANT, LevelFactor
from kit.trials.results import LeftOut, PropertyResult
from kit.trials.verdicts import spec_windows

# a number of the making this share away from that of most batches is another making (own choice)
_ANOTHER = 0.25


@dataclass(frozen=True, slots=True, repr=False)
class ResponseBatch(Fielded):
    """One batch in a fit.

    Parameters
    ----------
    batch, trial, version, day : str   "TEA-01/1"; `version` is equal for makings of one formula version.
    levels, meant : tuple of float     As made (or meant, if so asked), and as meant. [unit of each factor]
    value : float                      Mean of its readings. [unit]
    n_readings : int                   How many.
    """

    batch: str
    trial: str
    version: str
    day: str
    levels: tuple[float, ...]
    meant: tuple[float, ...]
    value: float
    n_readings: int


@dataclass(frozen=True, slots=True)
class Unused:
    """A batch that is in no fit, and why."""

    batch: str
    why: str


@dataclass(frozen=True)
class ResponseData:
    """What there is to fit.

    Parameters
    ----------
    result : PropertyResult, None   The property at the age; None where nothing was read.
    batches : tuple                 Those to fit, in order of making.
    held_out : tuple                Those kept back, to check the model by.
    unused : tuple of Unused        The others.
    left_out : tuple of LeftOut     Readings in no mean, of any batch.
    """

    result: PropertyResult | None
    batches: tuple[ResponseBatch, ...]
    held_out: tuple[ResponseBatch, ...]
    unused: tuple[Unused, ...]
    left_out: tuple[LeftOut, ...]


def arms_of(source: Source, study: StudyView) -> tuple[Arm, ...]:
    """The versions of a study, its control first; without one, that of the most batches."""
    arms = versions_of(source.batches(study=study.name))
    lead = [arm for arm in arms if study.control in arm.trials] or sorted(arms, key=lambda arm: -len(arm.batches))[:1]
    return tuple(sorted(arms, key=lambda arm: arm not in lead))


def results_of(source: Source, study: StudyView, arms: Sequence[Arm]) -> tuple[PropertyResult, ...]:
    """Every property at every age, by the rules of a comparison."""
    if not arms:
        return ()
    return measure(source, study, arms, spec_windows(study.spec, study.windows)).results


def find_result(results: Sequence[PropertyResult], property: str, age: str, method: str = "") -> PropertyResult | None:
    """The result of one property at one age; None where nothing at all was read and no spec asks for it.

    Parameters
    ----------
    results : sequence of PropertyResult
    property, age, method : str   "viscosity", "72 h"; the method where there are several.

    Raises
    ------
    KitError   `response.property` for a property or an age that is not there.
    """
    named = [item for item in results if fold(item.property) == fold(property)]
    fitting = [item for item in named if item.age == age and method in ("", item.method)]
    if not fitting:
        known = list(dict.fromkeys(item.property for item in results))
        ages = list(dict.fromkeys(item.age for item in named))
        what = f"there is no {property} at {age}{f' by {method}' if method else ''}"
        raise KitError(
            what,
            where="response",
            allowed=", ".join(ages if named else nearest_names(property, known)) or "nothing was read yet",
            mend="name a property and an age of the study",
            code="response.property",
        )
    return max(fitting, key=lambda item: sum(arm.n_batches for arm in item.arms))


def collect(
    result: PropertyResult,
    arms: Sequence[Arm],
    factors: Sequence[LevelFactor],
    *,
    trials: Sequence[str] = (),
    without: Sequence[str] = (),
    state: str = MADE,
) -> ResponseData:
    """The batches to fit with their levels and means.

    Parameters
    ----------
    result : PropertyResult
    arms : sequence of Arm     In the order of the result.
    factors : sequence         Whose levels are read.
    trials : sequence of str   Only batches of these; all when empty.
    without : sequence of str  Trials or batches kept back to check the model by.
    state : str                "made" or "meant".

    Raises
    ------
    KitError   `response.trial` for a trial or batch that is not there.
    """
    views = {batch.name: batch for arm in arms for batch in arm.batches}
    _known([*trials, *without], views)
    used, held, unused = [], [], []
    for arm, made in zip(arms, result.arms, strict=True):
        means = {value.batch: value for value in made.batch_values}
        for batch in arm.batches:
            if trials and not {batch.name, batch.trial} & set(trials):
                continue
            levels, why = _levels(factors, batch, state)
            meant, _ = _levels(factors, batch, MEANT)
            value = means.get(batch.name)
            if value is None or why:
                unused.append(Unused(batch.name, why or _no_value(batch, made.left_out)))
                continue
            found = ResponseBatch(
                batch.name, batch.trial, arm.label, value.day, levels, meant or levels, value.mean, value.n_readings
            )
            (held if {batch.name, batch.trial} & set(without) else used).append(found)
    order = {name: place for place, name in enumerate(sorted(views, key=lambda name: views[name].started_at))}
    in_order = [tuple(sorted(some, key=lambda item: order[item.batch])) for some in (used, held, unused)]
    left = tuple(item for arm in result.arms for item in arm.left_out)
    return ResponseData(result, *in_order, left)


def _levels(factors: Sequence[LevelFactor], batch: BatchView, state: str) -> tuple[tuple[float, ...], str]:
    found = [factor.of(batch, state) for factor in factors]
    missing = [why for level, why in found if level is None]
    return ((), "; ".join(missing)) if missing else (tuple(level for level, _ in found), "")


def _no_value(batch: BatchView, left: Sequence[LeftOut]) -> str:
    own = [f"{item.value:g} {item.state} ({item.code})" for item in left if item.batch == batch.name]
    return "; ".join(dict.fromkeys(own)) or "not read at this age"


def _known(names: Sequence[str], views: dict[str, BatchView]) -> None:
    known = {*views, *(batch.trial for batch in views.values())}
    for name in names:
        if name not in known:
            raise KitError(
                f"there is no trial or batch {name!r} in this study",
                where="response",
                allowed=", ".join(nearest_names(name, sorted(known))),
                mend="name one of these",
                code="response.trial",
            )


def day_words(factors: Sequence[LevelFactor], batches: Sequence[ResponseBatch]) -> dict[str, str]:
    """The factors, and interactions of two, that go with the day of making, and how, in words."""
    levels = {factor.name: [batch.meant[place] for batch in batches] for place, factor in enumerate(factors)}
    found = confounded_with_day(levels, [batch.day for batch in batches])
    named = {one.effect: one.effect.replace(":", " * ") for one in found}  # as the terms and effects are named
    return {named[one.effect]: one.words.replace(one.effect, named[one.effect]) for one in found}


def made_otherwise(
    factors: Sequence[LevelFactor],
    used: Sequence[ResponseBatch],
    held: Sequence[ResponseBatch],
    views: dict[str, BatchView],
) -> tuple[str, ...]:
    """Batches that differ from most in more than the factors, in words: lines as meant, and numbers of the making."""
    batches = [*used, *held]
    keys = {factor.material.key for factor in factors if factor.material is not None}
    settings = {factor.subject for factor in factors} | {_subject_of(factor) for factor in factors}
    numbers = {batch.batch: _numbers(views[batch.batch], keys, settings) for batch in batches}
    lines = {material.key for view in views.values() for material in view.formula.composition().materials()}
    names = list(dict.fromkeys(name for found in numbers.values() for name in found))
    for found in numbers.values():
        found.update({name: 0.0 for name in names if name in lines and name not in found})
    told = []
    for batch in batches:
        odd = []
        for name in names:
            usual = _middle([found[name] for found in numbers.values() if name in found])
            own = numbers[batch.batch].get(name)
            if own is not None and abs(own - usual) > _ANOTHER * max(abs(usual), abs(own)):
                odd.append(f"{name} {own:g}, of most {usual:g}")
        if odd:
            then = (
                "it was kept back, and checks the model for another making."
                if batch in held
                else f'it counts all the same; leave it out with without=["{batch.trial}"] if it is another making.'
            )
            told.append(f"{batch.batch} differs in more than the factors ({'; '.join(odd)}): {then}")
    return tuple(told)


def _subject_of(factor: LevelFactor) -> str:
    """The name the process table has for a setting of the combination or an addition."""
    setting = factor.setting
    if setting is None:
        return ""
    if setting.do == "combine":
        return f"combining, {setting.what}"
    if setting.do == "add":
        place = f"phase {setting.phase} added"
        return f"{place} at, °C" if setting.what == "temperature" else f"{place}, {setting.what}"
    return f"phase {setting.phase} at combining, °C" if setting.step < 0 else ""


def _numbers(batch: BatchView, keys: set[str], settings: set[str]) -> dict[str, float]:
    found = {}
    for material in batch.formula.composition().materials():
        if material.key not in keys and not material.is_water:
            found[material.key] = float(batch.formula.composition().pct(material.key))
    for subject, told in process_of(batch).items():
        if subject not in settings:
            try:
                found[subject] = float(told)
            except ValueError:
                continue
    return found


def _middle(values: Sequence[float]) -> float:
    ordered = sorted(values)
    return ordered[(len(ordered) - 1) // 2]
