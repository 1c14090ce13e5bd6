"""What a panel can find: its power, the share it finds four times in five, and the number of assessors that takes."""

from __future__ import annotations

from kit.errors import KitError
from kit.science.panel_tests import Task, minimum_right, panel_test, upper_tail

_HALVINGS = 50
_MOST_ASSESSORS = 5000
_TEETH = 12  # the power of a discrete test rises in teeth of two or three assessors; so many are looked over


def power(task: Task, assessors: int, share: float, alpha: float = 0.05) -> float:
    """Chance that a panel shows a difference that is there. [-]

    Parameters
    ----------
    task : Task
    assessors : int
    share : float    Of discriminators; for a two-sided task the share that chooses the first product. [-]
    alpha : float    [-]

    Raises
    ------
    KitError   `panel.alpha`, `panel.share`.
    """
    if not 0 <= share <= 1:
        raise KitError(f"a share of {share}", allowed="from 0 to 1", mend="give a fraction", code="panel.share")
    minimum = minimum_right(task, assessors, alpha)
    if minimum is None:
        return 0.0
    if task.two_sided:
        return upper_tail(minimum, assessors, share) + upper_tail(minimum, assessors, 1 - share)
    return upper_tail(minimum, assessors, task.chance + share * (1 - task.chance))


def detectable_share(task: Task, assessors: int, alpha: float = 0.05, wanted_power: float = 0.8) -> float | None:
    """The share that a panel of this size shows with the wanted chance; None where even 1 is not found so often. [-]

    Of discriminators; for a two-sided task the share, above 1/2, that chooses one product.

    Parameters
    ----------
    task : Task
    assessors : int
    alpha, wanted_power : float   [-]

    Raises
    ------
    KitError   `panel.alpha`, `panel.power`.
    """
    _checked_power(wanted_power)
    if power(task, assessors, 1.0, alpha) < wanted_power:
        return None
    low, high = (0.5 if task.two_sided else 0.0), 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if power(task, assessors, middle, alpha) < wanted_power else (low, middle)
    return high


def most_right_alike(task: Task, assessors: int, limit: float, alpha: float = 0.05) -> int | None:
    """The most right answers that still show the products alike; None where not even no right answer does.

    Parameters
    ----------
    task : Task
    assessors : int   1 or more.
    limit : float     Share of discriminators still taken as alike. [-]
    alpha : float     Risk of calling alike what is not. [-]

    Raises
    ------
    KitError   `panel.alpha`, `panel.limit`, `panel.no_discriminators`.
    """
    alike = [right for right in range(assessors + 1) if panel_test(task, right, assessors, alpha).similar(limit)]
    return alike[-1] if alike else None


def chance_alike(task: Task, assessors: int, limit: float, alpha: float = 0.05) -> float:
    """Chance that the products are shown alike where nobody can tell them apart. [-]

    Parameters
    ----------
    task : Task
    assessors : int
    limit, alpha : float   As in `most_right_alike`. [-]

    Raises
    ------
    KitError   `panel.alpha`, `panel.limit`, `panel.no_discriminators`.
    """
    most = most_right_alike(task, assessors, limit, alpha)
    return 0.0 if most is None else 1 - upper_tail(most + 1, assessors, task.chance)


def assessors_for(task: Task, share: float, alpha: float = 0.05, wanted_power: float = 0.8) -> int | None:
    """The number of assessors from which on a share is found with the wanted chance; None above 5000.

    As answers are counted, one assessor more can lower the power a little: the number given is the one from which on
    it does not fall below what is wanted again.

    Parameters
    ----------
    task : Task
    share : float                 As in `power`. [-]
    alpha, wanted_power : float   [-]

    Raises
    ------
    KitError   `panel.alpha`, `panel.share`, `panel.power`.
    """
    _checked_power(wanted_power)
    held = 0
    for assessors in range(2, _MOST_ASSESSORS + _TEETH):
        held = held + 1 if power(task, assessors, share, alpha) >= wanted_power else 0
        if held == _TEETH:
            return assessors - _TEETH + 1
    return None


def _checked_power(wanted: float) -> None:
    if not 0 < wanted < 1:
        raise KitError(f"a power of {wanted}", allowed="between 0 and 1, such as 0.8", code="panel.power")
