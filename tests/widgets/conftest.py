"""For the tests of widgets: a small invented batch on a clock that the tests move, and a real JupyterLab to drive."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace

import pytest

import kit
from kit.formula.files import read_formula

ROOT = Path(__file__).parents[2]
NOTEBOOK = ROOT / "notebooks" / "bench_day.ipynb"
FORMULA = """
name = "Woodruff rinse (invented)"
version = "1"
product = "rinse-off hair"
[[spec]]
property = "pH"
low = 4.2
high = 4.8
method = "pH neat"
age = "24 h"
[[spec]]
property = "grain"
allowed = ["none"]
age = "24 h"
[[phase]]
name = "A"
kind = "water"
line = [
  {material = "water-deionised", qs = true},
  {material = "glycerin", pct = "3.00"},
  {material = "citric-acid", pct = "0.10"},
]
[[phase]]
name = "B"
kind = "oil"
line = [{material = "cetearyl-alcohol", pct = "5.00"}, {material = "behentrimonium-chloride-80", pct = "2.50"}]
[[phase]]
name = "C"
kind = "cool-down"
line = [{material = "phenoxyethanol", pct = "0.80"}, {material = "glycerin", pct = "1.00"}]
"""


@pytest.fixture(scope="session")
def formula():
    return read_formula(FORMULA, kit.load_library())


@pytest.fixture
def bench(tmp_path, clock, formula):
    """An open lab book with a study, instruments, a calibration and a batch of 400 g just started."""
    book = kit.new_labbook(tmp_path / "bench.labbook", clock=clock)
    book.new_study("WOO", question="Does it hold its pH?", spec=formula.spec, control="WOO-01")
    book.add_instrument("PH-1", kind="pH meter")
    book.add_instrument("VIS-1", kind="viscometer", constants={"disc 5": 4000})
    book.calibrate("PH-1", "CAL-1", slope_pct=98, offset_mv=3, buffers=["4.01", "7.00"], temp="25 degC")
    batch = book.start_batch(kit.plan_batch(formula, "400 g"), trial="WOO-01", operator="bench 1")
    yield SimpleNamespace(book=book, batch=batch, clock=clock, path=tmp_path / "bench.labbook")
    book.close()


@pytest.fixture
def made(bench):
    """The batch weighed as planned, made and finished, a day ago."""
    for line in bench.batch.sheet.lines:
        bench.batch.weigh(line.material.key, f"{line.target_g} g", phase=line.phase, lot="L-1")
    bench.batch.combine(temps={"A": "78 degC", "B": "80 degC", "after": "76 degC"}, rpm=6500, minutes=4)
    bench.batch.add("C", temp="40 degC")
    bench.batch.finish()
    bench.clock.later(hours=24)
    return bench


# A real JupyterLab, alone on this computer: its own folders, nothing fetched, nothing of a user's settings.

SETTINGS = {
    "apputils-extension/notification.jupyterlab-settings": {"fetchNews": "false", "checkForUpdates": False},
    "notebook-extension/tracker.jupyterlab-settings": {"windowingMode": "none", "autoStartDefaultKernel": True},
    "docmanager-extension/plugin.jupyterlab-settings": {"autosave": False},
}
DARK = {"apputils-extension/themes.jupyterlab-settings": {"theme": "JupyterLab Dark", "adaptive-theme": False}}
BROWSER = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
BROWSER += ["--disable-component-update", "--disable-sync"]


@contextmanager
def lab_server(home: Path, root: Path, settings: dict = SETTINGS) -> Iterator[tuple[str, str]]:
    """A private JupyterLab on this computer's own address; gives its address and token."""
    for name, value in settings.items():
        path = home / "settings" / "@jupyterlab" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(value), encoding="utf-8")
    folders = {"CONFIG_DIR": "config", "DATA_DIR": "data", "RUNTIME_DIR": "run"}
    own = {f"JUPYTER_{name}": str(home / folder) for name, folder in folders.items()}
    own |= {"JUPYTERLAB_SETTINGS_DIR": str(home / "settings"), "JUPYTERLAB_WORKSPACES_DIR": str(home / "spaces")}
    own |= {"IPYTHONDIR": str(home / "ipython"), "PYTHONPATH": str(ROOT)}
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    base, token = f"http://127.0.0.1:{port}", secrets.token_hex(16)
    options = ["--ServerApp.ip=127.0.0.1", f"--ServerApp.port={port}", "--ServerApp.port_retries=0"]
    options += [f"--ServerApp.root_dir={root}", f"--IdentityProvider.token={token}", "--no-browser", "--allow-root"]
    options += ["--LabApp.expose_app_in_browser=True", "--LabApp.news_url="]
    options += ["--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate"]
    with (home / "server.log").open("w") as log:
        command = [sys.executable, "-m", "jupyterlab", *options]
        process = subprocess.Popen(command, env={**os.environ, **own}, stdout=log, stderr=subprocess.STDOUT)
        try:
            _wait_for(base, token, process, home / "server.log")
            yield base, token
        finally:
            process.terminate()
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _wait_for(base: str, token: str, process: subprocess.Popen, log: Path) -> None:
    request = urllib.request.Request(f"{base}/api/status", headers={"Authorization": f"token {token}"})
    end = time.monotonic() + 90
    while True:
        try:
            urllib.request.urlopen(request, timeout=2).close()
            return
        except OSError:
            if process.poll() is not None or time.monotonic() > end:
                raise RuntimeError(log.read_text()[-2000:]) from None
            time.sleep(0.1)


