"""Locks on files that end with their process, on any system (an edge module).

On Windows a lock is taken on a file's first byte, which may be past its end, and one that is shared is an exclusive
one for a moment. That part was tested with a stand-in for the system's module, and never ran on Windows.
"""

import errno
from types import ModuleType

fcntl: ModuleType | None
msvcrt: ModuleType | None
try:
    import fcntl
except ImportError:
    fcntl = None
try:
    import msvcrt
except ImportError:
    msvcrt = None

_HELD = (errno.EACCES, errno.EDEADLK, 36)  # 36 is EDEADLOCK of Windows


def take_lock(handle: int, unix: ModuleType | None = fcntl, windows: ModuleType | None = msvcrt) -> bool:
    """Lock an open file until this process ends or closes it; False if another process holds it.

    Parameters
    ----------
    handle : int
        An open file's descriptor.
    unix, windows : module or None
        The system's module; the one that there is.

    Raises
    ------
    OSError
        If the file's disk has no locks.
    """
    if unix is not None:
        try:
            unix.flock(handle, unix.LOCK_EX | unix.LOCK_NB)
        except BlockingIOError:
            return False
        return True
    return windows is None or _byte_of_windows(windows, handle, windows.LK_NBLCK)


def is_locked(handle: int, unix: ModuleType | None = fcntl, windows: ModuleType | None = msvcrt) -> bool:
    """Tell whether another process holds a lock of `take_lock` on an open file; parameters and errors as there."""
    if unix is not None:
        try:
            unix.flock(handle, unix.LOCK_SH | unix.LOCK_NB)
        except BlockingIOError:
            return True
        return False
    if windows is None:
        return False
    free = _byte_of_windows(windows, handle, windows.LK_NBLCK)
    return not (free and _byte_of_windows(windows, handle, windows.LK_UNLCK))


def _byte_of_windows(windows: ModuleType, handle: int, what: int) -> bool:
    try:
        windows.locking(handle, what, 1)
    except OSError as error:
        if error.errno in _HELD:
            return False
        raise
    return True
