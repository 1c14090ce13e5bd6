"""Where a lab book lies: a disk of this computer, or a place on which two writers can spoil it.

A lab book is safe where locks hold and where nobody else moves its files: not on a network drive, nor in a folder
that another program synchronises. What can be seen of that is said in words; it is never a reason to refuse.
"""

from __future__ import annotations

import os
import re
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from contextlib import closing, suppress
from pathlib import Path, PurePosixPath

# Types of file systems that are served by another computer or by another program, as the kernels name them.
_NETWORK = re.compile(r"^(nfs\d?|cifs|smb\w*|9p|afs\w*|ncpfs|webdav|davfs\d?|ceph|glusterfs|lustre|fuse\..+)$")

_SYNCHRONISED_ATTRIBUTES = 0x40000 | 0x80000 | 0x100000 | 0x400000
"""FILE_ATTRIBUTE_RECALL_ON_OPEN, _PINNED, _UNPINNED and _RECALL_ON_DATA_ACCESS: Windows sets them on what a
synchronising program keeps (Microsoft, "File Attribute Constants"; from memory)."""

_REMOTE_DRIVE = 4  # DRIVE_REMOTE of the Windows call GetDriveTypeW; from memory
_COMMAND_S = 10
_SECOND_WRITER = """
import sqlite3, sys
raw = sqlite3.connect(sys.argv[1], timeout=0, isolation_level=None)
try:
    raw.execute("BEGIN IMMEDIATE")
except sqlite3.OperationalError as error:
    sys.exit(3 if "locked" in str(error) else 4)
"""


def cautions_for(folder: str | Path, *, probe: bool = False) -> tuple[str, ...]:
    """What is unsafe about keeping a lab book in a folder, in words; nothing where nothing is seen.

    Parameters
    ----------
    folder : str or Path   An existing folder.
    probe : bool           Also try, with a small file that is taken away again, whether locks hold there.
    """
    folder = Path(folder).absolute()
    return tuple(filter(None, (_network_words(folder), _synchronised_words(folder), _probe_words(folder, probe))))


def drive_type(folder: PurePosixPath, mounts: Iterable[tuple[str, str]]) -> str:
    """The file system type a folder lies on.

    Parameters
    ----------
    folder : PurePosixPath       An absolute path, links resolved.
    mounts : (str, str) pairs    Mount point and type; of two on one point the later one is on top.
    """
    best, kind = -1, ""
    for point, name in mounts:
        parts = len(PurePosixPath(point).parts)
        if folder.is_relative_to(point) and parts >= best:
            best, kind = parts, name
    return kind


def is_network_type(kind: str) -> bool:
    """Whether a file system type is one that another computer or another program serves."""
    return bool(_NETWORK.match(kind.lower()))


def read_proc_mounts(text: str) -> list[tuple[str, str]]:
    r"""Mount points and types from the text of /proc/mounts, where a blank is written \040 (fstab(5))."""
    fields = [line.split() for line in text.splitlines()]
    return [(_octal(line[1]), line[2]) for line in fields if len(line) > 2]


def read_mount_command(text: str) -> list[tuple[str, str]]:
    """Mount points and types from what `mount` prints on macOS and BSD: `what on /point (type, options)`."""
    found = (re.match(r"^.+? on (/.*) \(([^,)]+)[,)]", line) for line in text.splitlines())
    return [(line[1], line[2].strip()) for line in found if line]


def locks_hold(folder: Path) -> bool | None:
    """Whether a second program is kept from writing while a first one writes; None where it cannot be tried.

    Tried with a scratch database in write-ahead mode and a process of its own: within one process the database
    library would answer from memory, not from the drive.
    """
    try:
        with tempfile.TemporaryDirectory(prefix=".kit-lock-", dir=folder, ignore_cleanup_errors=True) as scratch:
            return _second_writer_is_refused(Path(scratch, "lock.db"))
    except (OSError, subprocess.SubprocessError):
        return None


def _second_writer_is_refused(path: Path) -> bool:
    with closing(sqlite3.connect(path, timeout=1, isolation_level=None)) as first:
        try:
            if first.execute("PRAGMA journal_mode=WAL").fetchone()[0] != "wal":
                return False
            first.execute("CREATE TABLE held (x)")
            first.execute("BEGIN IMMEDIATE")
        except sqlite3.Error:
            return False
        command = [sys.executable, "-I", "-c", _SECOND_WRITER, str(path)]
        return subprocess.run(command, check=False, capture_output=True, timeout=_COMMAND_S).returncode == 3


def _probe_words(folder: Path, wanted: bool) -> str:
    if not wanted or locks_hold(folder) is not False:
        return ""
    return (
        f"In {folder} locks do not hold: two programs could write to one lab book at once and spoil it. "
        "Keep the lab book on a disk of this computer."
    )


def _network_words(folder: Path) -> str:
    kind = _network_kind(folder)
    if not kind:
        return ""
    return (
        f"{folder} lies on a network drive or one that another program provides ({kind}). Keep the lab book on a disk "
        "of this computer; put its backups on the network drive."
    )


def _synchronised_words(folder: Path) -> str:
    if not _is_synchronised(folder):
        return ""
    return (
        f"Another program seems to synchronise {folder}. It may copy a lab book while it is being written, or replace "
        "it by an older one. Keep the lab book outside such a folder; put its backups there."
    )


def _network_kind(folder: Path) -> str:
    """The type of the network drive, empty where the folder is on none or nothing can be found out."""
    if os.name == "nt":
        return _windows_network_kind(folder)
    mounts: list[tuple[str, str]] = []
    with suppress(OSError, subprocess.SubprocessError):
        mounts = _mounts()
    kind = drive_type(PurePosixPath(os.path.realpath(folder)), mounts)
    return kind if is_network_type(kind) else ""


def _mounts() -> list[tuple[str, str]]:
    listed = Path("/proc/mounts")
    if listed.exists():
        return read_proc_mounts(listed.read_text(encoding="utf-8", errors="surrogateescape"))
    done = subprocess.run(["mount"], capture_output=True, text=True, timeout=_COMMAND_S, check=False)
    return read_mount_command(done.stdout)


def _windows_network_kind(folder: Path) -> str:
    if folder.drive.startswith("\\\\"):
        return "a shared folder of another computer"
    import ctypes

    kind = ctypes.windll.kernel32.GetDriveTypeW(f"{folder.drive}\\")  # type: ignore[attr-defined]
    return "a drive of another computer" if kind == _REMOTE_DRIVE else ""


def _is_synchronised(folder: Path) -> bool:
    """By the marks that an operating system itself sets, for the folder and those above it."""
    if sys.platform == "darwin":
        library = Path.home() / "Library"
        kept = (
            library / "CloudStorage",
            library / "Mobile Documents",
        )  # where the system lets such programs keep files
        return any(folder.is_relative_to(place) for place in kept)
    return any(is_synchronised_attribute(_attributes(place)) for place in (folder, *folder.parents))


def is_synchronised_attribute(attributes: int) -> bool:
    """Whether Windows file attributes say that a synchronising program keeps the file or folder."""
    return bool(attributes & _SYNCHRONISED_ATTRIBUTES)


def _attributes(place: Path) -> int:
    with suppress(OSError):
        return getattr(os.stat(place), "st_file_attributes", 0)
    return 0


def _octal(text: str) -> str:
    return re.sub(r"\\([0-7]{3})", lambda found: chr(int(found[1], 8)), text)
