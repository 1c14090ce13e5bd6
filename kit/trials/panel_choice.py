"""Forced choices of a panel: triangle, duo-trio, paired comparison and preference."""

from __future__ import annotations

from collections import Counter

from kit.bench.panel import PanelAnswer, PanelKept
from kit.bench.panel_plan import Serving
from kit.bench.panel_reach import reach_words, task_of
from kit.science import panel_tests as tests
from kit.science.number_text import short
from kit.science.panel_tests import PanelTest, panel_test
from kit.science.serving_orders import DUO_TRIO, PREFERENCE, TRIANGLE
from kit.show import Table
from kit.trials.panel_finding import (
    ALIKE,
    CANNOT_TELL,
    NOT_ALIKE,
    NOT_PREFERRED,
    NOT_SHOWN,
    PREFERRED,
    SHOWN,
    PanelFinding,
    p_number,
    p_words,
    per_cent,
)
from kit.trials.panel_place import PlaceEffect, place_effect

_NO_PROOF = "That is no proof that there is none."


def choice(kept: PanelKept) -> PanelFinding:
    """What a forced choice found.

    Parameters
    ----------
    kept : PanelKept   With at least one answer.
    """
    task = task_of(kept)
    right = sum(is_right(kept, kept.serving(name), found) for name, found in kept.counted.items())
    test = panel_test(task, right, len(kept.counted), float(kept.alpha))
    place = place_effect(kept)
    counts, numbers = (_by_order(kept),), (_counted(kept, test), *((place.counted,) if place else ()))
    if test.reason:
        return PanelFinding(CANNOT_TELL, test, numbers, (), counts, reason=f"{test.reason}.")
    tables = (_numbers_table(kept, test, place),)
    if kept.similar_below is not None:
        alike = test.similar(float(kept.similar_below))
        return PanelFinding(ALIKE if alike else NOT_ALIKE, test, numbers, _likeness(kept, test), counts, tables)
    shown, verdicts = test.shown, (PREFERRED, NOT_PREFERRED) if kept.kind == PREFERENCE else (SHOWN, NOT_SHOWN)
    judged = (
        _needed(test),
        *_direction(kept, test),
        *(() if shown else (_NO_PROOF,)),
        *(place.judged if place else ()),
        reach_words(kept, test.assessors),
    )
    return PanelFinding(verdicts[0] if shown else verdicts[1], test, numbers, judged, counts, tables)


def is_right(kept: PanelKept, serving: Serving, found: PanelAnswer) -> bool:
    """Whether an answer counts as right; for a two-sided test, whether it is for the first sample.

    Parameters
    ----------
    kept : PanelKept
    serving : Serving       What the assessor was served.
    found : PanelAnswer
    """
    chosen = serving.letters[found.answer]
    if kept.kind == TRIANGLE:
        return serving.order.count(chosen) == 1
    if kept.kind == DUO_TRIO:
        return chosen == serving.reference
    return chosen == (kept.expected[0] if kept.expected else kept.letters[0])


def _counted(kept: PanelKept, test: PanelTest) -> str:
    of = f"{test.right} of {test.assessors}"
    if kept.kind == TRIANGLE:
        return f"{of} named the odd sample."
    if kept.kind == DUO_TRIO:
        return f"{of} found the sample that was the reference."
    first, second = _names(kept)
    if not test.task.two_sided:
        return f"{of} chose {first}, which was expected to have more."
    verb = "preferred" if kept.kind == PREFERENCE else "chose"
    return f"{of} {verb} {first}, {test.assessors - test.right} {second}."


def _needed(test: PanelTest) -> str:
    sides = ", both sides" if test.task.two_sided else ""
    return f"{test.minimum} are needed at a risk of {short(100 * test.alpha)} % ({p_words(test.p)}{sides})."


def _names(kept: PanelKept) -> tuple[str, str]:
    """The sample that counts as right, and the other."""
    first = kept.expected[0] if kept.expected else kept.letters[0]
    (second,) = (letter for letter in kept.letters if letter != first)
    return kept.samples[first], kept.samples[second]


def _direction(kept: PanelKept, test: PanelTest) -> tuple[str, ...]:
    if test.task.two_sided:
        return (f"Share that chose {_names(kept)[0]}: {tests.share_words(test.share())}; 50 % is chance.",)
    upper = test.discriminators(sides=1)
    return (
        f"Share of assessors who tell the two apart, beyond guessing: {tests.share_words(test.discriminators())}; "
        f"at most {per_cent(upper.high)} (one-sided 95 %).",
    )


def _likeness(kept: PanelKept, test: PanelTest) -> tuple[str, ...]:
    limit = float(kept.similar_below)
    upper = test.discriminators(1 - test.alpha, sides=1)
    told = [
        f"At most {per_cent(upper.high)} tell the two apart (one-sided {short(100 * (1 - test.alpha))} %); the limit "
        f"stated before is {per_cent(limit)}.",
        reach_words(kept, test.assessors),
    ]
    if test.shown:
        told.insert(0, f"At the same risk a difference is shown: {_needed(test)}")
    return tuple(told)


def _numbers_table(kept: PanelKept, test: PanelTest, place: PlaceEffect | None) -> Table:
    rows = [
        ("answers", str(test.assessors)),
        ("for the first sample" if test.task.two_sided else "right", str(test.right)),
        ("needed", "no number is enough" if test.minimum is None else str(test.minimum)),
        ("p, both sides" if test.task.two_sided else "p, one side", p_number(test.p)),
        ("share of answers, exact 95 %", tests.share_words(test.share())),
    ]
    if not test.task.two_sided:
        normal = test.discriminators(sides=1, method=tests.NORMAL)
        rows += [
            ("share who tell apart, exact 95 %", tests.share_words(test.discriminators())),
            ("upper bound, exact, one-sided 95 %", per_cent(test.discriminators(sides=1).high)),
            ("upper bound by the formula of the standard", per_cent(normal.high)),
        ]
    if place is not None:
        rows += [
            ("chose the one served first", str(place.test.right)),
            ("share of these, exact 95 %", tests.share_words(place.test.share())),
            ("p of the place served, both sides", p_number(place.test.p)),
        ]
    note = f"{test.task.standard}, exact binomial. The formula of the standard takes the share as normal."
    return Table(("number", "value"), rows, title=f"Panel {kept.name}: counts", note=note)


def _by_order(kept: PanelKept) -> Table:
    answered, right = Counter(), Counter()
    for name, found in kept.counted.items():
        serving = kept.serving(name)
        answered[serving.order] += 1
        right[serving.order] += is_right(kept, serving, found)
    served = kept.balance().orders
    rows = [("".join(order), count, answered[order], right[order]) for order, count in served.items()]
    head = "right" if not task_of(kept).two_sided else "for the first sample"
    note = "The reference stands first." if kept.kind == DUO_TRIO else ""
    title = f"Panel {kept.name}: by order served"
    return Table(("order", "served", "answered", head), rows, title=title, note=note, numeric=frozenset({1, 2, 3}))
