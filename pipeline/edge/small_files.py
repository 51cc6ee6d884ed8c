"""Reading small files that a person names; a pipe would wait, and a device may never end (an edge module)."""

from pathlib import Path

from pipeline.errors import UserError

MOST_BYTES = 1_000_000  # of a file that people write by hand

_SHOWN = 300  # characters of a path


def read_small(path: Path, missing: str, most_bytes: int = MOST_BYTES) -> bytes:
    """Read a small plain file.

    Parameters
    ----------
    path : Path
    missing : str
        What to say where there is no such file.
    most_bytes : int

    Raises
    ------
    UserError
        If there is none, it is a folder, a pipe or a device, it is larger, or it can't be read.
    """
    shown = shown_path(path)
    if "\0" in str(path):
        raise UserError(f"{shown}: no file can have this name; correct it.")
    try:
        if not path.exists():
            raise UserError(f"{shown}: {missing}")
        if not path.is_file():
            raise UserError(f"{shown}: it is a folder, a pipe or a device; name a plain file.")
        with path.open("rb") as file:
            content = file.read(most_bytes + 1)
    except OSError as error:
        raise UserError(f"{shown}: can't be read ({error.strerror}); correct its path or its permissions.") from None
    if len(content) > most_bytes:
        raise UserError(f"{shown}: it is larger than {most_bytes:,} bytes, so it is another file; correct the name.")
    return content


def shown_path(path: Path) -> str:
    """Write a path so that it can be printed in one line, whatever its name holds."""
    text = str(path)
    text = text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."
    return text if text.isprintable() else ascii(text)
