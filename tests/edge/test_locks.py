import errno
import os
import subprocess
import sys
from types import SimpleNamespace

import pytest

from pipeline.edge.locks import is_locked, take_lock

HOLDS = """
import os, sys
from pipeline.edge.locks import take_lock
print(take_lock(os.open(sys.argv[1], os.O_RDWR | os.O_CREAT)), flush=True)
sys.stdin.read()
"""


def test_a_lock_holds_against_other_processes_and_ends_with_its_own(tmp_path):
    path = tmp_path / "one.lock"
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDS, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert holder.stdout.readline() == "True\n"
    handle = os.open(path, os.O_RDWR)

    assert is_locked(handle)
    assert not take_lock(handle)
    holder.kill()
    holder.communicate(timeout=30)
    assert not is_locked(handle)
    assert take_lock(handle)
    os.close(handle)


class Windows(SimpleNamespace):
    """Stands for Windows' module: one byte of a file is locked by one handle at a time."""

    LK_NBLCK, LK_UNLCK = 2, 0

    def __init__(self, refuses_by=errno.EACCES):
        super().__init__(held={}, refuses_by=refuses_by)

    def locking(self, handle, what, count):
        assert count == 1
        if what == self.LK_UNLCK:
            del self.held["byte"]
        elif self.held.setdefault("byte", handle) != handle:
            raise OSError(self.refuses_by, "no")


@pytest.mark.parametrize("refuses_by", [errno.EACCES, 36])
def test_on_windows_the_first_byte_is_locked(refuses_by):
    windows = Windows(refuses_by)

    assert take_lock(1, None, windows)
    assert not take_lock(2, None, windows)
    assert is_locked(2, None, windows)
    assert windows.held == {"byte": 1}  # looking takes nothing


def test_on_windows_looking_at_a_free_lock_leaves_it_free():
    windows = Windows()

    assert not is_locked(1, None, windows)
    assert windows.held == {}


def test_an_error_that_is_no_held_lock_is_not_hidden():
    windows = Windows(errno.EIO)
    take_lock(1, None, windows)
    with pytest.raises(OSError, match="no"):
        take_lock(2, None, windows)
