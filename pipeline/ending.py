"""How a run ends for its user: one plain sentence on standard error and an exit status, never a traceback."""

import errno
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import UserError

DONE = "Done."  # a step's last line in its log

BAD_INPUT = 2
OWN_FAULT = 1
STOPPED = 130  # as shells give it: 128 and the number of the signal, here SIGINT
PIPE_CLOSED = 141  # likewise SIGPIPE
TRACEBACK_SWITCH = "YARDBAND_TRACEBACK"

MEMORY_RAN_OUT = (
    "memory ran out. Close other programs, use fewer cores, raise the limit on memory if one is set (ulimit -v), or "
    "take a machine with more; then start again: the run goes on where it stopped."
)
# How libraries and the system say that there was no memory left, where they raise no MemoryError.
_MEMORY_WORDS = (
    "memory allocation of",
    "resource temporarily unavailable",  # no thread can be started
    "cannot allocate memory",
    "can't allocate memory",
    "unable to allocate",
    "can't start new thread",
    "failed to spawn",
    "could not spawn",
    "failed to map segment",
    "out of memory",
    "memoryerror",
    "std::bad_alloc",
)
_KILLED_FOR_MEMORY = ("SIGKILL", "SIGABRT", "SIGSEGV", "SIGBUS")

# Sums over floats depend in their last digits on how many threads share them, so that a machine with more cores would
# write other bytes; steps run side by side anyway. To be set before numpy and polars are imported.
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "POLARS_MAX_THREADS")
# With these libraries start no threads that they can do without, allocators of memory among them.
WITHOUT_THREADS = dict.fromkeys(ONE_THREAD, "1") | {
    "JE_ARROW_MALLOC_CONF": "background_thread:false",
    "_RJEM_MALLOC_CONF": "background_thread:false",
}
# So under a limit on memory, where one that can't start may leave the others waiting for ever, or speak after our last
# sentence; and memory is soon given back.
_FRUGAL = WITHOUT_THREADS | {
    "_RJEM_MALLOC_CONF": "dirty_decay_ms:500,muzzy_decay_ms:1000,background_thread:false",
}
# For so long each thread of a process may wait for another one before it counts as stuck for good.
_STUCK_S = 20.0
_LOOK_EVERY_S = 1.0

_FULL = (errno.ENOSPC, errno.EDQUOT)
_SHUT = (errno.EROFS, errno.EACCES, errno.EPERM)


@dataclass
class Outcome:
    """How a block of `told` ended."""

    status: int = 0


@contextmanager
def told(place: str) -> Iterator[Outcome]:
    """Tell what goes wrong in a block on standard error, and note the exit status.

    A UserError is bad input (status 2), and so is a disk that is full or can't be written. Any other error is a fault
    of Yardband (status 1); its text isn't shown, for libraries put the content of rows into theirs, unless the
    environment variable YARDBAND_TRACEBACK is set. Ctrl+C, a reader of the output that has gone and a lack of memory
    have a sentence each.

    Parameters
    ----------
    place : str
        Where the block runs, such as "in the step load_shots".
    """
    outcome = Outcome()
    try:
        yield outcome
    except UserError as error:
        outcome.status = BAD_INPUT
        _say(str(error))
    except KeyboardInterrupt:
        outcome.status = STOPPED
        _say("Stopped.")
    except BrokenPipeError:
        outcome.status = PIPE_CLOSED
        _say("Stopped: the program that read this output has ended.")
        _write_no_more()
    except (SystemExit, GeneratorExit):
        raise
    except BaseException as error:  # a library's panic is no Exception
        if os.environ.get(TRACEBACK_SWITCH):
            raise
        outcome.status, said = _what_happened(error, place)
        _say(said)


def _what_happened(error: BaseException, place: str) -> tuple[int, str]:
    """Give the status and the sentence of an error that isn't meant for users."""
    trouble = memory_trouble(error) or writing_trouble(error)
    if trouble is not None:
        return BAD_INPUT, f"{place[:1].upper()}{place[1:]}: {trouble}"
    return OWN_FAULT, (
        f"Yardband met a fault of its own {place} ({type(error).__name__}); report it to its developers. With "
        f"{TRACEBACK_SWITCH}=1 it shows where."
    )


def _say(sentence: str) -> None:
    with suppress(OSError):  # nobody may be reading any more
        print(sentence, file=sys.stderr, flush=True)


def _write_no_more() -> None:
    # What is left in the stream's buffer would raise the same error once more when Python ends.
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


