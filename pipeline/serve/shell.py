"""The coach's page as a phone or browser installs it: the page itself, a manifest, icons and a service worker.

The worker keeps exactly the page, the manifest and the icons. It is named after their digest, so that a new run's
page replaces the old one.
"""

import hashlib
import json
from dataclasses import dataclass

ACADEMY, LOOKUP = "academy.html", "lookup.html"
MANIFEST, WORKER = "lookup.webmanifest", "lookup_worker.js"
ICON = "icon.svg"
ICON_PIXELS = {"icon-192.png": 192, "icon-512.png": 512}  # sizes that browsers ask for before they install a page
KEPT = (LOOKUP, MANIFEST, ICON, *ICON_PIXELS)
SHELL = (*KEPT, WORKER)

BACKGROUND = "#12304a"  # the icon's ground
VERSION_MARK, KEPT_MARK = "VERSION_OF_THE_PAGE", '["KEPT"]'


@dataclass(frozen=True)
class Shell:
    """What the package brings: icons by name, and the worker's script with marks to fill in."""

    icons: dict[str, bytes]
    worker: str


def shell_file(shell: Shell, name: str, page: bytes, study: str) -> bytes:
    """Give a file of the installed page.

    Parameters
    ----------
    shell : Shell
    name : str
        One of `SHELL`.
    page : bytes
        The coach's page.
    study : str
        Its name.
    """
    files = {LOOKUP: page, MANIFEST: manifest(study), **shell.icons}
    return worker(shell, files) if name == WORKER else files[name]


def manifest(study: str) -> bytes:
    """Write the web app manifest (W3C, Web Application Manifest): what an installed page is called and looks like."""
    icons = [{"src": ICON, "sizes": "any", "type": "image/svg+xml"}]
    icons += [
        {"src": name, "sizes": f"{size}x{size}", "type": "image/png", "purpose": purpose}
        for name, size in ICON_PIXELS.items()
        for purpose in ("any", "maskable")
    ]
    said = {
        "name": f"{study}: how far should this drive go?",
        "short_name": study,
        "lang": "en",
        "id": LOOKUP,
        "start_url": LOOKUP,
        "scope": LOOKUP,
        "display": "standalone",
        "background_color": BACKGROUND,
        "theme_color": BACKGROUND,
        "icons": icons,
    }
    return json.dumps(said, indent=1).encode()


def worker(shell: Shell, files: dict[str, bytes]) -> bytes:
    """Write the service worker that keeps `files`, named after their digest."""
    digest = hashlib.sha256()
    for name in KEPT:
        digest.update(hashlib.sha256(files[name]).digest())
    filled = shell.worker.replace(VERSION_MARK, digest.hexdigest()[:16]).replace(KEPT_MARK, json.dumps(KEPT))
    return filled.encode()
