"""What every test runs under: the checkout's own kit, the `--thorough` switch, a browser where there is one, demos.

What makes the whole run short without leaving anything out stands here too: scratch folders in memory, files in an
order in which the processes end together.
"""

from __future__ import annotations

import gc
import os
import shutil
import sys
import tempfile
from collections import Counter
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
    _compile_once()
    _scratch_in_memory(config)
    if not config.getoption("--hypothesis-profile"):
        settings.load_profile("search" if config.getoption("--thorough") else "repeatable")
    tested = Path(kit.__file__).resolve().parent
    if tested != (ROOT / "kit").resolve():
        raise pytest.UsageError(
            f"these tests belong to {ROOT / 'kit'}, but `import kit` finds {tested}; "
            "run them from the checkout with `python -m pytest`"
        )


def _compile_once() -> None:
    """Keep compiled modules: hundreds of kernels and commands are started, and each would compile the kit anew."""
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    sys.dont_write_bytecode = False


MEMORY = Path("/dev/shm")
MEMORY_NEEDED = 4 << 30  # a whole run holds less than a tenth of it; a container's usual 64 MB are too few


def _scratch_in_memory(config: pytest.Config) -> None:
    """Put scratch folders where the system keeps files in memory, unless told where to put them.

    Every entry of a lab book waits until the disk has it; tests write tens of thousands. The kit asks for it all the
    same, and a killed process loses nothing that the system has.
    """
    if config.getoption("basetemp") or os.environ.get("PYTEST_DEBUG_TEMPROOT"):
        return
    if os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > MEMORY_NEEDED:
        os.environ["PYTEST_DEBUG_TEMPROOT"] = os.environ["TMPDIR"] = str(MEMORY)
        tempfile.tempdir = None  # asked for again


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
    """Skip what opens a page where no browser is installed; the summary says so. Long files come first."""
    if not find_chromium():
        for item in items:
            if item.get_closest_marker("browser"):
                item.add_marker(pytest.mark.skip(reason="no Chromium here; install one or set CHROMIUM to its path"))
    _long_files_first(items)


STARTS_KERNELS = {"cli", "demo", "notebooks", "widgets", "workfolder", "writeup"}


def _long_files_first(items: list[pytest.Item]) -> None:
    """Order files as they are handed to the processes, so that none is left alone with a long one at the end.

    A file with browser or slow tests is long, one in a folder whose tests start kernels is longer than others, and
    else the number of tests tells. Inside a file the order stays.
    """
    weight: Counter[Path] = Counter()
    for item in items:
        heavy = (item.get_closest_marker("slow") is not None) + (item.get_closest_marker("browser") is not None)
        weight[item.path] += (1, 500, 1000)[heavy] + 10 * (item.path.parent.name in STARTS_KERNELS)
    items.sort(key=lambda item: -weight[item.path])


def pytest_collection_finish() -> None:
    """What was loaded up to here stays: the collector of garbage need not look through it again and again."""
    gc.collect()
    gc.freeze()


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
