"""Settings of the making that a plan varies: speed, minutes and temperature of a named step, set on the steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from kit.errors import KitError
from kit.formula.composition import Step
from kit.formula.model import STEP_KINDS, FormulaModel
from kit.show import Fielded

UNITS = {"rpm": "rpm", "minutes": "min", "temperature": "degC"}
_WORDS = {
    "rpm": "rpm",
    "speed": "rpm",
    "minutes": "minutes",
    "min": "minutes",
    "time": "minutes",
    "temperature": "temperature",
    "temp": "temperature",
}
_FIELDS = {"rpm": "rpm", "minutes": "minutes", "temperature": "temp_c"}
AFTER = "after"


@dataclass(frozen=True, slots=True, repr=False)
class Setting(Fielded):
    """A number of the making: of one step, or the temperature of a phase in every step that names it.

    Parameters
    ----------
    what : str     "rpm", "minutes" or "temperature".
    step : int     Index of the step; -1 for a phase temperature.
    do : str       Kind of the step, "combine"; empty for a phase temperature.
    phase : str    Phase it is about; may be empty.
    """

    what: str
    step: int
    do: str
    phase: str = ""

    @property
    def name(self) -> str:
        """As it is typed: "combine rpm", "add C temperature", "phase B temperature"."""
        if self.step < 0:
            return f"phase {self.phase} temperature"
        return " ".join(word for word in (self.do, self.phase, self.what) if word)

    @property
    def unit(self) -> str:
        """Its unit: "rpm", "min", "degC"."""
        return UNITS[self.what]

    def value(self, steps: Sequence[Step]) -> Decimal | None:
        """What the steps say now; None where they say nothing. [unit]"""
        if self.step >= 0:
            return getattr(steps[self.step], _FIELDS[self.what])
        for step in steps:
            if self.phase in dict(step.temps_c):
                return dict(step.temps_c)[self.phase]
            if step.do == "heat" and step.phase == self.phase and step.temp_c is not None:
                return step.temp_c
        return None

    def put(self, steps: Sequence[Step], value: Decimal) -> tuple[Step, ...]:
        """The steps with this setting at a value. [unit]

        A phase temperature is set where the phase is heated and where it is combined; what the batch was to have
        after combining is then no longer known and is left out.
        """
        if self.step >= 0:
            changed = replace(steps[self.step], **{_FIELDS[self.what]: value})
            return (*steps[: self.step], changed, *steps[self.step + 1 :])
        return tuple(self._at(step, value) for step in steps)

    def _at(self, step: Step, value: Decimal) -> Step:
        if step.do == "heat" and step.phase == self.phase:
            return replace(step, temp_c=value)
        if self.phase not in dict(step.temps_c) or dict(step.temps_c)[self.phase] == value:
            return step
        kept = tuple((name, value if name == self.phase else temp) for name, temp in step.temps_c if name != AFTER)
        return replace(step, temps_c=kept)


def read_setting(name: str, formula: FormulaModel) -> Setting | None:
    """The setting a name stands for; None where the name is not about a step.

    Parameters
    ----------
    name : str               "combine rpm", "cool minutes", "add C temperature", "phase B temperature", "heat #2 min".
    formula : FormulaModel   Whose steps are meant.

    Raises
    ------
    KitError   `plan.setting` where no step, or more than one, fits.
    """
    words = name.split()
    if len(words) < 2 or words[0] not in (*STEP_KINDS, "phase") or words[-1] not in _WORDS:
        return None
    what, middle = _WORDS[words[-1]], words[1:-1]
    if words[0] == "phase":
        if what == "temperature" and len(middle) == 1:
            return _phase_temperature(middle[0], formula, name)
        raise _unfit(name, formula)
    number = next((int(word[1:]) for word in middle if word.startswith("#") and word[1:].isdigit()), 0)
    phase = next((word for word in middle if not word.startswith("#")), "")
    fits = [
        index for index, step in enumerate(formula.steps) if step.do == words[0] and (not phase or step.phase == phase)
    ]
    if number:
        fits = fits[number - 1 : number]
    if len(fits) != 1:
        raise _unfit(name, formula)
    return Setting(what, fits[0], words[0], phase or formula.steps[fits[0]].phase)


def settings_of(formula: FormulaModel) -> tuple[Setting, ...]:
    """Every setting that the steps of a formula have a number for."""
    found = [
        Setting(what, index, step.do, step.phase)
        for index, step in enumerate(formula.steps)
        for what, field in _FIELDS.items()
        if getattr(step, field) is not None and not (what == "temperature" and step.do == "heat")
    ]
    phases = [Setting("temperature", -1, "", phase.name) for phase in formula.phases]
    return (*found, *(one for one in phases if one.value(formula.steps) is not None))


def _phase_temperature(phase: str, formula: FormulaModel, name: str) -> Setting:
    found = Setting("temperature", -1, "", formula.phase(phase).name)
    if found.value(formula.steps) is None:
        raise _unfit(name, formula)
    return found


def _unfit(name: str, formula: FormulaModel) -> KitError:
    return KitError(
        f"{name!r} does not name one setting of the steps",
        where=formula.title,
        allowed=", ".join(dict.fromkeys(one.name for one in settings_of(formula))) or "no step has a number",
        mend='name step and number, "combine rpm"; where several steps fit, "heat #2 minutes"',
        code="plan.setting",
    )
