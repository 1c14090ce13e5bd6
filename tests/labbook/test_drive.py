"""Where a lab book lies: what the system's own lists say of a drive, and whether locks hold there.

The lines are written after proc_mounts(5), fstab(5) and the manuals of `mount` on macOS; the names of the file system
types are those of the kernels.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path, PurePosixPath

import pytest

from kit.labbook import drive

LINUX = r"""
/dev/sda2 / ext4 rw,relatime 0 0
/dev/sda3 /data ext4 rw,relatime 0 0
server:/export/lab /data/lab\040share nfs4 rw,vers=4.2 0 0
//server/lab /mnt/lab cifs rw,vers=3.1.1 0 0
/dev/sdb1 /media/stick vfat rw 0 0
/dev/sdc1 /media/disk fuseblk rw 0 0
mount /data/remote fuse.sshfs rw 0 0
server:/old /mnt/two nfs rw 0 0
/dev/sdd1 /mnt/two ext4 rw 0 0
"""
MACOS = """
/dev/disk1s5 on / (apfs, local, read-only, journaled)
/dev/disk1s1 on /System/Volumes/Data (apfs, local, journaled, nobrowse)
//chemist@server/Lab on /Volumes/Lab (smbfs, nodev, nosuid, mounted by chemist)
server:/export on /Volumes/Old Lab (nfs, nodev, nosuid)
"""


@pytest.mark.parametrize(
    ("folder", "kind", "network"),
    [
        ("/data/chemist/sage", "ext4", False),
        ("/data/lab share/sage", "nfs4", True),  # a blank in the name is written \040
        ("/data/lab", "ext4", False),  # the beginning of another name is not a folder above
        ("/mnt/lab", "cifs", True),
        ("/mnt/laboratory", "ext4", False),
        ("/media/stick/sage", "vfat", False),
        ("/media/disk/sage", "fuseblk", False),  # a disk of this computer through another driver
        ("/data/remote/sage", "fuse.sshfs", True),
        ("/mnt/two/sage", "ext4", False),  # of two on one point the later one is on top
    ],
)
def test_the_longest_mount_point_tells_the_drive_on_linux(folder, kind, network):
    found = drive.drive_type(PurePosixPath(folder), drive.read_proc_mounts(LINUX))
    assert (found, drive.is_network_type(found)) == (kind, network)


@pytest.mark.parametrize(
    ("folder", "kind", "network"),
    [
        ("/System/Volumes/Data/sage", "apfs", False),
        ("/Volumes/Lab/sage", "smbfs", True),
        ("/Volumes/Old Lab/sage", "nfs", True),
        ("/sage", "apfs", False),
    ],
)
def test_the_mount_command_tells_the_drive_on_macos(folder, kind, network):
    found = drive.drive_type(PurePosixPath(folder), drive.read_mount_command(MACOS))
    assert (found, drive.is_network_type(found)) == (kind, network)


@pytest.mark.skipif(not Path("/proc/mounts").exists(), reason="no list of mounts here")
def test_a_mounted_drive_is_found_as_the_system_reports_it(tmp_path):
    """Against `stat -f`, which asks the kernel for the type of the file system a file lies on."""
    if shutil.which("stat") is None:
        pytest.skip("no stat command here")
    asked = subprocess.run(["stat", "-f", "-c", "%T", "/proc"], capture_output=True, text=True, check=True)
    mounts = drive.read_proc_mounts(Path("/proc/mounts").read_text(encoding="utf-8", errors="surrogateescape"))
    assert drive.drive_type(PurePosixPath("/proc/self"), mounts) == asked.stdout.strip() == "proc"


def test_a_network_drive_is_said_in_words(tmp_path, monkeypatch):
    monkeypatch.setattr(drive, "_mounts", lambda: [("/", "ext4"), (os.path.realpath(tmp_path), "nfs4")])
    if os.name == "nt":
        pytest.skip("this system is asked by a call of its own")
    (words,) = drive.cautions_for(tmp_path)
    assert "network drive" in words
    assert "(nfs4)" in words
    assert "backups on the network drive" in words


def test_a_folder_that_the_system_marks_as_synchronised(tmp_path, monkeypatch):
    """0x400000 is FILE_ATTRIBUTE_RECALL_ON_DATA_ACCESS, 0x80000 _PINNED; 0x20 is the plain _ARCHIVE (from memory)."""
    if sys.platform == "darwin":
        pytest.skip("this system is asked by the place of the folder")
    marks = {"attributes": 0x20}
    monkeypatch.setattr(drive, "_attributes", lambda place: marks["attributes"] if place == tmp_path.parent else 0x10)
    assert not any("synchronise" in words for words in drive.cautions_for(tmp_path))
    for marks["attributes"] in (0x400020, 0x80020):
        assert any("synchronise" in words for words in drive.cautions_for(tmp_path))


def test_locks_hold_on_a_disk_of_this_computer(tmp_path):
    assert drive.locks_hold(tmp_path) is True
    assert drive.cautions_for(tmp_path, probe=True) == drive.cautions_for(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_locks_that_do_not_hold_are_said(tmp_path, monkeypatch):
    """A second writer that SQLite is told not to lock for (https://www.sqlite.org/uri.html) stands for such a drive."""
    careless = (
        "import pathlib, sqlite3, sys\n"
        "raw = sqlite3.connect(pathlib.Path(sys.argv[1]).as_uri() + '?nolock=1', uri=True)"
    )
    monkeypatch.setattr(drive, "_SECOND_WRITER", careless)
    assert drive.locks_hold(tmp_path) is False
    assert any("locks do not hold" in words for words in drive.cautions_for(tmp_path, probe=True))
    assert list(tmp_path.iterdir()) == []


def test_no_write_ahead_mode_is_said(tmp_path, monkeypatch):
    """On a network drive SQLite cannot share memory between programs, and refuses the mode."""

    class NoSharing(sqlite3.Connection):
        def execute(self, sql, *arguments):
            return super().execute("SELECT 'delete'" if "journal_mode" in sql else sql, *arguments)

    connect = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda path, **named: connect(path, factory=NoSharing, **named))
    assert drive.locks_hold(tmp_path) is False


def test_where_nothing_can_be_tried_nothing_is_said(tmp_path):
    assert drive.locks_hold(tmp_path / "gone") is None
    assert not any("locks" in words for words in drive.cautions_for(tmp_path / "gone", probe=True))
