"""A step handed over to a process that has loaded its libraries already, where a run has one (an edge module).

The other side, and why, is `pipeline.running.forked_steps`.
"""

import json
import os
import signal
import socket
import struct
from collections.abc import Sequence
from contextlib import suppress

ADDRESS = "YARDBAND_FORKED_STEPS"  # the name of a socket, set by a run that has such a process
LOG = "YARDBAND_LOG"  # the path of a step's log; rules set it, for their steps alone

TAKEN = b"."  # the answer at once; the wait status follows when the step has ended
STATUS = struct.Struct("=i")
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
    name = os.environ.get(ADDRESS)
    if not name or LOG not in os.environ:
        return None
    with suppress(OSError), socket.socket(socket.AF_UNIX) as other:
        other.connect(f"\0{name}")
        if is_own(other):
            request = json.dumps({"arguments": list(arguments), "environment": dict(os.environ)}).encode()
            socket.send_fds(other, [STATUS.pack(len(request))], STREAMS)
            other.sendall(request)
            if other.recv(1) == TAKEN:
                # A terminal interrupts the step as well, which has something to say.
                signal.signal(signal.SIGINT, signal.SIG_IGN)
                return _ended(other.recv(STATUS.size, socket.MSG_WAITALL))
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
