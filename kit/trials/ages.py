"""Ages of a batch as they are said, and the ages that learning takes together."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kit.bench.methods import AgeWindow, age_window
from kit.errors import KitError
from kit.formula.knowledge import same_age_within
from kit.units import read

_FRESH = AgeWindow("0 h", Decimal(0), Decimal(str(same_age_within(0.0))))


def age_words(hours: float) -> str:
    """An age in the unit it is spoken of: "45 min", "2.5 h", "30 h", "14 d".

    Parameters
    ----------
    hours : float   [h]
    """
    minutes = round(60 * hours)
    if minutes < 60:
        return f"{minutes} min" if minutes else "0 h"
    if hours < 96:
        return f"{hours:.2g} h" if hours < 10 else f"{hours:.0f} h"
    return f"{hours / 24:.2g} d" if hours < 240 else f"{hours / 24:.0f} d"


def learning_window(age: str, known: Sequence[AgeWindow]) -> AgeWindow:
    """The ages learned from together: a window of the study, an age with its tolerance, or an age alone.

    An age alone takes what is latent at it: a quarter of it either way, 15 min at least.

    Parameters
    ----------
    age : str                      "24 h", "0 h", "14 d ± 12 h".
    known : sequence of AgeWindow  Of the study.

    Returns
    -------
    AgeWindow

    Raises
    ------
    UnitError   For text that is not a time.
    """
    try:
        return age_window(age, known)
    except KitError as problem:
        if problem.code != "age.unknown":
            raise
    age_h = read(age, "h", where="age")
    return AgeWindow(" ".join(age.split()), age_h, Decimal(str(same_age_within(float(age_h)))))


def beside(window: AgeWindow, known: Sequence[AgeWindow]) -> tuple[AgeWindow, ...]:
    """A window, and those of the study that share no age with it.

    Parameters
    ----------
    window : AgeWindow             The one that goes first.
    known : sequence of AgeWindow  Of the study.
    """
    return (window, *(one for one in known if abs(one.age_h - window.age_h) > one.tolerance_h + window.tolerance_h))


def asked_as(hours: float) -> str:
    """The age to ask for so that a reading of this age is learned from: "0 h" for one typed straight after finishing.

    Parameters
    ----------
    hours : float   [h]
    """
    return _FRESH.label if _FRESH.contains(Decimal(str(hours))) else age_words(hours)
