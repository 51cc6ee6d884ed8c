"""The secret key file of a study: making and reading it (an edge module)."""

import hashlib
import hmac
import os
import re
import secrets
from collections.abc import Callable, Mapping
from itertools import count
from pathlib import Path

from pipeline.collect.demo_logs import demo_fingerprint, not_of_the_demo
from pipeline.configuration.study import DEMO_STUDY
from pipeline.edge.small_files import read_small
from pipeline.errors import UserError

DEMO_MARK = "# yardband demo key: public, for the demo study only"
SECRET_MARK = "# yardband key: secret, keep it out of results and of e-mail"

_KEY_BYTES = 32
_MOST_BYTES = 10_000  # of a key file, with room for what an editor adds
_HEX = re.compile(r"^[0-9a-fA-F]{64}$")
_OTHERS = 0o077  # permission bits of group and others


def read_key(path: Path, study: str) -> bytes:
    """Read a study's secret key.

    Parameters
    ----------
    path : Path
        The key file: a marking comment, then a line of 64 hex digits.
    study : str
        Name of the study.

    Returns
    -------
    bytes
        The 32 bytes of the key.

    Raises
    ------
    UserError
        If the file is missing or malformed, is the public demo key while the study isn't the demo or under the mark of
        a secret one, or is a secret key that others than its owner can read.
    """
    content = read_small(path, "there is no key file; make one with: yardband key STUDY", _MOST_BYTES)
    try:
        lines = content.decode("utf-8").splitlines()
        mode = path.stat().st_mode
    except UnicodeDecodeError:
        lines, mode = [], 0
    except OSError as error:
        raise UserError(f"{path}: the key file can't be read ({error.strerror}); correct its permissions.") from None
    mark, digits = (lines[0].strip(), lines[1].strip()) if len(lines) == 2 else ("", "")
    if mark not in (DEMO_MARK, SECRET_MARK) or not _HEX.match(digits):
        raise UserError(
            f"{path}: this isn't a key file; it needs a marking line and a line of 64 hex digits. Restore it from "
            "your copy; a new key would change every pseudonym."
        )
    if mark == DEMO_MARK and study != DEMO_STUDY:
        raise UserError(
            f"{path}: this is the public demo key and the study {study!r} is not the demo; remove the file and make "
            "a key with: yardband key STUDY"
        )
    if mark == SECRET_MARK and fingerprint_of(bytes.fromhex(digits)) == demo_fingerprint():
        raise UserError(
            f"{path}: these are the digits of the public demo key, which everybody has; remove the file and make a key "
            "of your own with: yardband key STUDY"
        )
    if mark == SECRET_MARK and others_can_read(mode):
        raise UserError(f"{path}: people other than its owner can read the key; fix it with: chmod 600 {path}")
    return bytes.fromhex(digits)


def refuse_other_logs(path: Path, logs: Callable[[], Mapping[Path, str | None]]) -> None:
    """Refuse the public demo key for logs that aren't the demo's: everybody could try out names with it.

    Parameters
    ----------
    path : Path
        A key file that `read_key` takes.
    logs : callable
        Gives the SHA-256 of each log; asked for the demo's key alone.

    Raises
    ------
    UserError
        If the key is the demo's and a log isn't.
    """
    if not path.read_text(encoding="utf-8").startswith(DEMO_MARK):
        return
    if others := not_of_the_demo(logs()):
        raise UserError(
            f"{path}: this is the public demo key, and {others[0]} is not the demo's; remove the key file and make a "
            "key of your own with: yardband key STUDY"
        )


def others_can_read(mode: int, system: str = os.name) -> bool:
    """Tell by a file's mode whether others than its owner can read it.

    Windows ignores a mode's bits for others and shows every file as readable, so there they say nothing.
    """
    return system == "posix" and bool(mode & _OTHERS)


def make_key(path: Path) -> None:
    """Make a new secret key file, readable by its owner alone, and its folder.

    Raises
    ------
    UserError
        If there is a file already, the place is inside the results, or it can't be written.
    """
    refuse_results(path, "the key")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _write_key(path, secrets.token_hex(_KEY_BYTES))
    except FileExistsError:
        raise UserError(
            f"{path}: there is already a key, and it stays: a new one would change every pseudonym. "
            "To replace it, add --rotate."
        ) from None
    except OSError as error:
        raise UserError(f"{path}: the key can't be written ({error.strerror}); make the folder writable.") from None


def rotate_key(path: Path, study: str) -> Path:
    """Put a new secret key in place of a study's key, and keep the old one beside it.

    Parameters
    ----------
    path : Path
        The key file in use.
    study : str
        Name of the study.

    Returns
    -------
    Path
        Where the old key is: the name of the key file with `.old-1`, or the next free number.

    Raises
    ------
    UserError
        If the key in use can't be read, is the public demo key, or the folder can't be written.
    """
    refuse_results(path, "the key")
    old_key = read_key(path, study)
    if path.read_text(encoding="utf-8").startswith(DEMO_MARK):
        raise UserError(f"{path}: the demo's key is public and stays; make a study of your own to have a secret one.")
    number = next(n for n in count(1) if not _old(path, n).exists())
    old, new = _old(path, number), path.with_name(f".{path.name}.new-{secrets.token_hex(4)}")
    try:
        _write_key(old, old_key.hex())
        _write_key(new, secrets.token_hex(_KEY_BYTES))
        new.replace(path)  # at no moment is there no key
    except OSError as error:
        new.unlink(missing_ok=True)
        raise UserError(f"{path}: the key can't be written ({error.strerror}); make the folder writable.") from None
    return old


def _old(path: Path, number: int) -> Path:
    return path.with_name(f"{path.name}.old-{number}")


def _write_key(path: Path, digits: str) -> None:
    # Made with its mode, so that there is no moment at which others can read it.
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
        file.write(f"{SECRET_MARK}\n{digits}\n")


def refuse_results(path: Path, what: str) -> None:
    """Raise UserError if `path` lies in a folder named results: results are handed on, secrets are not."""
    if "results" in path.resolve().parent.parts:
        raise UserError(
            f"{path}: {what} would lie inside a results folder; set privacy.key_file to a place outside, such as "
            "private/pseudonym.key."
        )


def fingerprint_of(key: bytes) -> str:
    """Give a fingerprint by which two runs show that they had the same key, 16 hexadecimal digits.

    It reveals nothing of the key, which is 256 random bits: a keyed digest of a fixed text (HMAC, RFC 2104).
    """
    return hmac.new(key, b"yardband: the key of a run", hashlib.sha256).hexdigest()[:16]
