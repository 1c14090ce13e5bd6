"""The levels a response is fitted to: what of a batch is a factor, and its level as made.

A material is a factor by its content, as active matter where the supply form carries some; a setting of the making by
what was recorded of it. Materials that share one constant total are the parts of a mixture.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from kit.errors import KitError, MaterialError
from kit.formula.formula import Formula
from kit.formula.material import Material
from kit.labbook.source import nearest_names
from kit.labbook.view import BatchView
from kit.show import Fielded
from kit.trials.as_made import made_of
from kit.trials.plan_factors import ACTIVE, SUPPLIED, read_factors
from kit.trials.plan_settings import Setting, read_setting
from kit.trials.process import process_of
from kit.trials.wording import NOT_RECORDED
from kit.units import number

MIXTURE, CONTENT, PROCESS = "mixture", "content", "process"
MADE, MEANT = "made", "meant"

# totals of a mixture part that differ by less than this share, as meant, are one total (rounding of supply forms)
_ONE_TOTAL = 0.01


@dataclass(frozen=True, repr=False)
class LevelFactor(Fielded):
    """One thing whose level a batch has.

    Parameters
    ----------
    name : str                  Material key, setting ("combine rpm") or subject of the making.
    kind : str                  "mixture", "content" or "process".
    unit : str                  "%", "rpm", "min", "degC" or nothing.
    basis : str                 Of a material: "active" or "as supplied".
    material : Material, None   Of a material.
    setting : Setting, None     Of a setting of a step.
    subject : str               Of another number of the making, as the process table names it.
    low, high : float, None     Bounds that were typed. [unit]
    """

    name: str
    kind: str
    unit: str
    basis: str = SUPPLIED
    material: Material | None = None
    setting: Setting | None = None
    subject: str = ""
    low: float | None = None
    high: float | None = None

    @property
    def head(self) -> str:
        """Name and unit, for the head of a column or an axis."""
        unit = {"degC": "°C", "%": f"% w/w{' active' if self.basis == ACTIVE else ''}"}.get(self.unit, self.unit)
        return f"{self.name}, {unit}" if unit else self.name

    def of(self, batch: BatchView, state: str = MADE) -> tuple[float | None, str]:
        """The level of a batch [unit], or None and why there is none.

        Parameters
        ----------
        batch : BatchView
        state : str   "made", or "meant" by formula and planned steps.
        """
        if self.material is not None:
            return self._content(batch, state)
        if state == MEANT and self.setting is not None:
            planned = self.setting.value(batch.formula.steps)
            return (None, f"{self.name} was not planned") if planned is None else (float(planned), "")
        return self._recorded(batch)

    def _content(self, batch: BatchView, state: str) -> tuple[float | None, str]:
        composition = batch.formula.composition()
        if state == MADE:
            made, why = made_of(batch)
            if made is None:
                return None, f"its composition as made is {why}"
            composition = made.composition
        lines = [line for line in composition.lines if line.material.key == self.material.key]
        share = [line.material.active_pct if self.basis == ACTIVE else Decimal(100) for line in lines]
        return float(sum((line.pct * pct / 100 for line, pct in zip(lines, share, strict=True)), Decimal(0))), ""

    def _recorded(self, batch: BatchView) -> tuple[float | None, str]:
        if self.setting is not None:
            value = _done(self.setting, batch)
            return (None, f"{self.name} {NOT_RECORDED}") if value is None else (float(value), "")
        told = process_of(batch).get(self.subject, NOT_RECORDED)
        try:
            return float(told), ""
        except ValueError:
            return None, f"{self.name}: {told}"


def _done(setting: Setting, batch: BatchView) -> Decimal | None:
    """What was recorded of a setting: of the last step of its kind and phase."""
    if setting.step < 0:
        return setting.value(batch.steps_done)
    alike = [step for step in batch.steps_done if step.do == setting.do]
    fitting = [step for step in alike if setting.phase in ("", step.phase)]
    field = {"rpm": "rpm", "minutes": "minutes", "temperature": "temp_c"}[setting.what]
    found = [getattr(step, field) for step in fitting if getattr(step, field) is not None]
    return found[-1] if found else None


def read_level_factors(
    formula: Formula, batches: Sequence[BatchView], asked: Sequence[str] | Mapping[str, object], mixture: object = None
) -> tuple[LevelFactor, ...]:
    """The factors that were asked for, materials of one constant total first, as a mixture.

    Parameters
    ----------
    formula : Formula               Whose materials and steps are meant, usually the control's.
    batches : sequence              Whose totals tell whether materials are parts of a mixture.
    asked : sequence or dict        Material keys and settings, "combine rpm", with bounds where they matter:
                                    "cetearyl-alcohol: 4 to 6 %", as in a plan.
    mixture : bool or sequence      None: by the totals; False: none is; names: these are.

    Raises
    ------
    KitError   `response.factor` for a name that is neither, `response.factors` without any or with one twice,
               `response.mixture` for a mixture of fewer than two.
    """
    pairs = list(asked.items()) if isinstance(asked, Mapping) else [_split(text) for text in several(asked)]
    found = tuple(_factor(formula, batches, str(name).strip(), levels) for name, levels in pairs)
    names = [factor.name for factor in found]
    if not names or len(set(names)) < len(names):
        raise KitError(
            "no factor was named" if not names else f"one factor stands twice: {', '.join(names)}",
            where="factors of a response",
            allowed='material keys and settings of the making, such as "cetearyl-alcohol" or "combine rpm"',
            mend="name each once",
            code="response.factors",
        )
    parts = _parts(found, batches, mixture)
    return (
        *(replace(factor, kind=MIXTURE) for factor in found if factor.name in parts),
        *(factor for factor in found if factor.name not in parts),
    )


def several(asked: Sequence[str] | None) -> list[str]:
    """One name or several as a list; nothing for none.

    Parameters
    ----------
    asked : str, sequence of str or None
    """
    return [asked] if isinstance(asked, str) else list(asked or ())


def _split(text: str) -> tuple[str, str]:
    name, mark, levels = str(text).partition(": ")
    return (name, levels) if mark else (str(text), "")


def _factor(formula: Formula, batches: Sequence[BatchView], name: str, levels: object) -> LevelFactor:
    setting = read_setting(name, formula)
    material = None if setting else _material(formula, batches, name)
    if setting is None and material is None:
        return _subject(formula, batches, name, levels)
    basis = ACTIVE if material is not None and 0 < material.active_pct < 100 else SUPPLIED
    low = high = None
    if levels:
        (typed,) = read_factors(formula, {name: levels}, basis=basis)
        low, high, basis = float(typed.low), float(typed.high), typed.basis
        _refuse_no_width(name, levels, low, high)
    if setting is not None:
        return LevelFactor(setting.name, PROCESS, setting.unit, setting=setting, low=low, high=high)
    return LevelFactor(material.key, CONTENT, "%", basis, material, low=low, high=high)


def _material(formula: Formula, batches: Sequence[BatchView], name: str) -> Material | None:
    for known in dict.fromkeys((formula, *(batch.formula for batch in batches))):
        for material in known.composition().materials():
            if name.strip().lower() in (material.key.lower(), material.name.lower()):
                return material
    try:
        return formula.find(name, where="factors of a response")
    except MaterialError as problem:
        if problem.code != "material.unknown":
            raise
        return None


def _subject(formula: Formula, batches: Sequence[BatchView], name: str, levels: object) -> LevelFactor:
    known = list(dict.fromkeys(subject for batch in batches for subject in process_of(batch)))
    fitting = [subject for subject in known if subject.lower() == name.lower()]
    if not fitting:
        keys = [material.key for material in formula.composition().materials()]
        raise KitError(
            f"{name!r} is no material of these batches and no setting of their making",
            where="factors of a response",
            allowed=", ".join(nearest_names(name, [*keys, *known])) or ", ".join(keys),
            mend="name a material by its key, or a setting such as 'combine rpm'",
            code="response.factor",
        )
    low, high = _plain_bounds(str(levels), name) if levels else (None, None)
    return LevelFactor(fitting[0], PROCESS, "", subject=fitting[0], low=low, high=high)


def _plain_bounds(levels: str, name: str) -> tuple[float, float]:
    """Two numbers without a unit, as a number of the making has them."""
    try:
        low, high = (float(number(part, where=f"bounds of {name}")) for part in levels.split(" to "))
    except ValueError:
        raise _no_bounds(name, levels) from None
    _refuse_no_width(name, levels, low, high)
    return low, high


def _refuse_no_width(name: str, typed: object, low: float, high: float) -> None:
    if low >= high:
        raise _no_bounds(name, typed)


def _no_bounds(name: str, typed: object) -> KitError:
    return KitError(
        f"{typed!r} are no bounds of {name}",
        where="factors of a response",
        allowed='the lower and the higher one, "4 to 6 %"; two plain numbers, "30 to 45", of a number of the making',
        mend="write them so, or leave them out",
        code="response.factor",
    )


def _parts(factors: Sequence[LevelFactor], batches: Sequence[BatchView], mixture: object) -> tuple[str, ...]:
    """The names of those that are parts of a mixture."""
    contents = [factor for factor in factors if factor.kind == CONTENT]
    if mixture is None or mixture is True:
        totals = [sum(factor.of(batch, MEANT)[0] for factor in contents) for batch in batches]
        moved = [{factor.of(batch, MEANT)[0] for batch in batches} for factor in contents]
        one = totals and max(totals) - min(totals) <= _ONE_TOTAL * max(totals)
        is_mixture = len(contents) > 1 and one and all(len(levels) > 1 for levels in moved)
        if mixture and len(contents) < 2:
            raise _no_mixture([factor.name for factor in contents], contents)
        return tuple(factor.name for factor in contents) if is_mixture or mixture else ()
    if mixture is False:
        return ()
    named = set(several(mixture))
    found = tuple(factor.name for factor in contents if factor.name in named)
    if len(found) < 2 or len(found) < len(named):
        raise _no_mixture(sorted(map(str, named)), contents)
    return found


def _no_mixture(names: Sequence[str], contents: Sequence[LevelFactor]) -> KitError:
    return KitError(
        f"{', '.join(names) or 'nothing'} cannot be a mixture",
        where="mixture of a response",
        allowed=", ".join(factor.name for factor in contents) or "materials among the factors",
        mend="name two or more material factors",
        code="response.mixture",
    )
