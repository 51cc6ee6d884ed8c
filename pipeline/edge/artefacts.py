"""Files that pass between steps, each with a class of its own: read and checked, or written whole (an edge module).

A class is a dataclass with types; arrays are lists in JSON. What is not such a file is bad input, in one sentence.
"""

import hashlib
import json
import platform
from collections.abc import Sequence
from importlib.metadata import version
from math import isfinite
from pathlib import Path
from typing import Any, TypeVar
from zipfile import BadZipFile

import numpy as np
from pydantic import TypeAdapter, ValidationError

from pipeline.edge.files import whole, write_json
from pipeline.errors import UserError
from pipeline.statistics.arrays import plain_values

Form = TypeVar("Form")

STAMP = "stamp"  # the name of a digest beside arrays
MEND = "delete it and run the workflow again"


def read_json(path: str | Path) -> Any:
    """Read a JSON file that the workflow made.

    Raises
    ------
    UserError
        If it is missing or isn't JSON.
    """
    try:
        return json.loads(Path(path).read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise UserError(f"{path}: the file is missing; run the workflow again, it makes it.") from None
    except ValueError:
        raise UserError(f"{path}: can't be read as JSON; {MEND}.") from None


def read_artefact(path: str | Path, form: type[Form]) -> Form:
    """Read a JSON file that a step made as the class that belongs to it.

    Parameters
    ----------
    path : str or Path
    form : type
        A dataclass, such as `pipeline.fit.model.FittedModel`.

    Raises
    ------
    UserError
        If the file is missing, isn't JSON or isn't of that form; the first key at fault is named.
    """
    try:
        found: Form = TypeAdapter(form).validate_python(read_json(path))
    except ValidationError as error:
        place = ".".join(str(part) for part in error.errors()[0]["loc"] if isinstance(part, str))
        where = f" (at {place})" if place else ""
        raise UserError(f"{path}: isn't what the workflow writes there{where}; {MEND}.") from None
    return found


def write_artefact(path: str | Path, value: Any) -> None:
    """Write a dataclass as JSON with sorted keys and full floats, whole or not at all."""
    write_json(Path(path), plain_values(value))


def write_boundless(path: str | Path, value: Any) -> None:
    """Write a dataclass some of whose numbers may be infinite or none: as texts, which `read_artefact` takes."""
    write_json(Path(path), _spelled(plain_values(value)))


def _spelled(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _spelled(part) for name, part in value.items()}
    if isinstance(value, list):
        return [_spelled(part) for part in value]
    return str(value) if isinstance(value, float) and not isfinite(value) else value


def read_arrays(path: str | Path) -> dict[str, np.ndarray[Any, Any]]:
    """Read a file of named arrays (npz).

    Raises
    ------
    UserError
        If it is missing or damaged.
    """
    try:
        # Opened here, since numpy leaves a damaged file open.
        with Path(path).open("rb") as file, np.load(file) as arrays:
            return dict(arrays)
    except FileNotFoundError:
        raise UserError(f"{path}: the file is missing; run the workflow again, it makes it.") from None
    except (OSError, ValueError, EOFError, BadZipFile):
        raise UserError(f"{path}: can't be read as arrays; {MEND}.") from None


def write_arrays(path: str | Path, arrays: dict[str, np.ndarray[Any, Any]]) -> None:
    """Write named arrays (npz), whole or not at all."""
    with whole(Path(path)) as part, part.open("wb") as file:
        np.savez(file, allow_pickle=False, **arrays)


def stamp_of(files: Sequence[str | Path], *choices: Any) -> str:
    """Digest what files hold and what was chosen (anything that JSON takes): all that a result follows from."""
    digest = hashlib.sha256(json.dumps(choices, sort_keys=True).encode())
    for path in files:
        digest.update(hashlib.sha256(Path(path).read_bytes()).digest())
    return digest.hexdigest()


def write_stamped(path: Path, arrays: dict[str, np.ndarray[Any, Any]], stamp: str) -> None:
    """Write named arrays with a digest of all that they follow from, for the next run to take if it has the same."""
    write_arrays(path, {**arrays, STAMP: np.array(_with_versions(stamp))})


def read_stamped(path: Path, stamp: str) -> dict[str, np.ndarray[Any, Any]]:
    """Read what `write_stamped` wrote under the same stamp; nothing if there is any doubt, or for an empty stamp."""
    try:
        arrays = read_arrays(path)
    except UserError:  # it isn't there, or is damaged: then it is made again
        return {}
    return arrays if stamp and str(arrays.pop(STAMP, "")) == _with_versions(stamp) else {}


def _with_versions(stamp: str) -> str:
    """Add what calculates: another version may give other last digits."""
    return " ".join([stamp, platform.python_version(), *(version(name) for name in ("numpy", "scipy"))])
