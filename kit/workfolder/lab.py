"""Opening JupyterLab in a working folder: for this computer only, with a token, and with nothing asked of the network.

The settings are given to this one run. A user's own Jupyter configuration is read as ever and never written; what
is set here overrules it for this run.
"""

from __future__ import annotations

import json
import os
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from importlib.util import find_spec
from pathlib import Path
from typing import TextIO

from kit.errors import KitError

LOOPBACK = "127.0.0.1"
_START_S, _STOP_S = 90.0, 20.0

# Settings of the page. Without the first it asks whether to fetch news, and offers a page on the network.
_DISABLED = "@jupyterlab/apputils-extension:announcements"
_DOCUMENTS = "@jupyterlab/docmanager-extension:plugin"

# What a run is started with. JupyterLab asks its makers for news and newer versions unless it is told not to, and its
# list of extensions comes from the network.
SETTINGS = (
    f"--ServerApp.ip={LOOPBACK}",
    "--ServerApp.allow_remote_access=False",
    "--ServerApp.port_retries=0",
    "--ServerApp.answer_yes=True",  # Ctrl-C ends it without a question
    "--ServerApp.base_url=/",
    "--log-level=WARN",
    "--LabApp.log_level=WARN",
    "--LabApp.news_url=None",
    "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    "--LabApp.extension_manager=readonly",
)


def open_lab(
    folder: str | Path,
    *,
    port: int | None = None,
    browser: bool = True,
    say: Callable[[str], object] = print,
    caution: Callable[[str], object] = print,
) -> None:
    """Open JupyterLab in a folder and stay until it is ended, from the keyboard or in its own menu.

    Parameters
    ----------
    folder : str or Path   An existing folder; nothing above it is shown.
    port : int             Of this computer, 1024 to 65535; a free one when omitted.
    browser : bool         Whether to open the browser.
    say, caution : callable   Take the address and the closing words; what is unsafe about the folder.

    Raises
    ------
    KitError   `lab.not_a_folder`, `lab.missing`, `lab.port`, `lab.port_taken`, `lab.ended` when it stops by itself
               with an error, `lab.slow` when it does not start, `lab.open_to_all` when a user's own settings switch
               the token off.
    """
    from kit.labbook.drive import cautions_for

    folder = _folder(Path(folder))
    _require_jupyterlab()
    port = _port(port)
    for words in cautions_for(folder, probe=True):
        caution(words)
    with (
        _stopped_like_a_key(),
        tempfile.TemporaryDirectory(prefix="kit-lab-", ignore_cleanup_errors=True) as runtime,
        _running(command(folder, port, browser, _page_settings(Path(runtime))), _environment(runtime)) as server,
    ):
        say(f"JupyterLab is open for this computer only:\n  {_address_when_up(server, Path(runtime))}\nCtrl-C ends it.")
        _stay(server)
    say("JupyterLab has ended. What was acknowledged is recorded.")


def command(folder: Path, port: int, browser: bool, settings: Path) -> list[str]:
    """The command that starts JupyterLab; the token is not on it, where every user of a computer could read it."""
    line = [sys.executable, "-m", "jupyterlab", *SETTINGS, f"--ServerApp.port={port}", f"--ServerApp.root_dir={folder}"]
    line += [f"--ServerApp.open_browser={browser}", f"--LabApp.app_settings_dir={settings}"]
    if hasattr(os, "geteuid") and os.geteuid() == 0:  # refused otherwise; usual in containers
        line.append("--allow-root")
    return line


def address(information: Mapping[str, object]) -> str:
    """What to open in a browser, from what a running server says of itself.

    Raises
    ------
    KitError   `lab.open_to_all`: it asks for neither a token nor a password.
    """
    token = information["token"]
    if not token and not information["password"]:
        raise KitError(
            "your own Jupyter settings switch the token off: every user of this computer could run code in your name",
            where="the Jupyter configuration of your account",
            mend="take the empty token out of it; JupyterLab was ended",
            code="lab.open_to_all",
        )
    return f"{information['url']}lab" + (f"?token={token}" if token else "")


def _page_settings(runtime: Path) -> Path:
    """A folder with this installation's own settings of the page and those of this run laid on top."""
    installed, made = Path(sys.prefix, "share", "jupyter", "lab", "settings"), runtime / "settings"
    made.mkdir()
    ours = {
        "page_config.json": {"disabledExtensions": {_DISABLED: True}},
        "overrides.json": {_DOCUMENTS: {"defaultViewers": {"markdown": "Markdown Preview"}}},  # the page is to be read
    }
    for name, settings in ours.items():
        kept: dict = {}
        with suppress(OSError, ValueError):
            kept = json.loads((installed / name).read_text(encoding="utf-8"))
        merged = {**kept, **{key: {**_table(kept.get(key)), **value} for key, value in settings.items()}}
        (made / name).write_text(json.dumps(merged), encoding="utf-8")
    return made


