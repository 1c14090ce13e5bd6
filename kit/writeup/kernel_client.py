"""How a run talks to its kernel: the usual client, without the waits that are for kernels it did not start itself."""

from __future__ import annotations

import queue
import time
from collections.abc import Callable
from typing import Any

from jupyter_client.asynchronous import AsyncKernelClient


class ProcessClient(AsyncKernelClient):
    """A client that knows a dead kernel by its process and needs no heartbeat for it.

    Parameters
    ----------
    is_process_alive : callable   Says whether the kernel's process still runs.
    """

    def __init__(self, *, is_process_alive: Callable[[], bool], **options: Any) -> None:
        super().__init__(**options)
        self._is_process_alive = is_process_alive

    def start_channels(self, **channels: Any) -> None:
        """Open the channels but the heartbeat's."""
        super().start_channels(**{**channels, "hb": False})

    async def is_alive(self) -> bool:
        """True while the process runs."""
        return self._is_process_alive()

    async def wait_for_ready(self, timeout: float | None = None) -> None:
        """Wait for an answer and for the kernel to be heard idle after it; then nothing older is under way."""
        deadline = time.monotonic() + (timeout or 60.0)
        while time.monotonic() < deadline:
            asked = self.kernel_info()
            if await self._heard(self.shell_channel, asked, 1.0) and await self._heard_idle(asked):
                return
            if not self._is_process_alive():
                raise RuntimeError("Kernel died before replying to kernel_info")
        raise RuntimeError("Kernel did not reply to kernel_info")

    async def _heard_idle(self, asked: str) -> bool:
        def idle(message: dict[str, Any]) -> bool:
            return message["content"].get("execution_state") == "idle"

        return await self._heard(self.iopub_channel, asked, 0.2, idle)

    async def _heard(self, channel: Any, asked: str, timeout: float, wanted: Callable = bool) -> bool:
        deadline = time.monotonic() + timeout
        while (left := deadline - time.monotonic()) > 0:
            try:
                message = await channel.get_msg(timeout=left)
            except queue.Empty:
                return False
            if message["parent_header"].get("msg_id") == asked and wanted(message):
                return True
        return False
