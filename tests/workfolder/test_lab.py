"""JupyterLab in a working folder: whom it answers, what it was told, how it ends. A real server is started."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import kit
from kit.errors import KitError
from kit.workfolder import lab


def find_chromium() -> str | None:
    return os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")


POSIX = pytest.mark.skipif(os.name != "posix", reason="this system sends the interrupt to the whole console")


def start(folder: Path, *arguments: str, **more: str) -> subprocess.Popen:
    """`kit lab` as a process of its own, with a configuration folder of its own."""
    environment = {**os.environ, "PYTHONPATH": str(Path(kit.__file__).parents[1]), **more}
    environment |= {"TMPDIR": str(folder.parent / "tmp"), "JUPYTER_CONFIG_DIR": str(folder.parent / "config")}
    for place in ("TMPDIR", "JUPYTER_CONFIG_DIR"):
        Path(environment[place]).mkdir(exist_ok=True)
    command = [sys.executable, "-m", "kit", "lab", str(folder), "--no-browser", *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment)


def get(address: str, token: str = "") -> tuple[int, str]:
    asked = urllib.request.Request(address, headers={"Authorization": f"token {token}"} if token else {})
    try:
        with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(asked, timeout=20) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as refusal:
        return refusal.code, ""


def kernel_process(runtime: Path) -> int:
    """The process id of the kernel that is running, asked of the kernel itself."""
    from jupyter_client import BlockingKernelClient

    (connection,) = runtime.glob("kit-lab-*/kernel-*.json")
    client = BlockingKernelClient(connection_file=str(connection))
    client.load_connection_file()
    client.start_channels()
    try:
        wait_for(client)
        answer = client.execute("", user_expressions={"pid": "__import__('os').getpid()"}, reply=True, timeout=60)
        return int(answer["content"]["user_expressions"]["pid"]["data"]["text/plain"])
    finally:
        client.stop_channels()


def wait_for(client, seconds: float = 90) -> None:
    """Until the kernel answers: on a busy machine one that misses a second's heartbeat while it starts is not dead."""
    end = time.monotonic() + seconds
    while True:
        try:
            return client.wait_for_ready(timeout=60)
        except RuntimeError:
            if time.monotonic() > end:
                raise


@pytest.fixture
def folder(tmp_path) -> Path:
    return folder_in(tmp_path)


def folder_in(place: Path) -> Path:
    made = place / "Grüner Ordner"
    made.mkdir()
    (made / "sage.toml").write_text('name = "Sage"', encoding="utf-8")
    return made


@contextmanager
def serving(folder: Path) -> Iterator[tuple[subprocess.Popen, str, str]]:
    """A running server: its process, its base address, its token."""
    process = start(folder)
    said = process.stdout.readline() + process.stdout.readline()
    found = re.search(r"(http://127\.0\.0\.1:\d+)/lab\?token=(\w+)", said)
    assert found, (said, process.stderr.read() if process.poll() is not None else "")
    yield process, found[1], found[2]
    if process.poll() is None:
        process.terminate()
    process.communicate(timeout=60)


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    """One server for the tests that only ask it something."""
    with serving(folder_in(tmp_path_factory.mktemp("lab"))) as server:
        yield server


