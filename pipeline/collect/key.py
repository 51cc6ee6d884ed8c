"""The secret key file of a study: making and reading it (an edge module)."""

import os
import re
import secrets
from pathlib import Path

from pipeline.errors import UserError
from pipeline.study import DEMO_STUDY

DEMO_MARK = "# yardband demo key: public, for the demo study only"
SECRET_MARK = "# yardband key: secret, keep it out of results and of e-mail"

_KEY_BYTES = 32
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
        If the file is missing or malformed, is the public demo key while the study isn't the demo, or is a secret
        key that others than its owner can read.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
        mode = path.stat().st_mode
    except FileNotFoundError:
        raise UserError(f"{path}: there is no key file; make one with: yardband key STUDY") from None
    except UnicodeDecodeError:
        lines, mode = [], 0
    except OSError as error:
        raise UserError(f"{path}: the key file can't be read ({error.strerror}); mend its permissions.") from None
    mark, digits = (lines[0].strip(), lines[1].strip()) if len(lines) == 2 else ("", "")
    if mark not in (DEMO_MARK, SECRET_MARK) or not _HEX.match(digits):
        raise UserError(
            f"{path}: this is no key file; it needs a marking line and a line of 64 hex digits. Restore it from "
            "your copy; a new key would change every pseudonym."
        )
    if mark == DEMO_MARK and study != DEMO_STUDY:
        raise UserError(
            f"{path}: this is the public demo key and the study {study!r} is not the demo; remove the file and make "
            "a key with: yardband key STUDY"
        )
    if mark == SECRET_MARK and mode & _OTHERS:
        raise UserError(f"{path}: others than its owner can read the key; mend it with: chmod 600 {path}")
    return bytes.fromhex(digits)


def make_key(path: Path) -> None:
    """Make a new secret key file, readable by its owner alone, and its folder.

    Raises
    ------
    UserError
        If there is a file already, the place is inside the results, or it can't be written.
    """
    refuse_results(path, "the key")
    text = f"{SECRET_MARK}\n{secrets.token_hex(_KEY_BYTES)}\n"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # Made with its mode, so that there is no moment at which others can read it.
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise UserError(
            f"{path}: there is a key already and it stays; with another one every pseudonym would change."
        ) from None
    except OSError as error:
        raise UserError(f"{path}: the key can't be written ({error.strerror}); mend the folder.") from None
    with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
        file.write(text)


def refuse_results(path: Path, what: str) -> None:
    """Raise UserError if `path` lies in a folder named results: results are handed on, secrets are not."""
    if "results" in path.resolve().parent.parts:
        raise UserError(
            f"{path}: {what} would lie inside a results folder; set privacy.key_file to a place outside, such as "
            "private/pseudonym.key."
        )
