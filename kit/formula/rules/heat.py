"""Heat: what each line has to stand, and what each line needs to melt, read from the steps of making."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from kit.formula.composition import Composition, CompositionLine, Step
from kit.formula.material import Fact, Material
from kit.formula.rules import limits
from kit.formula.rules.findings import PRACTICE, Finding, line_keys, names, source_of
from kit.units import plain

HOT_KINDS = ("water", "oil")
_AFTER = "after"


@dataclass(frozen=True, slots=True)
class Exposure:
    """A temperature a phase is brought to, and the step that does it. [degC]

    `own` is True for a temperature of the phase itself, up to its going into the batch; False for one of the batch.
    """

    temp_c: Decimal
    doing: str
    own: bool = True


def exposures(composition: Composition) -> dict[str, tuple[Exposure, ...]]:
    """For each phase, every temperature the steps bring it to; none where no step gives one. [degC]"""
    course = _Course({line.phase: line.kind for line in composition.lines})
    for step in composition.steps:
        course.take(step)
    return {phase: tuple(seen) for phase, seen in course.seen.items()}


def limit(composition: Composition) -> Iterable[Finding]:
    """No line may see more than its `heat_max`."""
    hottest = _hottest(composition)
    over = _over_limit(composition, hottest)
    for doing in dict.fromkeys(hottest[line.phase].doing for line in over):
        lines = [line for line in over if hottest[line.phase].doing == doing]
        most = {line.material.name: _number(line.material.heat_max) for line in lines}
        told = names(f"{name} (at most {plain(temp)} degC)" for name, temp in most.items())
        words = (
            f"{told} would see {plain(hottest[lines[0].phase].temp_c)} degC ({doing}): heat drives "
            "it off or spoils it. Add it in the cool-down, below its limit."
        )
        yield Finding(
            "caution",
            "heat.limit",
            words,
            line_keys(lines),
            hottest[lines[0].phase].temp_c,
            min(most.values()),
            source_of(lines[0].material.heat_max),
        )


def melt(composition: Composition) -> Iterable[Finding]:
    """A line of a hot phase must be brought to the temperature it needs to melt or dissolve."""
    hottest = _hottest(composition, own=True)
    cold = [
        line
        for line in composition.lines
        if line.kind in HOT_KINDS
        and line.pct > 0
        and line.material.melt_min is not None
        and line.phase in hottest
        and hottest[line.phase].temp_c < _number(line.material.melt_min)
    ]
    for phase in dict.fromkeys(line.phase for line in cold):
        lines = [line for line in cold if line.phase == phase]
        reached, needed = hottest[phase].temp_c, max(_number(line.material.melt_min) for line in lines)
        told = names(f"{line.material.name} ({plain(_number(line.material.melt_min))} degC)" for line in lines)
        words = (
            f"Phase {phase} reaches {plain(reached)} degC, too little to melt {told} fully: unmelted wax sets as "
            f"grains. Hold the phase at {plain(needed)} degC until it is clear."
        )
        yield Finding(
            "caution", "heat.melt", words, line_keys(lines), reached, needed, source_of(lines[0].material.melt_min)
        )


def combined_cold(composition: Composition) -> Iterable[Finding]:
    """The batch after combining must still be above the melting temperature of its fatty alcohols."""
    alcohols = [
        line
        for line in composition.lines
        if line.material.melt_min is not None
        and line.pct > 0
        and all(part.substance.category == "fatty alcohol" for part in line.material.parts)
    ]
    for step in composition.steps:
        after = dict(step.temps_c).get(_AFTER, step.temp_c)
        cold = [line for line in alcohols if after is not None and after < _number(line.material.melt_min)]
        if step.do == "combine" and cold:
            needed = max(_number(line.material.melt_min) for line in cold)
            words = (
                f"After combining the batch is at {plain(after)} degC, below the {plain(needed)} degC of "
                f"{names(line.material.name for line in cold)}: the fat freezes into grains. Warm the colder phase "
                "and the vessel."
            )
            yield Finding(
                "caution",
                "heat.combined_cold",
                words,
                line_keys(cold),
                after,
                needed,
                source_of(cold[0].material.melt_min),
            )


def process(composition: Composition) -> Iterable[Finding]:
    """No phase is usually brought above 90 degC, and nothing is usually added to a batch above 60 in the cool-down."""
    hottest, too_hot = _hottest(composition), limits.PROCESS_C
    for phase in [phase for phase, exposure in hottest.items() if exposure.temp_c > too_hot]:
        temp, doing = hottest[phase].temp_c, hottest[phase].doing
        words = (
            f"Phase {phase} is brought to {plain(temp)} degC ({doing}), above the usual {too_hot} degC: more water is "
            "lost, oils oxidise, and a splash burns. Check the temperature typed."
        )
        yield Finding("caution", "heat.process", words, (), temp, too_hot, PRACTICE)
    kinds, told = (
        {line.phase: line.kind for line in composition.lines if line.pct > 0},
        _over_limit(composition, hottest),
    )
    for phase, exposure in _hottest(composition, own=True).items():
        warm = limits.COOL_DOWN_C < exposure.temp_c <= too_hot
        if kinds.get(phase) == "cool-down" and warm and phase not in {line.phase for line in told}:
            words = (
                f"The cool-down phase {phase} meets {plain(exposure.temp_c)} degC ({exposure.doing}), above the usual "
                f"{limits.COOL_DOWN_C} degC: it is made for what heat harms. Add it later."
            )
            yield Finding("caution", "heat.cool_down", words, (), exposure.temp_c, limits.COOL_DOWN_C, PRACTICE)


def _held_hot(material: Material) -> bool:
    """Whether every active part is heated as a rule; the ester bond of an esterquat is not."""
    active = [part.substance for part in material.parts if part.role in ("active", "water")]
    return all(
        substance.category in limits.HELD_HOT and substance.surfactant_class != "esterquat" for substance in active
    )


def unknown(composition: Composition) -> Iterable[Finding]:
    """Heat that could not be judged: a limit or a temperature is missing."""
    hottest = _hottest(composition)
    warm = [
        line
        for line in composition.lines
        if line.material.heat_max is None
        and line.pct > 0
        and not _held_hot(line.material)
        and line.phase in hottest
        and hottest[line.phase].temp_c > limits.WARM_C
    ]
    if warm:
        yield Finding(
            "note",
            "facts.unknown",
            f"heat limit of {names(line.material.name for line in warm)}, above {limits.WARM_C} degC",
            line_keys(warm),
        )
    own = _hottest(composition, own=True)
    blind = [
        line for line in composition.lines if line.pct > 0 and line.phase not in own and _has_heat_fact(line.material)
    ]
    for phase in dict.fromkeys(line.phase for line in blind):
        lines = [line for line in blind if line.phase == phase]
        yield Finding(
            "note",
            "facts.unknown",
            f"heat of {names(line.material.name for line in lines)} (no step gives a temperature for phase {phase})",
            line_keys(lines),
        )


class _Course:
    """The making followed step by step: which phases are in the batch, and how hot each has been."""

    def __init__(self, kinds: Mapping[str, str]) -> None:
        self.kinds = kinds
        self.inside: list[str] = []
        self.batch_c: Decimal | None = None
        self.seen: dict[str, list[Exposure]] = {}

    def take(self, step: Step) -> None:
        if step.do == "combine":
            self._combine(step)
        elif step.do in ("add", "adjust") and step.phase:
            self._add(step)
        elif step.do != "note":
            self._hold(step)

    def _combine(self, step: Step) -> None:
        temps = dict(step.temps_c)
        named = [phase for phase in (*temps, step.phase) if phase in self.kinds]
        phases = list(dict.fromkeys(named)) if len(set(named)) > 1 else self._hot_phases(named)
        for phase in phases:
            self._mark([phase], temps.get(phase), f"phase {phase} is combined")
        self._enter(phases)
        after = temps.get(_AFTER, step.temp_c)
        known = [temps[phase] for phase in phases if phase in temps]
        self.batch_c = after if after is not None else max(known, default=self.batch_c)
        self._mark(self.inside, after, "the batch after combining", own=False)

    def _add(self, step: Step) -> None:
        if step.temp_c is not None:
            self.batch_c = step.temp_c
        self._enter([step.phase])
        self._mark([step.phase], self.batch_c, f"phase {step.phase} goes into the batch")
        self._mark([phase for phase in self.inside if phase != step.phase], step.temp_c, "the batch is held", own=False)

    def _hold(self, step: Step) -> None:
        for phase, temp in step.temps_c:
            self._mark([phase] if phase in self.kinds else [], temp, f"phase {phase} is heated")
        alone = step.phase and step.phase not in self.inside
        if alone:
            self._mark([step.phase], step.temp_c, f"phase {step.phase} is heated")
        else:
            self.batch_c = step.temp_c if step.temp_c is not None and self.inside else self.batch_c
            temp = None if step.do == "cool" else step.temp_c
            self._mark(self.inside, temp, "the batch is held", own=False)
            self._mark([] if self.inside else self._hot_phases([]), temp, "the phase is heated")

    def _hot_phases(self, named: list[str]) -> list[str]:
        return list(dict.fromkeys([*named, *(phase for phase, kind in self.kinds.items() if kind in HOT_KINDS)]))

    def _enter(self, phases: Iterable[str]) -> None:
        self.inside = list(dict.fromkeys([*self.inside, *phases]))

    def _mark(self, phases: Iterable[str], temp_c: Decimal | None, doing: str, own: bool = True) -> None:
        for phase in phases if temp_c is not None else ():
            self.seen.setdefault(phase, []).append(Exposure(temp_c, doing, own))


def _hottest(composition: Composition, own: bool = False) -> dict[str, Exposure]:
    """The hottest exposure of each phase; with `own` only those of the phase itself."""
    courses = {
        phase: [exposure for exposure in seen if exposure.own or not own]
        for phase, seen in exposures(composition).items()
    }
    return {phase: max(seen, key=lambda exposure: exposure.temp_c) for phase, seen in courses.items() if seen}


def _over_limit(composition: Composition, hottest: Mapping[str, Exposure]) -> list[CompositionLine]:
    """The lines that see more than they stand."""
    return [
        line
        for line in composition.lines
        if line.material.heat_max is not None
        and line.pct > 0
        and line.phase in hottest
        and hottest[line.phase].temp_c > _number(line.material.heat_max)
    ]


def _number(fact: Fact) -> Decimal:
    """The number of a heat limit or a melting temperature; of a range the upper end."""
    return next(number for number in (fact.value, fact.high, fact.low) if number is not None)


def _has_heat_fact(material: Material) -> bool:
    return material.heat_max is not None or material.melt_min is not None
