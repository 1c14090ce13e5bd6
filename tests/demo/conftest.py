"""The invented study that a test file names in `STUDY`: its demo, its lab book, its trials against the control."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

import kit
from kit.demo.build import DemoResult
from kit.labbook.book import Labbook
from kit.labbook.source import Source
from kit.trials.compare import Comparison


@pytest.fixture(scope="module")
def demo(request: pytest.FixtureRequest, demos) -> DemoResult:
    """The demo, built once; nothing is written to it."""
    return demos(request.module.STUDY)


@pytest.fixture(scope="module")
def source(demo: DemoResult) -> Iterator[Source]:
    """The demo's lab book, read-only."""
    with kit.open_source(demo.labbook) as opened:
        yield opened


@pytest.fixture(scope="module")
def book(demo: DemoResult) -> Iterator[Labbook]:
    """The demo's lab book, open; nothing is written to it."""
    with kit.open_labbook(demo.labbook) as opened:
        yield opened


@pytest.fixture(scope="module")
def comparison(source: Source, demo: DemoResult) -> Comparison:
    """The trials that the demo compares, against its control."""
    return kit.compare(source, demo.compared, control=demo.control)
