"""Starting, reaching and ending the one kernel process a run uses.

The process is started before anything heavy is imported here, so that kernel and caller load side by side. Its sockets
lie in a private scratch folder where the system has local sockets; elsewhere the kernel itself picks free ports and
writes them down, so that no port is promised before it is taken. Ending it ends everything it started.
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from kit.errors import RunError
from kit.writeup.kernel import PRELOAD

_LONGEST_SOCKET_NAME = 100  # bytes; the shortest system limit in use is 104, one of them for the closing zero
_STALE = ("PYTHONSTARTUP", "PYTHONWARNINGS", "MPLBACKEND", "COLUMNS", "LINES", "NO_COLOR", "FORCE_COLOR", "LANGUAGE",
          "JPY_PARENT_PID", "JPY_INTERRUPT_EVENT", "JPY_SESSION_NAME")  # fmt: skip
_FIXED = {"TZ": "UTC", "LC_ALL": "C", "LANG": "C", "PYTHONUTF8": "1", "PYTHONHASHSEED": "0",
          "PLOTLY_RENDERER": "plotly_mimetype"}  # fmt: skip


class KernelProcess:
    """One fresh kernel. Offers what a notebook client asks of a kernel manager: `has_kernel`, `client`, `is_alive`.

    Parameters
    ----------
    cwd : Path     Folder the template runs in.
    local : bool   Use local sockets where the system has them; False for TCP on 127.0.0.1.
    preload        Modules to import while the caller still loads its own.
    """

    has_kernel = True
    ipykernel = False  # the client would otherwise add arguments to a start that has already happened

    def __init__(self, cwd: Path, *, local: bool = True, preload: Sequence[str] = ()) -> None:
        self.kernel_id = secrets.token_hex(4)
        self._scratch = _scratch_folder()
        self._connection_file = self._scratch / "kernel.json"
        self._log = self._scratch / "kernel.log"
        self._client: Any = None
        self._killed = False
        self._preload = ",".join(preload)
        try:
            self._write_connection_file(local)
            with self._log.open("wb") as log:
                self._process = _launch(self._command(), cwd, self._environment(), log)
        except BaseException:
            shutil.rmtree(self._scratch, ignore_errors=True)
            raise

    def _write_connection_file(self, local: bool) -> None:
        sockets = str(self._scratch / "s")
        if local and _has_local_sockets(sockets):
            place = {"transport": "ipc", "ip": sockets}
        else:
            place = {"transport": "tcp", "ip": "127.0.0.1"}
        ports = dict.fromkeys(("shell_port", "iopub_port", "stdin_port", "control_port", "hb_port"), 0)
        whole = {**place, **ports, "key": secrets.token_hex(32), "signature_scheme": "hmac-sha256"}
        with open(self._connection_file, "w", opener=_for_the_owner_only) as stream:
            json.dump(whole, stream)

    def _command(self) -> list[str]:
        program = Path(__file__).with_name("kernel.py")
        return [sys.executable, str(program), "-f", str(self._connection_file)]

    def _environment(self) -> dict[str, str]:
        kept = {name: value for name, value in os.environ.items() if name not in _STALE and name[:3] != "LC_"}
        return {**kept, **_FIXED, PRELOAD: self._preload, "IPYTHONDIR": str(self._scratch / "ipython")}

    def is_alive(self) -> bool:
        """True while the process runs."""
        return self._process.poll() is None

    def exit_code(self) -> int | None:
        """Exit code of the ended process (minus the signal's number if one ended it); None while it runs."""
        return self._process.poll()

    def connection(self, timeout_s: float = 60.0) -> dict[str, Any]:
        """Connection details once the kernel has taken its sockets.

        Raises
        ------
        RunError   `template.kernel_start`: the process ended first, or was silent for `timeout_s`.
        """
        deadline = time.monotonic() + timeout_s
        while time.monotonic() < deadline:
            details = self._read_connection_file()
            if details.get("hb_port"):
                return details
            if not self.is_alive():
                raise self.start_error("ended before it was ready")
            time.sleep(0.005)
        raise self.start_error(f"was not ready after {timeout_s:.0f} s")

    def _read_connection_file(self) -> dict[str, Any]:
        try:
            return json.loads(self._connection_file.read_text(encoding="utf-8"))
        except (OSError, ValueError):  # being rewritten by the kernel at this moment
            return {}

    def start_error(self, what: str) -> RunError:
        """The error for a kernel that did not come up, with the last line it wrote."""
        try:
            lines = self._log.read_text(encoding="utf-8", errors="replace").strip().splitlines()
        except OSError:
            lines = []
        return RunError(
            f"The Python kernel for the template {what}"
            + (f" and left the line: {lines[-1].strip()}" if lines else ""),
            where=sys.executable,
            mend="try once more; if it happens again, check that ipykernel is installed in this Python",
            code="template.kernel_start",
        )

    def client(self) -> Any:
        """The client of this kernel, connected; made once."""
        from kit.writeup.kernel_client import ProcessClient

        if self._client is None:
            client = ProcessClient(is_process_alive=self.is_alive)
            client.load_connection_info(self.connection())
            self._client = client
        return self._client

    async def cleanup_resources(self, restart: bool = False) -> None:
        """What a notebook client calls when the kernel is gone; `end` clears up, and it is called in any case."""

    def ask(self, expression: str, timeout_s: float = 10.0) -> str:
        """Value, a text, of a Python expression in the kernel; empty where it cannot be had."""
        import ast

        from jupyter_core.utils import run_sync

        async def answer() -> dict[str, Any]:
            message = self._client.execute(
                "", silent=True, user_expressions={"it": expression}, reply=True, timeout=timeout_s
            )
            return (await message)["content"]

        try:
            value = run_sync(answer)()["user_expressions"]["it"]["data"]["text/plain"]
            return str(ast.literal_eval(value))
        except (KeyError, ValueError, SyntaxError, TimeoutError, RuntimeError, OSError):
            return ""  # the caller says what it goes without

    def kill(self) -> None:
        """End the process and all it started, at once; from any thread, any number of times."""
        if not self._killed:
            _kill(self._process)
        self._killed = True  # its number may soon be another's

    def end(self) -> None:
        """Kill the kernel, close its client and remove the scratch folder; from the thread that ran it."""
        self.kill()
        client, self._client = self._client, None
        if client is not None:
            _hang_up(client)
        shutil.rmtree(self._scratch, ignore_errors=True)


def _hang_up(client: Any) -> None:
    """Close a client and the event loop its thread was given, with whatever an interrupted run still waits for."""
    import asyncio

    from jupyter_core.utils import ensure_event_loop, run_sync

    async def close() -> None:
        waiting = asyncio.all_tasks() - {asyncio.current_task()}
        for task in waiting:
            task.cancel()
        await asyncio.gather(*waiting, return_exceptions=True)
        client.stop_channels()

    run_sync(close)()
    ensure_event_loop().close()


def _scratch_folder() -> Path:
    """A private folder with a name short enough for a socket, where there is such a place."""
    folder = Path(tempfile.mkdtemp(prefix="kit-"))
    if len(os.fsencode(folder)) + 8 <= _LONGEST_SOCKET_NAME or not os.access("/tmp", os.W_OK):
        return folder
    folder.rmdir()
    return Path(tempfile.mkdtemp(prefix="kit-", dir="/tmp"))


def _for_the_owner_only(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def _has_local_sockets(name: str) -> bool:
    return os.name == "posix" and hasattr(socket, "AF_UNIX") and len(os.fsencode(name)) + 6 <= _LONGEST_SOCKET_NAME


def _launch(command: list[str], cwd: Path, environment: dict[str, str], log: Any) -> Any:
    streams = {"stdin": subprocess.DEVNULL, "stdout": log, "stderr": log}
    if os.name == "posix":
        environment["JPY_PARENT_PID"] = str(os.getpid())  # the kernel ends by itself when this process is gone
        return subprocess.Popen(command, cwd=cwd, env=environment, start_new_session=True, **streams)
    from jupyter_client.launcher import launch_kernel

    return launch_kernel(command, cwd=str(cwd), env=environment, **streams)


def _kill(process: Any) -> None:
    if os.name == "posix":
        try:
            os.killpg(process.pid, signal.SIGKILL)
        except (ProcessLookupError, PermissionError):
            process.kill()
    else:
        process.kill()
    process.wait()
