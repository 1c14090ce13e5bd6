"""The numbers that rules judge, defined once: exact for one composition, as arrays for many.

A number is made of parts that are linear in the percentages of the lines, so that its weights can be read off by giving
each line 100 % in turn. A rule asks `Number.of(composition)` and gets exact decimals; a screen over many compositions
takes the weights, and asks the rule's own exact number wherever a value comes close to a limit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from kit.formula.composition import Composition
from kit.formula.model import SpecLine
from kit.formula.network import amount_mmol_per_100g, content_pct

Exact = Decimal | Fraction | float
Part = Callable[[Composition], Exact | None]


@dataclass(frozen=True, slots=True)
class Content:
    """Content of some categories, all sources. [% w/w]"""

    categories: tuple[str, ...]

    def __call__(self, composition: Composition) -> Decimal:
        """The part of this composition."""
        return content_pct(composition, *self.categories)


@dataclass(frozen=True, slots=True)
class Amount:
    """Amount of some categories; None when a molar mass is not known. [mmol/100 g]"""

    categories: tuple[str, ...]

    def __call__(self, composition: Composition) -> Decimal | None:
        """The part of this composition."""
        return amount_mmol_per_100g(composition, *self.categories)


@dataclass(frozen=True, slots=True)
class LineContent:
    """Content of one supply form over all its lines, times a factor such as its active share. [% w/w]"""

    key: str
    factor: Decimal = Decimal(1)

    def __call__(self, composition: Composition) -> Decimal:
        """The part of this composition."""
        return composition.pct(self.key) * self.factor


def total(composition: Composition) -> Decimal:
    """Sum of all lines. [% w/w]"""
    return composition.total


def quotient(over: Exact, under: Exact) -> Exact:
    """One part over another, for numbers and for arrays."""
    return over / under


@dataclass(frozen=True, slots=True)
class Number:
    """A number a rule judges.

    Parameters
    ----------
    parts : tuple of callables   Of a composition, linear in its percentages; None where a fact is not known.
    combine : callable           Makes the number of the parts, on decimals and on arrays alike; absent for one part.
    """

    parts: tuple[Part, ...]
    combine: Callable | None = None

    def of(self, composition: Composition) -> Exact | None:
        """The number of one composition, exactly; None when a fact it needs is not known."""
        values = [part(composition) for part in self.parts]
        if any(value is None for value in values):
            return None
        return self.combine(*values) if self.combine else values[0]


@dataclass(frozen=True, slots=True)
class Judged:
    """A number with the limits a rule holds it against, in the number's own exact type.

    `side` is empty where each side of each limit counts by itself. Where a rule only asks whether any of several
    numbers lies "above" or "below" its limit, they are drawn together by side.
    """

    number: Number
    limits: tuple[Exact, ...]
    side: str = ""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule, and what of a composition decides which findings it yields.

    Parameters
    ----------
    find : callable     (composition), or (composition, spec), that yields findings.
    judged : callable   Same arguments; yields every `Judged` on which codes and severities depend. It may look at which
                        parts are there, never at how much of them. Absent for a rule that only asks what is there.
    """

    find: Callable
    judged: Callable[..., Iterable[Judged]] | None = None


def judged_of(rule: Rule, composition: Composition, spec: Sequence[SpecLine] | None) -> tuple[Judged, ...]:
    """All a rule judges in compositions that hold the same parts as this one."""
    if rule.judged is None:
        return ()
    return tuple(rule.judged(composition) if spec is None else rule.judged(composition, spec))
