"""What a panel can find, said when it is planned and again with its result."""

from __future__ import annotations

from kit.bench.panel_plan import PanelPlan
from kit.science import panel_power
from kit.science import panel_tests as tests
from kit.science.panel_tests import Task
from kit.science.serving_orders import DUO_TRIO, PAIRED, PREFERENCE, TRIANGLE


def task_of(plan: PanelPlan) -> Task | None:
    """The forced choice of a panel; None for a ranking and for ratings.

    Parameters
    ----------
    plan : PanelPlan
    """
    if plan.kind == PAIRED and not plan.expected:
        return tests.PAIRED_TWO_SIDED
    known = {TRIANGLE: tests.TRIANGLE, DUO_TRIO: tests.DUO_TRIO, PAIRED: tests.PAIRED, PREFERENCE: tests.PREFERENCE}
    return known.get(plan.kind)


def reach_words(plan: PanelPlan, assessors: int) -> str:
    """What a forced choice of so many assessors can find; empty for a ranking and for ratings.

    Parameters
    ----------
    plan : PanelPlan
    assessors : int
    """
    task, alpha = task_of(plan), float(plan.alpha)
    if task is None:
        return ""
    if plan.similar_below is not None:
        return _likeness_words(task, assessors, float(plan.similar_below), alpha)
    found = panel_power.detectable_share(task, assessors, alpha)
    if found is None:
        return f"{assessors} assessors are too few: not even what all of them can tell is found four times in five."
    if task.two_sided:
        return f"Found four times in five with {assessors} assessors: {100 * found:.0f} % choosing one of the two."
    half = panel_power.assessors_for(task, found / 2, alpha)
    more = "" if half is None else f"; half that share takes {half} assessors"
    return f"Found four times in five with {assessors} assessors: {100 * found:.0f} % who tell the two apart{more}."


def _likeness_words(task: Task, assessors: int, limit: float, alpha: float) -> str:
    most = panel_power.most_right_alike(task, assessors, limit, alpha)
    if most is None:
        return f"{assessors} assessors are too few: not even if none of them is right are the two shown to be alike."
    chance = panel_power.chance_alike(task, assessors, limit, alpha)
    return (
        f"Alike takes {most} right answers or fewer of {assessors}; where nobody can tell the two apart, the chance "
        f"of that is {100 * chance:.0f} %."
    )
