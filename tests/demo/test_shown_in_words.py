"""What a notebook cell can end with tells itself in words: a demo's record and results walked, nothing named by hand.

Objects are followed through their public attributes and through the methods that need nothing more to be asked.
"""

from __future__ import annotations

import contextlib
import dataclasses
import inspect
from collections.abc import Mapping

import pytest

import kit

STUDY = "linden"
# what would change the record, or close it, is not called
CHANGES = ("add", "adjust", "append", "close", "combine", "commit", "correct", "decide", "finish", "gross", "make",
           "new", "observe", "read_", "record", "refresh", "start", "state_", "step", "take", "temperature", "top",
           "void", "weigh")  # fmt: skip


class Walk:
    """Follows objects of the kit, each class once."""

    def __init__(self) -> None:
        self.seen: dict[type, str] = {}
        self.raw: list[str] = []

    def visit(self, value: object, path: str, depth: int) -> None:
        if isinstance(value, str | bytes) or inspect.isclass(value) or inspect.ismodule(value):
            return
        if isinstance(value, Mapping):
            value = list(value.values())
        if isinstance(value, tuple | list):
            for one in value[:2]:
                self.visit(one, f"{path}[]", depth)
        elif type(value).__module__.startswith("kit.") and type(value) not in self.seen:
            self.seen[type(value)] = path
            self.look(value, path)
            if depth:
                self.follow(value, path, depth - 1)

    def look(self, value: object, path: str) -> None:
        told = f"{value}{value!r}"
        if hasattr(value, "_repr_html_"):
            told += value._repr_html_()
        made = hasattr(type(value).__repr__, "__wrapped__")  # by dataclass
        if (dataclasses.is_dataclass(value) and made) or " object at 0x" in told:
            self.raw.append(f"{type(value).__module__}.{type(value).__name__} at {path}")

    def follow(self, value: object, path: str, depth: int) -> None:
        for name in dir(value):
            if name.startswith(("_", *CHANGES)) or name == "store":
                continue
            with contextlib.suppress(Exception):  # what cannot be told of this one is tested elsewhere
                found = getattr(value, name)
                if inspect.ismethod(found):
                    asked = inspect.signature(found).parameters.values()
                    if any(one.default is one.empty and one.kind not in (2, 4) for one in asked):
                        continue
                    found = found()
                self.visit(found, f"{path}.{name}", depth)


@pytest.fixture(scope="module")
def walk(demo, source) -> Walk:
    trials = source.trials("LIN")
    found = Walk()
    found.visit([source.study("LIN"), source.trial(trials[0]), source.batches(trials[0])], "source", 3)
    found.visit([*source.instruments(), *source.calibrations()], "source", 1)
    found.visit(kit.compare(source, trials[:3]), "kit.compare", 4)
    found.visit(source.trial(trials[0]).formula, "formula", 3)
    for name in ("ph_drift", "stability", "colour_differences", "between_instruments"):
        found.visit(getattr(kit, name)(source, study="LIN"), f"kit.{name}", 2)
    found.visit(source, "source", 1)  # last: what was followed further is not met here for the first time
    with kit.open_labbook(demo.labbook) as book:
        found.visit(book, "book", 1)
        found.visit(book.batch(f"{trials[0]}/1"), "batch", 1)
        return found


def test_nothing_is_shown_raw(walk):
    assert walk.raw == []
    named = {cls.__name__ for cls in walk.seen}
    assert {"BatchView", "StudyView", "Reading", "PropertyResult", "ArmResult", "Weighed", "Method"} <= named
    assert len(named) > 50  # a walk that found nothing would pass