@POSIX
@pytest.mark.slow
class TestRunning:
    def test_answers_with_the_token_only_and_for_this_folder_only(self, running):
        _, base, token = running
        status, text = get(f"{base}/api/contents", token)
        assert status == 200
        assert [item["name"] for item in json.loads(text)["content"]] == ["sage.toml"]
        assert get(f"{base}/api/contents")[0] == 403
        assert get(f"{base}/api/contents", token[:-1] + ("0" if token[-1] != "0" else "1"))[0] == 403
        assert get(f"{base}/api/contents/..%2Ftmp", token)[0] == 404
        assert len(token) >= 32

    def test_listens_on_loopback_only(self, running):
        """Another address of this computer than 127.0.0.1 does not answer: 127.0.0.2 is one on every Linux."""
        _, base, _ = running
        port = int(base.rpartition(":")[2])
        with socket.create_connection(("127.0.0.1", port), timeout=5):
            pass
        if sys.platform != "linux":
            pytest.skip("this system has one loopback address")
        with pytest.raises(OSError):
            socket.create_connection(("127.0.0.2", port), timeout=5)

    def test_asks_nothing_of_the_network(self, running):
        """The page's own settings: news off, extensions read-only; no newer version is looked for."""
        _, base, token = running
        page = get(f"{base}/lab?token={token}")[1]
        settings = json.loads(
            re.search(r'id="jupyter-config-data" type="application/json">(.*?)</script>', page, re.S)[1]
        )
        assert settings["news"] == {"disabled": True}
        assert settings["extensionManager"]["name"] == "read-only"
        assert "@jupyterlab/apputils-extension:announcements" in str(settings["disabledExtensions"])
        assert json.loads(get(f"{base}/lab/api/update", token)[1]) == {"notification": None}

    @pytest.mark.browser
    def test_the_page_asks_this_computer_only_and_offers_no_news(self, running):
        """Every request of the page is seen by the browser itself."""
        sync_api = pytest.importorskip("playwright.sync_api")
        _, base, token = running
        asked = []
        with sync_api.sync_playwright() as driver:
            flags = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
            browser = driver.chromium.launch(executable_path=find_chromium(), args=flags)
            page = browser.new_page()
            page.on("request", lambda request: asked.append(request.url))
            page.goto(f"{base}/lab?token={token}&reset")
            page.locator(".jp-DirListing-item", has_text="sage.toml").wait_for(timeout=60_000)
            page.locator(".jp-LauncherCard").first.wait_for(timeout=60_000)
            page.wait_for_timeout(3000)  # a question about news would be asked by now
            assert page.locator(".Toastify__toast").count() == 0
            browser.close()
        assert len(asked) > 10
        assert [url for url in asked if not url.startswith((base, "data:", "blob:"))] == []

    def test_the_token_is_not_on_the_command_line(self, running):
        _, _, token = running
        for line in Path("/proc").glob("[0-9]*/cmdline") if sys.platform == "linux" else []:
            try:
                assert token not in line.read_bytes().decode(errors="replace")
            except OSError:
                continue  # it ended meanwhile

    @pytest.mark.parametrize("how", ["SIGINT", "SIGTERM", "SIGHUP"])
    def test_ends_clean_and_leaves_nothing_behind(self, folder, how):
        with serving(folder) as server:
            self.end(*server, folder, how)

    @staticmethod
    def end(process, base, token, folder, how):
        asked = urllib.request.Request(f"{base}/api/kernels", b"{}", {"Authorization": f"token {token}"})
        urllib.request.urlopen(asked, timeout=60).close()
        kernel = kernel_process(folder.parent / "tmp")
        process.send_signal(getattr(signal, how))
        out, err = process.communicate(timeout=60)
        assert process.returncode == 0
        assert "JupyterLab has ended." in out
        assert "Traceback" not in err
        with pytest.raises(ProcessLookupError):
            os.kill(kernel, 0)
        with pytest.raises(OSError):
            socket.create_connection(("127.0.0.1", int(base.rpartition(":")[2])), timeout=5)
        assert list((folder.parent / "tmp").glob("kit-lab-*")) == []
        written = {path.name for path in (folder.parent / "config").iterdir()}
        assert written <= {"migrated"}  # Jupyter's own mark of a first run; the user's settings are not written


@POSIX
@pytest.mark.slow
def test_a_users_settings_that_switch_the_token_off_are_refused(folder):
    (folder.parent / "config").mkdir()
    (folder.parent / "config" / "jupyter_server_config.py").write_text(
        'c.IdentityProvider.token = ""', encoding="utf-8"
    )
    process = start(folder)
    out, err = process.communicate(timeout=120)
    assert process.returncode == 2
    assert err.strip().splitlines()[-1].endswith("[lab.open_to_all]")
    assert "http" not in out


