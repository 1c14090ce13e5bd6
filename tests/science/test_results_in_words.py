"""No result of a public call prints as a raw dataclass where it can tell itself in words.

Every module of science, formula, bench, labbook and trials is walked; a class counts when a public function or method
names it as what it returns, and it has `words` or a `__str__` of its own.
"""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import pkgutil
import re

import pytest

import kit
from kit.science.heating import HeatingTime
from kit.science.measurement_uncertainty import budget
from kit.science.transfer import TransferLoss
from kit.science.uncertainty_inputs import rectangular
from kit.science.uncertainty_use import against_limits

PLACES = ("kit.science.", "kit.formula.", "kit.bench.", "kit.labbook.", "kit.trials.")


def modules():
    for info in pkgutil.walk_packages(kit.__path__, "kit."):
        if info.name.startswith(PLACES) and ".migrations" not in info.name:
            yield importlib.import_module(info.name)


def returned(owner) -> set[str]:
    """Names in the return annotations of the public functions of a module or class."""
    found = set()
    for name, value in vars(owner).items():
        call = value.fget if isinstance(value, property) else value
        if not name.startswith("_") and inspect.isfunction(call):
            found |= set(re.findall(r"\w+", str(call.__annotations__.get("return", ""))))
    return found


@pytest.fixture(scope="module")
def results() -> list[type]:
    """Result classes of the kit: dataclasses that a public call returns."""
    classes, names = {}, set()
    for module in modules():
        names |= returned(module)
        for name, value in vars(module).items():
            if inspect.isclass(value) and value.__module__ == module.__name__:
                names |= returned(value)
                if dataclasses.is_dataclass(value) and not name.startswith("_"):
                    classes[module.__name__, name] = value
    return [value for (_, name), value in classes.items() if name in names]


def tells(cls: type) -> bool:
    """Whether it has words of its own, as a property or a text."""
    words = inspect.getattr_static(cls, "words", None)
    fields = {field.name: field.type for field in dataclasses.fields(cls)}
    return isinstance(words, property) or fields.get("words") == "str" or cls.__str__ is not object.__str__


def raw(cls: type) -> bool:
    """Whether a notebook or a terminal shows what `dataclass` makes of it: that repr is marked as wrapped."""
    bare = hasattr(cls.__repr__, "__wrapped__")
    return bare and (cls.__str__ is object.__str__ or not hasattr(cls, "_repr_html_"))


def test_what_can_tell_itself_in_words_is_never_shown_raw(results):
    shown = [f"{cls.__module__}.{cls.__name__}" for cls in results if tells(cls) and raw(cls)]
    assert shown == []
    assert len([cls for cls in results if tells(cls)]) > 60  # a walk that found nothing would pass


def test_what_shows_itself_in_words_does_so_in_a_notebook_too(results):
    worded = [cls for cls in results if tells(cls) and not raw(cls) and cls.__module__.startswith("kit.science.")]
    assert {cls.__name__ for cls in worded if not hasattr(cls, "_repr_html_")} == set()
    assert len(worded) > 30


@pytest.mark.parametrize(
    ("result", "part"),
    [
        (HeatingTime(12.4, 90.0), "12 min"),
        (TransferLoss(20000.0, 15000.0, 5.0), "25 %"),
        (against_limits(11200, 231, low=11000, high=18000), "cannot be told"),
        (budget(lambda at: at["x"], [rectangular("x", 10.0, 1.0)]), "10 ± 1.1"),
    ],
)
def test_by_hand(result, part):
    """A rectangular half width of 1 is 0.577, times 1.96: 1.13."""
    for shown in (str(result), repr(result), result._repr_html_()):
        assert part in shown
        assert f"{type(result).__name__}(" not in shown
