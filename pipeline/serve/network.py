"""Sockets: this machine's own addresses, a port, and the server until it is stopped (an edge module)."""

import contextlib
import errno
import logging
import signal
import socket
import struct
import sys
from collections.abc import Callable
from types import FrameType
from wsgiref.types import WSGIApplication

from waitress.server import create_server

from pipeline.errors import UserError

LOOPBACK = "127.0.0.1"
PORT = 8417  # fixed, for a browser keeps an installed page by its port; nothing widely used has it
NOWHERE = "198.51.100.1"  # an address for documentation (RFC 5737): no machine has it
ADDRESS_OF_INTERFACE = 0x8915  # SIOCGIFADDR of Linux

# One page at a time for a few people. Requests have no body, and browsers' headers are short.
THREADS, CONNECTIONS, SECONDS_IDLE = 4, 64, 30
HEADER_BYTES, BODY_BYTES = 16_384, 1024


def own_addresses() -> list[str]:
    """List this machine's IPv4 addresses, the one toward other networks first. Nothing is sent.

    Connecting a UDP socket only asks the system which of its addresses it would send from.
    """
    found = []
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect((NOWHERE, 9))
        found.append(str(probe.getsockname()[0]))
    if sys.platform == "linux":
        found += [address for _, name in socket.if_nameindex() for address in _address_of(name)]
    return list(dict.fromkeys(found))


def _address_of(interface: str) -> list[str]:
    import fcntl  # Linux has it, and Windows has not

    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        asked = struct.pack("256s", interface.encode()[:15])
        return [socket.inet_ntoa(fcntl.ioctl(probe.fileno(), ADDRESS_OF_INTERFACE, asked)[20:24])]
    return []


def listening(address: str, port: int | None) -> socket.socket:
    """Give a socket that listens at an address.

    Parameters
    ----------
    address : str
    port : int or None
        None takes the usual port, or any free one if that is in use.

    Raises
    ------
    UserError
        If the port can't be had, or the address isn't this machine's.
    """
    try:
        return _bound(address, PORT if port is None else port)
    except OSError as error:
        if port is None and error.errno == errno.EADDRINUSE:
            return _bound(address, 0)
        raise UserError(_trouble(error, address, port)) from None


def _bound(address: str, port: int) -> socket.socket:
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind((address, port))
        bound.listen()
    except OSError:
        bound.close()
        raise
    return bound


def _trouble(error: OSError, address: str, port: int | None) -> str:
    if error.errno == errno.EADDRINUSE:
        return f"Port {port} is in use; stop the program that uses it, or give another port after --port."
    if error.errno in (errno.EACCES, errno.EPERM):
        return f"Port {port} is reserved by the system; give one from 1024 to 65535 after --port."
    return f"{address} isn't an address of this computer; give one that is after --address, or leave it out."


def serve(app: WSGIApplication, bound: socket.socket, started: Callable[[], None]) -> None:
    """Serve until Ctrl+C or a signal to end comes.

    Parameters
    ----------
    app : WSGI application
    bound : socket
        From `listening`; closed at the end.
    started : callable
        Called once the server can be stopped.
    """
    # Faults of single requests are answered with status 500; its log would print them as tracebacks.
    logger = logging.getLogger("waitress")
    logger.addHandler(logging.NullHandler())
    logger.propagate = False
    server = create_server(
        app,
        sockets=[bound],
        threads=THREADS,
        connection_limit=CONNECTIONS,
        channel_timeout=SECONDS_IDLE,
        max_request_header_size=HEADER_BYTES,
        max_request_body_size=BODY_BYTES,
        ident=None,
    )
    try:
        for ending in (signal.SIGINT, signal.SIGTERM):
            signal.signal(ending, _end)
        started()
        server.run()  # ends by itself when _end is called
    except KeyboardInterrupt:
        pass
    finally:
        server.close()


def _end(number: int, frame: FrameType | None) -> None:  # noqa: ARG001 - the system's arguments
    for ending in (signal.SIGINT, signal.SIGTERM):
        signal.signal(ending, signal.SIG_IGN)  # it is ending already
    raise KeyboardInterrupt
