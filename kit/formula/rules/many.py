"""Many compositions reviewed at once: the same answers as one by one, many times faster.

Compositions of the same lines, product and steps are taken together. What a rule finds is decided by which lines are
there and by the side of its limits on which its numbers lie; so each rule runs once for each such case, on the first
composition that shows it, and never twice for the same. The numbers are worked out as arrays from the weights that the
rule's own definitions give; a value close to a limit is asked from the rule, exactly.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from kit.formula.composition import Composition, CompositionLine
from kit.formula.model import SpecLine
from kit.formula.rules import RULES, SPEC_RULES, review
from kit.formula.rules.facts import UNKNOWN
from kit.formula.rules.findings import SEVERITIES, Finding, Review, subject_rank
from kit.formula.rules.judged import Number, Part, Rule, judged_of
from kit.show import Table

if TYPE_CHECKING:
    import numpy as np

_ALL_RULES: tuple[Rule, ...] = (*RULES, *SPEC_RULES)
_CLOSE = 1e-9  # relative to the limit, or to 1 where it is smaller; the arrays are good to about 1e-14
_BEYOND = {"above": 1, "below": -1}


class Found(NamedTuple):
    """A finding without its words; where it `moves`, its place among equals depends on how much there is."""

    severity: str
    code: str
    moves: bool
    excess: Decimal


@dataclass(frozen=True, slots=True)
class _Case:
    """One rule over one group: `kind[row]` says which of the `outcomes` the composition in that row has."""

    rule: int
    kind: np.ndarray
    outcomes: tuple[tuple[Found, ...], ...]


@dataclass(frozen=True, slots=True)
class _Group:
    """Compositions of the same parts; `rows` are their positions in the whole."""

    rows: np.ndarray
    cases: tuple[_Case, ...]


@dataclass(frozen=True)
class Reviews(Sequence):
    """The reviews of many compositions: codes and counts at once, a whole review when it is asked for.

    Parameters
    ----------
    compositions : tuple of Composition   In the order given.
    spec : tuple of SpecLine              What all of them must meet.
    """

    compositions: tuple[Composition, ...]
    spec: tuple[SpecLine, ...] = ()
    _groups: tuple[_Group, ...] = field(default=(), repr=False)
    _place: tuple = field(default=(), repr=False)  # of each composition: its group, and its row there

    def __len__(self) -> int:
        return len(self.compositions)

    def __getitem__(self, index):
        """The whole review of one composition, or a tuple of them, built by the ordinary path."""
        if isinstance(index, slice):
            return tuple(self[position] for position in range(*index.indices(len(self))))
        return review(self.compositions[index], self.spec)

    def codes(self, index: int) -> tuple[str, ...]:
        """Codes of one composition, the worst first, as its review has them."""
        cases = self._cases(index)
        found = _merged(item for _, outcome in cases for item in outcome)
        beside: dict[tuple[int, int], set[str]] = {}
        for item in found:
            beside.setdefault(_fixed_rank(item), set()).add(item.code)
        if any(item.moves and len(beside[_fixed_rank(item)]) > 1 for item in found):
            return self._ranked(index, [rule for rule, outcome in cases if outcome])
        return tuple(item.code for item in sorted(found, key=lambda item: (_fixed_rank(item), -item.excess, item.code)))

    def count(self, severity: str) -> np.ndarray:
        """Findings of one severity in each composition. [count, one integer each]

        Parameters
        ----------
        severity : str   "stop", "caution" or "note".

        Raises
        ------
        ValueError   Another severity.
        """
        if severity not in SEVERITIES:
            raise ValueError(f"severity {severity!r} is none of {', '.join(SEVERITIES)}")
        return self._sum(lambda found: found.severity == severity)

    def has(self, code: str) -> np.ndarray:
        """Whether each composition has a finding of this code. [truth value each]"""
        return self._sum(lambda found: found.code == code) > 0

    def table(self) -> Table:
        """How many compositions have each code, by severity, the worst first."""
        kinds = sorted(
            {
                (found.severity, found.code)
                for group in self._groups
                for case in group.cases
                for outcome in case.outcomes
                for found in outcome
            },
            key=lambda kind: (SEVERITIES.index(kind[0]), subject_rank(kind[1]), kind[1]),
        )
        rows = []
        for severity, code in kinds:
            with_it = int((self._sum(lambda found, wanted=(severity, code): found[:2] == wanted) > 0).sum())
            rows.append((severity.upper(), code, str(with_it)))
        stopped = int((self.count("stop") > 0).sum()) if self.compositions else 0
        return Table(
            ("severity", "code", "compositions"),
            rows,
            title=f"Review of {len(self)} compositions: {stopped} with a stop",
            note="A composition counts once for each code it has.",
            numeric=frozenset({2}),
        )

    def _repr_html_(self) -> str:
        return self.table().html()

    def __str__(self) -> str:
        return str(self.table())

    __repr__ = __str__

    def _cases(self, index: int) -> list[tuple[int, tuple[Found, ...]]]:
        group, row = self._place[index]
        return [(case.rule, case.outcomes[case.kind[row]]) for case in self._groups[group].cases]

    def _ranked(self, index: int, rules: Sequence[int]) -> tuple[str, ...]:
        """Codes in the order that needs the numbers: only the rules that found something are asked again."""
        found = [item for rule in rules for item in _find(rule, self.compositions[index], self.spec)]
        unknown = [item for item in found if item.code == UNKNOWN]
        return Review("", (*(item for item in found if item.code != UNKNOWN), *unknown[:1])).codes

    def _sum(self, wanted: Callable[[Found], bool]) -> np.ndarray:
        """How many wanted findings each composition has; what is not known is one finding however often it is met."""
        import numpy as np

        totals = np.zeros(len(self), dtype=int)
        for group in self._groups:
            counts, blind = np.zeros(len(group.rows), dtype=int), np.zeros(len(group.rows), dtype=bool)
            for case in group.cases:
                known = [sum(wanted(item) for item in outcome if item.code != UNKNOWN) for outcome in case.outcomes]
                counts += np.array(known, dtype=int)[case.kind]
                unknown = [any(wanted(item) for item in outcome if item.code == UNKNOWN) for outcome in case.outcomes]
                blind |= np.array(unknown, dtype=bool)[case.kind]
            totals[group.rows] = counts + blind
        return totals


def review_many(compositions: Iterable[Composition], spec: Sequence[SpecLine] = ()) -> Reviews:
    """Many compositions held against every rule, each with the answer it would have alone.

    Parameters
    ----------
    compositions : iterable of Composition   Fastest where many share their lines, such as the variations of a formula.
    spec : sequence of SpecLine              What all of them must meet.
    """
    listed, weights = tuple(compositions), {}
    groups = tuple(
        _group(rows, [listed[row] for row in rows], tuple(spec), weights) for rows in _alike(listed).values()
    )
    place: list[tuple[int, int]] = [(0, 0)] * len(listed)
    for number, group in enumerate(groups):
        for row, position in enumerate(group.rows.tolist()):
            place[position] = (number, row)
    return Reviews(listed, tuple(spec), groups, tuple(place))


def _alike(listed: Sequence[Composition]) -> dict[tuple, list[int]]:
    """Positions of compositions by what they hold: product, steps, and each line's material, phase and sign.

    Materials and steps are told apart by identity, which the compositions keep alive; equal ones that are not the same
    object only make one group more.
    """
    found: dict[tuple, list[int]] = {}
    for position, composition in enumerate(listed):
        lines = tuple((id(line.material), line.phase, line.kind, _sign(line.pct)) for line in composition.lines)
        found.setdefault((composition.product, id(composition.steps), lines), []).append(position)
    return found


def _sign(pct: Decimal) -> int:
    return (pct > 0) - (pct < 0)


def _group(rows: list[int], compositions: list[Composition], spec: tuple[SpecLine, ...], weights: dict) -> _Group:
    import numpy as np

    # With a line below zero an INCI part may be there or not whatever the lines' signs say: each is looked at alone.
    alone = len(compositions) == 1 or any(line.pct < 0 for line in compositions[0].lines)
    screen = None if alone else _Screen(compositions, weights)
    cases = []
    for position, rule in enumerate(_ALL_RULES):
        asked = None if position < len(RULES) else spec
        kind = np.arange(len(rows)) if screen is None else screen.kinds(rule, asked)
        _, first, inverse = np.unique(kind, return_index=True, return_inverse=True)
        outcomes = tuple(_outcome(position, compositions[index], spec) for index in first.tolist())
        cases.append(_Case(position, inverse.reshape(-1), outcomes))
    return _Group(np.array(rows, dtype=int), tuple(cases))


class _Screen:
    """The numbers of one group as arrays, and on which side of their limits they lie."""

    def __init__(self, compositions: list[Composition], weights: dict) -> None:
        import numpy as np

        self.compositions = compositions
        self.percents = np.array([[float(line.pct) for line in item.lines] for item in compositions])
        self._weights = weights

    def kinds(self, rule: Rule, spec: Sequence[SpecLine] | None) -> np.ndarray:
        """A number for each composition, the same for those in which the rule finds the same."""
        import numpy as np

        columns, drawn = [], {}
        for judged in judged_of(rule, self.compositions[0], spec):
            for limit in judged.limits:
                sides = self._sides(judged.number, limit)
                if judged.side:
                    hit = sides == _BEYOND[judged.side]
                    drawn[judged.side] = drawn.get(judged.side, False) | hit
                else:
                    columns.append(sides)
        columns += drawn.values()
        if not columns:
            return np.zeros(len(self.compositions), dtype=int)
        return np.unique(np.stack(columns, axis=1).astype(np.int8), axis=0, return_inverse=True)[1].reshape(-1)

    def _sides(self, number: Number, limit) -> np.ndarray:
        """-1, 0 or 1: below, at or above the limit; close to it the exact number decides."""
        import numpy as np

        values = self._values(number)
        sides = np.sign(values - float(limit)).astype(np.int8)
        known: dict[tuple, int] = {}
        used = [index for index, weight in enumerate(self._any_weight(number)) if weight]
        for row in np.flatnonzero(np.abs(values - float(limit)) <= _CLOSE * max(1.0, abs(float(limit)))).tolist():
            composition = self.compositions[row]
            key = tuple(composition.lines[index].pct for index in used)
            if key not in known:
                exact = number.of(composition)
                known[key] = (exact > limit) - (exact < limit)
            sides[row] = known[key]
        return sides

    def _values(self, number: Number) -> np.ndarray:
        import numpy as np

        parts = [self.percents @ self._weight(part) for part in number.parts]
        found = number.combine(*parts) if number.combine else parts[0]
        return np.broadcast_to(np.asarray(found, dtype=float), (len(self.compositions),))

    def _any_weight(self, number: Number) -> np.ndarray:
        return sum(abs(self._weight(part)) for part in number.parts)

    def _weight(self, part: Part) -> np.ndarray:
        """What each line adds to a part per % of it: the part of a composition that is this line alone.

        A line that is zero throughout adds nothing, also where a fact it would need is not known.
        """
        import numpy as np

        lines = self.compositions[0].lines
        return np.array([self._weight_of(part, line) if line.pct else 0.0 for line in lines])

    def _weight_of(self, part: Part, line: CompositionLine) -> float:
        key = (part, id(line.material))
        if key not in self._weights:
            only = Composition((CompositionLine(line.material, Decimal(100), line.phase, line.kind),))
            self._weights[key] = float(part(only)) / 100
        return self._weights[key]


def _outcome(rule: int, composition: Composition, spec: tuple[SpecLine, ...]) -> tuple[Found, ...]:
    found = []
    for finding in _find(rule, composition, spec):
        moves = _ALL_RULES[rule].judged is not None and finding.value is not None
        found.append(Found(finding.severity, finding.code, moves, Decimal(0) if moves else finding.excess))
    return tuple(found)


def _find(rule: int, composition: Composition, spec: tuple[SpecLine, ...]) -> list[Finding]:
    find = _ALL_RULES[rule].find
    return list(find(composition) if rule < len(RULES) else find(composition, spec))


def _merged(found: Iterable[Found]) -> list[Found]:
    """What is not known is one finding, however many rules say so."""
    listed = list(found)
    unknown = [item for item in listed if item.code == UNKNOWN]
    return [*(item for item in listed if item.code != UNKNOWN), *unknown[:1]]


def _fixed_rank(found: Found) -> tuple[int, int]:
    """What of a finding's place does not depend on how much there is."""
    return SEVERITIES.index(found.severity), subject_rank(found.code)