def _table(settings: object) -> dict:
    """Settings that are a table; disabled extensions may also be a list of names."""
    if isinstance(settings, list):
        return dict.fromkeys(settings, True)
    return settings if isinstance(settings, dict) else {}


def _environment(runtime: str) -> Mapping[str, str]:
    """The token goes by the environment; kernels come from this installation, where the kit is."""
    return {
        **os.environ,
        "JUPYTER_TOKEN": secrets.token_hex(24),
        "JUPYTER_RUNTIME_DIR": runtime,
        "JUPYTER_PREFER_ENV_PATH": "1",
    }


def _folder(folder: Path) -> Path:
    if folder.is_dir():
        return folder.resolve()
    what = "is a file, not a folder" if folder.exists() else "is not there"
    raise KitError(
        f"{str(folder)!r} {what}",
        where="kit lab",
        allowed="a folder",
        mend="name your working folder; kit new DIR makes one",
        code="lab.not_a_folder",
    )


def _require_jupyterlab() -> None:
    if find_spec("jupyterlab") is None:
        raise KitError(
            "JupyterLab is not installed beside the kit",
            where=sys.prefix,
            mend=f'install it with "{sys.executable}" -m pip install jupyterlab; every other command works without it',
            code="lab.missing",
        )


def _port(wanted: int | None) -> int:
    if wanted is None:
        with socket.socket() as trial:  # any free one: two that start at once do not get in each other's way
            trial.bind((LOOPBACK, 0))
            return trial.getsockname()[1]
    if not 1024 <= wanted <= 65535:
        raise KitError(f"the port is {wanted}", where="--port", allowed="1024 to 65535", mend="name another",
                       code="lab.port")  # fmt: skip
    if not _is_free(wanted):
        raise KitError(f"port {wanted} is taken by another program", where="--port",
                       mend="name another, or leave --port out", code="lab.port_taken")  # fmt: skip
    return wanted


def _is_free(port: int) -> bool:
    with socket.socket() as trial:
        if os.name == "posix":  # a port that was let go of a moment ago is free
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((LOOPBACK, port))
        except OSError:
            return False
    return True


@contextmanager
def _stopped_like_a_key() -> Iterator[None]:
    """Being told to end, or losing the terminal, ends JupyterLab as Ctrl-C does: no kernel is left behind."""

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    names = [name for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), stop) for name in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)


@contextmanager
def _running(line: list[str], environment: Mapping[str, str]) -> Iterator[subprocess.Popen]:
    how = {"stdin": subprocess.DEVNULL, "stderr": subprocess.PIPE, "text": True, "errors": "replace"}
    server, ending = subprocess.Popen(line, env=environment, **how), threading.Event()
    log = threading.Thread(target=_pass_on, args=(server.stderr, ending), daemon=True)
    log.start()
    try:
        yield server
    finally:
        ending.set()
        with suppress(KeyboardInterrupt):  # a second Ctrl-C while it ends
            _end(server)
        log.join(_STOP_S)


def _pass_on(log: TextIO, ending: threading.Event) -> None:
    """The server's log, until it is told to end: what it then says of sockets closing under it helps nobody."""
    with log:
        for words in log:
            if not ending.is_set():
                sys.stderr.write(words)
                sys.stderr.flush()


def _end(server: subprocess.Popen) -> None:
    if server.poll() is None:
        server.terminate()  # it shuts its kernels down
    try:
        server.wait(_STOP_S)
    except subprocess.TimeoutExpired:
        server.kill()
        server.wait()


def _address_when_up(server: subprocess.Popen, runtime: Path) -> str:
    """A server writes a file about itself, address and token in it, a moment before it listens."""
    end = time.monotonic() + _START_S
    while time.monotonic() < end:
        if server.poll() is not None:
            raise _ended(server)
        for found in runtime.glob("jpserver-*.json"):
            with suppress(ValueError, OSError):  # seen while it is being written; not listening yet
                information = json.loads(found.read_text(encoding="utf-8"))
                told = address(information)
                socket.create_connection((LOOPBACK, information["port"]), timeout=2).close()
                return told
        time.sleep(0.1)
    raise KitError(
        f"JupyterLab did not start within {_START_S:.0f} s; it was ended",
        mend="try again; another --port may help",
        code="lab.slow",
    )


def _stay(server: subprocess.Popen) -> None:
    try:
        if server.wait() != 0:
            raise _ended(server)
    except KeyboardInterrupt:
        return


def _ended(server: subprocess.Popen) -> KitError:
    return KitError(
        f"JupyterLab ended by itself (exit code {server.returncode})",
        where="its own words stand above",
        mend="mend what it names, then run kit lab again; what was acknowledged is recorded",
        code="lab.ended",
    )
