"""What a server of pages answers: which addresses exist, with which headers. No socket and no file is touched here.

An address has two parts: a folder, which is the study's name or a phone's secret, and a name. The name is looked up
among those that may be shown, never joined to a path; an address that is written in any other way isn't found.
"""

import hmac
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from pipeline.serve.shell import ACADEMY, ICON, LOOKUP, SHELL

READ_ONLY = ("GET", "HEAD")
TYPES = {
    "html": "text/html; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "png": "image/png",
    "svg": "image/svg+xml",
    "webmanifest": "application/manifest+json",
}
TEXT = "text/plain; charset=utf-8"

# Pages bring policies of their own, which these add to. The worker fetches what it keeps from here and from nowhere
# else; an icon opened by itself runs nothing.
POLICY = "frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
POLICIES = {
    "html": POLICY,
    "js": f"default-src 'none'; connect-src 'self'; {POLICY}",
    "svg": f"default-src 'none'; style-src 'unsafe-inline'; {POLICY}",
}
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
}
FAVICON = "/favicon.ico"  # browsers ask for it by themselves

HINT = (
    "Not found. Only the pages in the study's report folder are served. To follow links to diagnostics, "
    "open the academy's page as a file: yardband open STUDY\n"
)
NO_HINT = "Not found.\n"  # neither a stranger on the network nor a foreign page learns anything from it


@dataclass(frozen=True)
class Share:
    """What is served and at which address.

    Parameters
    ----------
    hosts : frozenset of str
        Host headers that are answered. Any other comes from a page elsewhere whose name was made to lead here (DNS
        rebinding).
    folder : str
        First part of every address.
    content : callable
        Gives the bytes behind a name, None if there are none.
    phone : bool
        Whether the coach's page alone is served, and nothing is said about addresses that don't exist.
    """

    hosts: frozenset[str]
    folder: str
    content: Callable[[str], bytes | None]
    phone: bool = False

    @property
    def front(self) -> str:
        """The page that the folder itself leads to."""
        return LOOKUP if self.phone else ACADEMY


@dataclass(frozen=True)
class Answer:
    """A status, headers and a body."""

    status: str
    headers: dict[str, str]
    body: bytes


def answer(share: Share, method: str, target: str, host: str) -> Answer:
    """Answer a request.

    Parameters
    ----------
    share : Share
    method : str
    target : str
        As it stands in the request, nothing decoded.
    host : str
        The Host header.
    """
    path = target.split("?")[0]
    if host.lower() not in share.hosts:
        return _lost(NO_HINT)
    if path == "/" and not share.phone:
        return _moved(share)
    if path == FAVICON and not share.phone:
        path = f"/{share.folder}/{ICON}"
    lost = _lost(NO_HINT if share.phone else HINT)
    name = _name_in(share, path)
    if name is None:
        return lost
    if name == "":
        return _moved(share)
    content = share.content(name) if name in SHELL or not share.phone else None
    if content is None:
        return lost
    if method not in READ_ONLY:
        return _said("405 Method Not Allowed", "This server is read-only.\n", {"Allow": ", ".join(READ_ONLY)})
    kind = name.rpartition(".")[2]
    kept = "no-cache" if name in SHELL else "no-store"  # no-cache: kept, but asked for again before each use
    headers = {
        "Content-Type": TYPES[kind],
        "Cache-Control": kept,
        "Content-Security-Policy": POLICIES.get(kind, POLICY),
    }
    return _answered("200 OK", headers, content)


def application(share: Share) -> WSGIApplication:
    """Give the WSGI application that answers by `answer`; `REQUEST_URI` must hold the target as it was sent."""

    def run(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        method = environ["REQUEST_METHOD"]
        found = answer(share, method, environ["REQUEST_URI"], environ.get("HTTP_HOST", ""))
        start_response(found.status, list(found.headers.items()))
        return [b"" if method == "HEAD" else found.body]

    return run


def _name_in(share: Share, path: str) -> str | None:
    parts = path.split("/")
    # A secret that is compared letter by letter until one differs could be guessed letter by letter from the time.
    folder = parts[1].encode(errors="replace") if len(parts) > 1 else b""
    is_known = hmac.compare_digest(folder, share.folder.encode())
    return parts[2] if is_known and len(parts) == 3 and parts[0] == "" else None


def _lost(text: str) -> Answer:
    return _said("404 Not Found", text, {})


def _moved(share: Share) -> Answer:
    return _said("302 Found", "", {"Location": f"/{share.folder}/{share.front}"})


def _said(status: str, text: str, headers: dict[str, str]) -> Answer:
    own = {
        "Content-Type": TEXT,
        "Cache-Control": "no-store",
        "Content-Security-Policy": f"default-src 'none'; {POLICY}",
    }
    return _answered(status, own | headers, text.encode())


def _answered(status: str, headers: dict[str, str], body: bytes) -> Answer:
    return Answer(status, HEADERS | headers | {"Content-Length": str(len(body))}, body)
