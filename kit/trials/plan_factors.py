"""What a plan varies: a line of the formula, a setting of the making, or one material in place of another."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from kit.errors import KitError
from kit.formula.material import Material
from kit.formula.model import FormulaModel
from kit.formula.versions import place_of, resolved
from kit.show import Worded
from kit.trials.plan_settings import Setting, read_setting
from kit.units import plain, read, split

LINE, SETTING = "line", "setting"
ACTIVE, SUPPLIED = "active", "as supplied"

# what a level worked out is rounded to; typed levels stay as they are (own choice)
STEPS = {"%": Decimal("0.01"), "rpm": Decimal(10), "min": Decimal("0.5"), "degC": Decimal("0.5")}
_RANGE = re.compile(r"^(.+?)\s+to\s+(.+)$")
_DASH = re.compile(r"^([0-9][0-9.,]*)\s*[-–]\s*([0-9].*)$")


@dataclass(frozen=True, repr=False)
class Factor(Worded):
    """One thing that is varied, with its levels.

    Parameters
    ----------
    name : str              As it is shown, "cetearyl-alcohol" or "combine rpm".
    kind : str              "line" or "setting".
    unit : str              "%", "rpm", "min" or "degC".
    levels : tuple          As typed, or the two ends of a range. [unit]
    is_range : bool         Whether only the ends were given, "3 to 7 %".
    basis : str             Of a line: "as supplied" or "active".
    phase : str             Of a line, its phase.
    material : Material     Of a line.
    setting : Setting       Of a setting.
    """

    name: str
    kind: str
    unit: str
    levels: tuple[Decimal, ...]
    is_range: bool = False
    basis: str = SUPPLIED
    phase: str = ""
    material: Material | None = None
    setting: Setting | None = None

    @property
    def words(self) -> str:
        """Its name and levels."""
        return f"{self.name}: {self.span() if self.levels else 'no level'}"

    @property
    def low(self) -> Decimal:
        """Lowest level. [unit]"""
        return min(self.levels)

    @property
    def high(self) -> Decimal:
        """Highest level. [unit]"""
        return max(self.levels)

    @property
    def head(self) -> str:
        """Name and unit, for the head of a column."""
        unit = {"degC": "°C", "%": "% active" if self.basis == ACTIVE else "%"}.get(self.unit, self.unit)
        return self.name if self.name.endswith(f" {unit}") else f"{self.name}, {unit}"

    def real(self, coded: float) -> Decimal:
        """The level at a coded place, -1 at the low end and +1 at the high, rounded to what is set at a bench. [unit]

        Parameters
        ----------
        coded : float   May lie beyond the ends.
        """
        if abs(abs(coded) - 1) < 1e-9:
            return self.high if coded > 0 else self.low
        value = (self.low + self.high) / 2 + (self.high - self.low) / 2 * Decimal(repr(float(coded)))
        step = STEPS[self.unit]
        return (value / step).quantize(Decimal(1)) * step

    def coded(self, level: Decimal) -> float:
        """Where a level lies, -1 at the low end and +1 at the high. [-]"""
        half = (self.high - self.low) / 2
        return float((level - (self.low + self.high) / 2) / half) if half else 0.0

    def supplied(self, level: Decimal) -> Decimal:
        """The level as the supply form, in % w/w to 0.01 where it is worked out. [% w/w]"""
        if self.basis == SUPPLIED or self.active_pct == 100:
            return level
        return (level * 100 / self.active_pct).quantize(Decimal("0.01"))

    @property
    def active_pct(self) -> Decimal:
        """Active matter in the supply form. [% w/w]"""
        return self.material.active_pct if self.material is not None else Decimal(100)

    def with_levels(self, levels: Iterable[Decimal]) -> Factor:
        """The same factor with other levels. [unit]"""
        return replace(self, levels=tuple(levels))

    def text(self, level: Decimal) -> str:
        """A level with its unit: "3.00 %", "6500 rpm"."""
        unit = "°C" if self.unit == "degC" else self.unit
        return f"{plain(level)} {unit}{' active' if self.basis == ACTIVE else ''}"

    def span(self) -> str:
        """Its levels in words: "3.00 to 7.00 %", "3.00, 4.00, 5.00 %"."""
        listed = " to ".join(map(plain, (self.low, self.high))) if self.is_range else ", ".join(map(plain, self.levels))
        return f"{listed} {self.text(self.low).partition(' ')[2]}"


def read_factors(
    formula: FormulaModel, factors: Sequence[str] | Mapping[str, object], *, basis: str = SUPPLIED
) -> tuple[Factor, ...]:
    """The factors that were typed.

    Parameters
    ----------
    formula : FormulaModel   Whose lines and steps are meant.
    factors : sequence       "cetearyl-alcohol: 3.00 to 7.00 %", "combine rpm: 4000, 6500, 9000 rpm"; or a mapping of
                             name to such levels, "3.00 to 7.00 %" or a list. Levels with a decimal comma are set apart
                             by semicolons.
    basis : str              What a percentage counts where it is not typed behind it: "as supplied" or "active".

    Raises
    ------
    KitError        `plan.factor` for no list, a text without levels, one name twice or an active basis that is not
                    known, `plan.levels` for a level that cannot be, or none, `plan.setting`.
    MaterialError   For a material that is not known.
    UnitError       For a level that cannot be read.
    """
    if isinstance(factors, str):
        factors = [factors]
    if not isinstance(factors, Iterable):
        raise KitError(
            f"{factors!r} names no factor",
            where="factors of the plan",
            allowed='a list of texts: ["cetearyl-alcohol: 3.00 to 7.00 %"]',
            mend="write them so",
            code="plan.factor",
        )
    pairs = list(factors.items()) if isinstance(factors, Mapping) else [_parted(text) for text in factors]
    found = tuple(_factor(formula, str(name).strip(), levels, basis) for name, levels in pairs)
    names = [factor.name for factor in found]
    if len(set(names)) < len(names):
        raise KitError(
            f"one factor stands twice: {', '.join(sorted(name for name in set(names) if names.count(name) > 1))}",
            where="factors of the plan",
            mend="give each once, with all its levels",
            code="plan.factor",
        )
    return found


def _parted(text: str) -> tuple[str, str]:
    name, mark, levels = str(text).rpartition(":")
    if not mark or not name.strip() or not levels.strip():
        raise KitError(
            f"{text!r} gives no levels",
            where="factors of the plan",
            allowed='a name, a colon and levels: "cetearyl-alcohol: 3.00 to 7.00 %" or "combine rpm: 4000, 9000 rpm"',
            mend="write it so",
            code="plan.factor",
        )
    return name, levels


def _factor(formula: FormulaModel, name: str, typed: object, basis: str) -> Factor:
    texts, is_range, told = _texts(typed)
    setting = read_setting(name, formula)
    if setting is not None:
        levels = tuple(_with_unit(text, setting.unit, texts[-1], name) for text in texts)
        return _checked(Factor(setting.name, SETTING, setting.unit, levels, is_range, setting=setting))
    (phase, _), material = place_of(formula, name, "")
    basis = told or basis
    if basis == ACTIVE and not material.active_pct:
        raise KitError(
            f"how much of {material.key} is active is not known",
            where="factors of the plan",
            allowed="% as supplied",
            mend="give its levels as supplied, or state its parts in your own materials file",
            code="plan.factor",
        )
    levels = tuple(_with_unit(text, "%", texts[-1], name) for text in texts)
    homes = [place for place in resolved(formula) if place[1] == material.key]
    shown = material.key if len(homes) < 2 else f"{material.key} ({phase})"  # a colon joins factors of a term
    return _checked(Factor(shown, LINE, "%", levels, is_range, basis, phase, material))


def _texts(typed: object) -> tuple[list[str], bool, str]:
    """Levels one by one, whether they are a range, and the basis that was typed behind them."""
    if not isinstance(typed, str):
        listed = [str(one) for one in typed] if isinstance(typed, Iterable) else [str(typed)]
        return listed, False, ""
    text, told = typed.strip(), ""
    for word in (ACTIVE, SUPPLIED):
        if text.endswith(word):
            text, told = text[: -len(word)].strip(), word
    ends = _RANGE.match(text) or _DASH.match(text)
    if ends:
        return [ends[1], ends[2]], True, told
    parts = text.split(";") if ";" in text else re.split(r",\s+", text)
    return [part.strip() for part in parts if part.strip()], False, told


def _with_unit(text: str, unit: str, last: str, name: str) -> Decimal:
    """A level in its unit; where none was typed, that of the last level, else the factor's own."""
    where = f"levels of {name}"
    value, typed = split(text, where=where)
    typed = typed or split(last, where=where)[1] or unit
    return read(f"{plain(value)} {typed}", unit, where=where)


def _checked(factor: Factor) -> Factor:
    wrong = ""
    if not factor.levels:
        wrong = "no level is given"
    elif any(level < 0 for level in factor.levels) and factor.unit != "degC":
        wrong = "a level is below zero"
    elif len(set(factor.levels)) < len(factor.levels):
        wrong = "a level stands twice" if len(factor.levels) > 2 or not factor.is_range else "the range has no width"
    elif factor.is_range and factor.levels[0] > factor.levels[1]:
        wrong = "the range runs from high to low"
    if wrong:
        shown = f" ({', '.join(map(plain, factor.levels))} {factor.unit})" if factor.levels else ""
        raise KitError(
            f"{factor.name}: {wrong}{shown}",
            where="levels of the plan",
            mend="correct the levels",
            code="plan.levels",
        )
    return factor
