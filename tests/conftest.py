"""What every test runs under: the checkout's own kit, the `--thorough` switch, a browser where there is one, demos."""

from __future__ import annotations

import os
import shutil
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

import kit

if TYPE_CHECKING:
    from kit.demo.build import DemoResult

ROOT = Path(__file__).parents[1]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--thorough", action="store_true", default=False, help="run long campaigns (kills, fuzzing) at their full count"
    )


settings.register_profile("repeatable", derandomize=True)  # a commit passes on every machine or on none
settings.register_profile("search", derandomize=False)  # `pytest --hypothesis-profile search` looks for what is new


def pytest_configure(config: pytest.Config) -> None:
    """Refuse to test another kit than the one in this checkout: an installed one would hide what is broken here."""
    if not config.getoption("--hypothesis-profile"):
        settings.load_profile("search" if config.getoption("--thorough") else "repeatable")
    tested = Path(kit.__file__).resolve().parent
    if tested != (ROOT / "kit").resolve():
        raise pytest.UsageError(
            f"these tests belong to {ROOT / 'kit'}, but `import kit` finds {tested}; "
            "run them from the checkout with `python -m pytest`"
        )


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers(config: pytest.Config) -> int | None:
    """A process for each processor where the whole suite is run; this one alone for files or tests that were named."""
    return None if config.args_source is config.ArgsSource.TESTPATHS else 0


def find_chromium() -> str | None:
    """Path of the Chromium to drive: CHROMIUM if set, else the one on the PATH; None where there is none."""
    named = os.environ.get("CHROMIUM")
    if named:
        return named if Path(named).is_file() else None
    return shutil.which("chromium") or shutil.which("chromium-browser")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip what opens a page where no browser is installed; the summary says so."""
    if find_chromium():
        return
    for item in items:
        if item.get_closest_marker("browser"):
            item.add_marker(pytest.mark.skip(reason="no Chromium here; install one or set CHROMIUM to its path"))


@pytest.fixture(scope="session")
def root() -> Path:
    """The top of the checkout."""
    return ROOT


@pytest.fixture(scope="session")
def thorough(request: pytest.FixtureRequest) -> bool:
    """Whether long campaigns run at their full count."""
    return request.config.getoption("--thorough")


class Demos:
    """The invented studies, each built once in a process, when it is first asked for."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.built = folder, {}

    def __call__(self, study: str = "linden") -> DemoResult:
        """The demo of a study. Nothing is written to it: a test that writes takes a copy."""
        from kit.demo.build import build_demo

        if study not in self.built:
            self.built[study] = build_demo(self.folder / study, study)
        return self.built[study]


@pytest.fixture(scope="session")
def demos(tmp_path_factory: pytest.TempPathFactory) -> Demos:
    """Call it with the name of a study."""
    return Demos(tmp_path_factory.mktemp("demos"))


class Clock:
    """A bench clock that the test moves."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 2, 9, 0, tzinfo=timezone(timedelta(hours=1)))

    def __call__(self) -> datetime:
        return self.now

    def later(self, **step: float) -> None:
        self.now += timedelta(**step)


@pytest.fixture
def clock() -> Clock:
    """A clock at nine in the morning of 2 March 2026, an hour ahead of UTC."""
    return Clock()
