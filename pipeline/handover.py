"""Work handed over to a process that has loaded the libraries already, where a run has one (an edge module).

The other side, and why, is `pipeline.running.forked_steps`.
"""

import json
import os
import signal
import socket
import struct
from collections.abc import Sequence
from contextlib import ExitStack, suppress

ADDRESS = "YARDBAND_FORKED_STEPS"  # the name of a socket, set by a run that has such a process
LOG = "YARDBAND_LOG"  # the path of a step's log; rules set it, for their steps alone

TAKEN = b"."  # the answer at once; the wait status follows when the step has ended
STATUS = struct.Struct("=i")
SECOND = "second_process"  # in place of a step's arguments: a process that helps one, see `pipeline.threads`
STREAMS = (0, 1, 2)  # a step's standard input, output and error, which go over with it

_PEER = struct.Struct("=iII")  # process, user, group


def handed_over(arguments: Sequence[str]) -> int | None:
    """Have a step run by the process that has its libraries, if there is one, and end as the step does.

    Parameters
    ----------
    arguments : sequence of str
        Of the step's command line.

    Returns
    -------
    int or None
        The exit status; None if nobody took the step, which is then to be run here. A step that was killed by a signal
        kills this process too.
    """
    other = forked(arguments, STREAMS)
    if other is None:
        return None
    # A terminal interrupts the step as well, which has something to say.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    status = b""
    with suppress(OSError), other:
        status = other.recv(STATUS.size, socket.MSG_WAITALL)
    return _ended(status)


def forked(arguments: Sequence[str], streams: Sequence[int]) -> socket.socket | None:
    """Have a process forked that has the libraries, with this one's environment and folder.

    Parameters
    ----------
    arguments : sequence of str
        A step's, or `SECOND` alone.
    streams : sequence of int
        Descriptors of what is to be its standard input, output and error.

    Returns
    -------
    socket or None
        On which its wait status comes when it has ended; it is ended when this is closed. None if nobody took it.
    """
    name = os.environ.get(ADDRESS)
    if not name or LOG not in os.environ:
        return None
    with suppress(OSError), ExitStack() as unless_taken:
        other = unless_taken.enter_context(socket.socket(socket.AF_UNIX))
        other.connect(f"\0{name}")
        if is_own(other):
            request = json.dumps({"arguments": list(arguments), "environment": dict(os.environ)}).encode()
            socket.send_fds(other, [STATUS.pack(len(request))], streams)
            other.sendall(request)
            if other.recv(1) == TAKEN:
                unless_taken.pop_all()
                return other
    return None


def is_own(other: socket.socket) -> bool:
    """Tell whether the same user is at the other end of a socket on this machine."""
    found = other.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _PEER.size)
    return bool(_PEER.unpack(found)[1] == os.getuid())


def _ended(answer: bytes) -> int:
    """Give a step's exit status, or end by the signal that ended it; without an answer its process was killed."""
    code = os.waitstatus_to_exitcode(STATUS.unpack(answer)[0]) if len(answer) == STATUS.size else -signal.SIGKILL
    if code < 0:
        if -code != signal.SIGKILL:
            signal.signal(-code, signal.SIG_DFL)
        os.kill(os.getpid(), -code)
    return code