@POSIX
@pytest.mark.slow
def test_a_users_own_address_and_port_do_not_open_it_to_the_network(folder):
    (folder.parent / "config").mkdir()
    (folder.parent / "config" / "jupyter_server_config.py").write_text(
        'c.ServerApp.ip = "0.0.0.0"\nc.ServerApp.allow_remote_access = True\nc.ServerApp.base_url = "/x/"',
        encoding="utf-8",
    )
    process = start(folder)
    try:
        said = process.stdout.readline() + process.stdout.readline()
        assert re.search(r"http://127\.0\.0\.1:\d+/lab\?token=", said)
        port = int(re.search(r":(\d+)/lab", said)[1])
        if sys.platform == "linux":
            with pytest.raises(OSError):
                socket.create_connection(("127.0.0.2", port), timeout=5)
    finally:
        process.terminate()
        process.communicate(timeout=60)


class TestRefused:
    def refuse(self, code: str, *arguments, **named) -> KitError:
        with pytest.raises(KitError) as caught:
            lab.open_lab(*arguments, **named)
        assert caught.value.code == code
        assert caught.value.mend
        return caught.value

    def test_what_is_no_folder(self, folder):
        self.refuse("lab.not_a_folder", folder / "sage.toml")
        assert "is not there" in self.refuse("lab.not_a_folder", folder / "gone").what

    def test_without_jupyterlab(self, folder, monkeypatch):
        monkeypatch.setattr(lab, "find_spec", lambda name: None)
        assert "pip install jupyterlab" in self.refuse("lab.missing", folder).mend

    def test_a_taken_port(self, folder):
        with socket.socket() as other:
            other.bind(("127.0.0.1", 0))
            other.listen()
            self.refuse("lab.port_taken", folder, port=other.getsockname()[1])

    @pytest.mark.parametrize("port", [0, 80, 70000, -1])
    def test_a_port_out_of_range(self, folder, port):
        self.refuse("lab.port", folder, port=port)

    def test_a_server_that_stops_by_itself(self, folder, monkeypatch):
        monkeypatch.setattr(lab, "command", lambda *_: [sys.executable, "-c", "raise SystemExit(3)"])
        assert "exit code 3" in self.refuse("lab.ended", folder).what

    def test_a_server_that_never_answers_is_ended(self, folder, monkeypatch):
        monkeypatch.setattr(lab, "command", lambda *_: [sys.executable, "-c", "import time; time.sleep(600)"])
        monkeypatch.setattr(lab, "_START_S", 1.0)
        self.refuse("lab.slow", folder)


def test_what_is_unsafe_about_the_folder_is_said_first(folder, monkeypatch):
    heard = []
    monkeypatch.setattr("kit.labbook.drive.cautions_for", lambda place, probe: ("on a network drive",))
    monkeypatch.setattr(lab, "command", lambda *_: [sys.executable, "-c", "raise SystemExit(3)"])
    with pytest.raises(KitError):
        lab.open_lab(folder, caution=heard.append)
    assert heard == ["on a network drive"]


def test_an_installations_own_settings_of_the_page_stay(tmp_path, monkeypatch):
    """What somebody installed for everybody is kept: a locked extension as a list, a setting as a table."""
    installed = tmp_path / "prefix" / "share" / "jupyter" / "lab" / "settings"
    installed.mkdir(parents=True)
    (installed / "page_config.json").write_text('{"disabledExtensions": ["x:y"], "theme": 1}', encoding="utf-8")
    (installed / "overrides.json").write_text('{"@jupyterlab/docmanager-extension:plugin": {"autosave": false}}')
    monkeypatch.setattr(sys, "prefix", str(tmp_path / "prefix"))
    made = lab._page_settings(tmp_path)
    config = json.loads((made / "page_config.json").read_text(encoding="utf-8"))
    assert config["theme"] == 1
    assert config["disabledExtensions"]["x:y"] is True
    assert len(config["disabledExtensions"]) == 2
    overrides = json.loads((made / "overrides.json").read_text(encoding="utf-8"))
    assert overrides["@jupyterlab/docmanager-extension:plugin"]["autosave"] is False