def outliving(work: Callable[[], int], place: str) -> int:
    """Do some work, where memory is limited in a process of its own, so that a crash there ends in a sentence too.

    Libraries end the whole process when memory runs out, and nothing in it can say why.

    Parameters
    ----------
    work : callable
        Gives an exit status. It ends in a sentence itself where it can.
    place : str
        As `told` takes it.

    Returns
    -------
    int
        The exit status.
    """
    if not memory_is_limited():
        return work()
    for name, value in _FRUGAL.items():
        os.environ.setdefault(name, value)
    finished, finishing = os.pipe()
    child = os.fork()
    if child == 0:
        status = _finished(work)
        os.write(finishing, b".")
        os._exit(status)
    os.close(finishing)
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)  # the terminal interrupts the child as well
    with _stuck_ended(child):
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    signal.signal(signal.SIGINT, before)
    with os.fdopen(finished, "rb") as pipe:
        well = bool(pipe.read(1))
    if code >= 0 and well:
        return code
    if code < 0 and signal.Signals(-code).name not in _KILLED_FOR_MEMORY:
        return 128 - code
    _say(f"{place[:1].upper()}{place[1:]}: {MEMORY_RAN_OUT}")
    return BAD_INPUT


@contextmanager
def _stuck_ended(child: int) -> Iterator[None]:
    """End a process, while a block waits for it, of whose threads each waits for another: memory ran out in one.

    A library whose thread found no memory may leave the others waiting for it for good.
    """
    done = threading.Event()

    def look() -> None:
        stuck_s = 0.0
        while not done.wait(_LOOK_EVERY_S):
            stuck_s = stuck_s + _LOOK_EVERY_S if _is_stuck(child) else 0.0
            if stuck_s >= _STUCK_S:
                os.kill(child, signal.SIGKILL)
                return

    thread = threading.Thread(target=look, daemon=True)
    try:
        thread.start()
    except RuntimeError:  # no memory for it either
        yield
        return
    try:
        yield
    finally:
        done.set()
        thread.join()


def _is_stuck(process: int) -> bool:
    """Tell by Linux whether each thread of a process waits for another one, none for a child, a file or a socket.

    Threads that a library made, and named, may wait for events, which it makes itself.
    """
    try:
        threads = list(Path(f"/proc/{process}/task").iterdir())
        own = Path(f"/proc/{process}/comm").read_bytes()
        waits = [((one / "wchan").read_text(encoding="ascii"), (one / "comm").read_bytes() == own) for one in threads]
    except OSError:  # another system, or the process has ended
        return False
    return bool(waits) and all("futex" in place or (not is_own and "epoll" in place) for place, is_own in waits)


def _finished(work: Callable[[], int]) -> int:
    """Give the exit status of some work, whatever happens, with all that it printed written out."""
    status = OWN_FAULT
    try:
        with told("at the end") as outcome:
            try:
                status = work()
            except SystemExit as end:
                status = end.code if isinstance(end.code, int) else int(end.code is not None)
            sys.stdout.flush()
        status = outcome.status or status
    finally:
        with suppress(OSError):
            sys.stderr.flush()
    return status


def memory_is_limited() -> bool:
    """Tell whether this process may only have so much memory."""
    try:
        import resource
    except ImportError:  # Windows has no such limits
        return False
    return resource.getrlimit(resource.RLIMIT_AS)[0] != resource.RLIM_INFINITY


def speaks_of_memory(text: str) -> bool:
    """Tell whether a line of a library, or of the system, says that memory ran out."""
    return any(words in text.lower() for words in _MEMORY_WORDS)


def memory_trouble(error: BaseException) -> str | None:
    """Say that memory ran out, and the mend; None if `error` isn't of that kind."""
    # Where memory is limited, a library that found none as it was loaded leaves Python with a fault of its own.
    signs = (MemoryError, SystemError) if memory_is_limited() else MemoryError
    for one in _chain(error):
        if isinstance(one, signs) or getattr(one, "errno", None) == errno.ENOMEM or speaks_of_memory(str(one)):
            return MEMORY_RAN_OUT
    return None


def writing_trouble(error: BaseException) -> str | None:
    """Say in plain words what keeps files from being written, and the mend; None if `error` isn't of that kind.

    Libraries put the system's words into errors of their own, so those count too.
    """
    for one in _chain(error):
        if _is(one, _FULL):
            return (
                "there is no room left to write, on its disk or in the temporary folder; make room and start again: "
                "the run goes on where it stopped."
            )
        if _is(one, _SHUT):
            return "a file or folder can't be opened or written; see who may read and write it, then start again."
    return None


def _chain(error: BaseException) -> Iterator[BaseException]:
    """Give an error, and those that it came from."""
    seen: set[int] = set()
    one: BaseException | None = error
    while one is not None and id(one) not in seen:
        seen.add(id(one))
        yield one
        one = one.__cause__ or one.__context__


def _is(error: BaseException, codes: tuple[int, ...]) -> bool:
    return getattr(error, "errno", None) in codes or any(os.strerror(code) in str(error) for code in codes)
