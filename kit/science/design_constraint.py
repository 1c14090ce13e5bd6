"""Linear constraints on a mixture, read from text such as "CTAC + BTAC <= 2.5", in exact fractions."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from kit.errors import KitError
from kit.show import Worded

_SIGN = re.compile(r"<=|>=|=<|=>|≤|≥|<|>|==|=")
_NUMBER = re.compile(r"\d+(?:\.\d*)?(?:[eE][+-]?\d+)?|\.\d+(?:[eE][+-]?\d+)?")
_HOLDER = re.compile(r"\x00(\d+)\x00")
_BELOW = {"<=", "=<", "≤", "<"}


@dataclass(frozen=True, slots=True, repr=False)
class HalfSpace(Worded):
    """What a point x of the region must keep: the sum of coefficient times component is at most the bound.

    Parameters
    ----------
    coefficients : tuple of Fraction   One a component.
    bound : Fraction                   [unit of the components]
    words : str                        The constraint as a reader would say it.
    """

    coefficients: tuple[Fraction, ...]
    bound: Fraction
    words: str

    def slack(self, point: Sequence[Fraction]) -> Fraction:
        """How far inside a point lies; below zero outside."""
        return self.bound - sum(
            (factor * value for factor, value in zip(self.coefficients, point, strict=True) if factor), Fraction(0)
        )


def exact(value: object) -> Fraction:
    """A number as it is printed, as an exact fraction: 0.1 is one tenth.

    Raises
    ------
    KitError   `design.bounds` for what is no finite number.
    """
    try:
        return value if isinstance(value, Fraction) else Fraction(str(value).strip())
    except (ValueError, ZeroDivisionError):
        raise KitError(
            f"{value!r} is no finite number",
            where="bounds of a mixture",
            allowed="numbers such as 2.5",
            mend="give the amount",
            code="design.bounds",
        ) from None


def half_spaces(names: Sequence[str], constraints: Iterable[object]) -> tuple[HalfSpace, ...]:
    """Constraints as half-spaces; an equation gives two.

    Parameters
    ----------
    names : sequence of str   Components.
    constraints : iterable    Text such as "CTAC + BTAC <= 2.5", "0.5 <= BTAC - 2 CTAC" or "1 <= a + b <= 2"; or a pair
        of a mapping (component to coefficient) and a bound that the sum must not pass.

    Raises
    ------
    KitError   `design.constraint`, `design.bounds`.
    """
    found: list[HalfSpace] = []
    for told in (constraints,) if isinstance(constraints, str) else constraints:
        if isinstance(told, HalfSpace):
            found.append(told)
        elif isinstance(told, str):
            found += _read(told, names)
        else:
            found.append(_of_mapping(told, names))
    return tuple(found)


def _of_mapping(told: object, names: Sequence[str]) -> HalfSpace:
    try:
        sides, bound = told
        if not isinstance(sides, Mapping) or not set(sides) <= set(names):
            raise TypeError
    except (TypeError, ValueError):
        raise _unreadable(told, names) from None
    factors = tuple(exact(sides.get(name, 0)) for name in names)
    text = " + ".join(f"{value} {name}" for name, value in sides.items())
    return HalfSpace(factors, exact(bound), f"{text} <= {bound}")


def _read(text: str, names: Sequence[str]) -> list[HalfSpace]:
    held = text
    for index in sorted(range(len(names)), key=lambda index: -len(names[index])):  # "oil" stands in "oil phase"
        held = re.sub(rf"(?<![\w\x00]){re.escape(names[index])}(?![\w\x00])", f"\x00{index}\x00", held)
    sides, signs = _SIGN.split(held), _SIGN.findall(held)
    if not signs:
        raise _unreadable(text, names)
    sums = [_sum(side, text, names) for side in sides]
    found = []
    for left, sign, right in zip(sums, signs, sums[1:], strict=False):
        lower, upper = (left, right) if sign in _BELOW else (right, left)
        found.append(_at_most(lower, upper, text))
        if sign in ("=", "=="):
            found.append(_at_most(upper, lower, text))
    if not any(any(one.coefficients) for one in found):
        raise _unreadable(text, names)
    return found


def _at_most(lower: list[Fraction], upper: list[Fraction], text: str) -> HalfSpace:
    """The half-space of lower <= upper; the last number of each side is its constant."""
    factors = tuple(low - high for low, high in zip(lower[:-1], upper[:-1], strict=True))
    return HalfSpace(factors, upper[-1] - lower[-1], text.strip())


def _sum(side: str, text: str, names: Sequence[str]) -> list[Fraction]:
    """Coefficients of one side of a constraint, its constant last."""
    total = [Fraction(0)] * (len(names) + 1)
    rest = side.strip()
    first = True
    while rest or first:
        sign, rest = _sign(rest, first, text, names)
        factor, rest = _leading_number(rest)
        holder = _HOLDER.match(rest)
        if holder:
            total[int(holder[1])] += sign * (1 if factor is None else factor)
            rest = rest[holder.end() :].lstrip()
        elif factor is not None:
            total[-1] += sign * factor
        else:
            raise _unreadable(text, names)
        first = False
    return total


def _sign(rest: str, first: bool, text: str, names: Sequence[str]) -> tuple[int, str]:
    if rest[:1] in ("+", "-"):
        return (-1 if rest[0] == "-" else 1), rest[1:].lstrip()
    if not first:
        raise _unreadable(text, names)
    return 1, rest


def _leading_number(rest: str) -> tuple[Fraction | None, str]:
    number = _NUMBER.match(rest)
    if not number:
        return None, rest
    rest = rest[number.end() :].lstrip()
    return Fraction(number[0]), rest[1:].lstrip() if rest[:1] in ("*", "·") else rest


def _unreadable(told: object, names: Sequence[str]) -> KitError:
    return KitError(
        f"the constraint {told!r} cannot be read",
        where="constraints of a mixture",
        allowed=f"a linear one such as '{' + '.join(names[:2])} <= 2.5', of {', '.join(names)}",
        mend="write it with these names, numbers, + and -, and one of <=, >= and =",
        code="design.constraint",
    )
