"""The figures of a comparison: version by version at one age, against the control, over age, by the day of making."""

from __future__ import annotations

from kit.figures.ages import over_age
from kit.figures.days import by_day
from kit.figures.one_age import at_one_age
from kit.figures.ratios import against_the_control

__all__ = ["against_the_control", "at_one_age", "by_day", "over_age"]