IDLE = """() => { const panel = window.jupyterapp.shell.currentWidget
  const kernel = panel?.sessionContext?.session?.kernel
  return kernel && kernel.connectionStatus === 'connected' && kernel.status === 'idle' }"""
RUN = """async (id) => { const panel = window.jupyterapp.shell.currentWidget
  const at = panel.content.widgets.findIndex((cell) => cell.model.sharedModel.id === id)
  panel.content.activeCellIndex = at
  await window.jupyterapp.commands.execute('notebook:run-cell') }"""
RESTART = "async () => { await window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.restart() }"
SHUT = "async () => { await window.jupyterapp.shell.currentWidget.sessionContext.shutdown() }"
PLACE = """(id) => window.jupyterapp.shell.currentWidget.content.widgets
  .findIndex((cell) => cell.model.sharedModel.id === id)"""


@dataclass
class Bench:
    """One notebook open in JupyterLab, with what the page asked of the network and what it complained of."""

    page: object
    base: str
    token: str
    name: str
    asked: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def open(self) -> None:
        """Open the notebook alone and wait until its kernel is idle."""
        self.page.goto(f"{self.base}/doc/tree/{self.name}?token={self.token}&reset", wait_until="domcontentloaded")
        self.page.wait_for_function("() => !!window.jupyterapp", timeout=90_000)
        self.page.evaluate("() => window.jupyterapp.restored")
        self.page.locator(".jp-NotebookPanel .jp-Cell").first.wait_for(timeout=90_000)
        self.idle()

    def idle(self) -> None:
        self.page.wait_for_function(IDLE, timeout=90_000)

    def run(self, *cells: str) -> None:
        """Run cells by their ids, one after the other; one that ends in an error ends the test with its words."""
        for cell in cells:
            self.page.evaluate(RUN, cell)
            self.idle()
            wrong = self.output(cell).locator("[data-mime-type='application/vnd.jupyter.error']")
            assert not wrong.count(), f"cell {cell}: {wrong.first.inner_text()[-600:]}"

    def output(self, cell: str):
        """What a cell shows."""
        return (
            self.page.locator(".jp-Notebook .jp-Cell")
            .nth(self.page.evaluate(PLACE, cell))
            .locator(".jp-Cell-outputArea")
        )

    def shut(self) -> None:
        """End the kernel; a day leaves nothing running behind it."""
        self.page.evaluate(SHUT)

    def restart(self) -> None:
        self.page.evaluate(RESTART)
        self.idle()


@pytest.fixture(scope="module")
def browser():
    """One browser; ended with the module, since the driver runs once in a process at a time."""
    sync_api = pytest.importorskip("playwright.sync_api")
    path = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    with sync_api.sync_playwright() as playwright:
        engine = playwright.chromium.launch(executable_path=path, args=BROWSER)
        yield engine
        engine.close()


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    """One JupyterLab for all tests: its address, its token and the folder it shows."""
    root = tmp_path_factory.mktemp("lab")
    with lab_server(tmp_path_factory.mktemp("lab-home"), root) as (base, token):
        yield SimpleNamespace(base=base, token=token, root=root)


def notebook_for_bench(folder: Path, **parameters: object) -> Path:
    """A copy of the bench day with other parameters, as a person would change them."""
    notebook = json.loads(NOTEBOOK.read_text(encoding="utf-8"))
    cell = next(cell for cell in notebook["cells"] if cell["id"] == "parameters")
    cell["source"] = [*cell["source"], *(f"\n{name} = {value!r}" for name, value in parameters.items())]
    path = folder / "bench_day.ipynb"
    path.write_text(json.dumps(notebook), encoding="utf-8")
    return path


@pytest.fixture
def open_bench(lab, browser):
    """open_bench("run-1"): the bench day in a folder of its own, on an invented clock, in a tablet-wide window."""
    contexts = []

    def start(folder: str, *, width: int = 1180, height: int = 820) -> Bench:
        (lab.root / folder).mkdir()
        notebook_for_bench(lab.root / folder, invented_clock=True)
        context = browser.new_context(viewport={"width": width, "height": height})
        contexts.append(context)
        bench = Bench(context.new_page(), lab.base, lab.token, f"{folder}/bench_day.ipynb")
        bench.page.on("pageerror", lambda error: bench.errors.append(str(error)[:200]))

        def gate(route):
            if route.request.url.startswith((lab.base, "data:", "blob:")):
                return route.continue_()
            bench.asked.append(route.request.url[:120])
            return route.abort()

        bench.page.route("**/*", gate)
        bench.open()
        return bench

    yield start
    for context in contexts:
        context.close()
