"""The array of floats that computing takes and returns; in JSON it is a list, NaN being null."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, TypeAlias

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    import polars as pl


class _AsList:
    """Tells pydantic how an array of one type stands in JSON."""

    def __init__(self, kind: type[np.generic]) -> None:
        self.kind = kind

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        from pydantic_core import core_schema  # not needed where nothing is read or written

        return core_schema.no_info_plain_validator_function(
            self.array_of,
            serialization=core_schema.plain_serializer_function_ser_schema(_plain),
        )

    def array_of(self, value: Any) -> npt.NDArray[Any]:
        """Make the array of a list as it stands in JSON; raise ValueError, which pydantic takes up, for all else."""
        if not isinstance(value, list):
            raise ValueError("not a list")
        found = np.array(value)  # raises ValueError where its rows are of unequal lengths
        if found.size and not _fits(found, np.dtype(self.kind)):
            raise ValueError("not all of one kind")
        return found.astype(self.kind)


def _fits(found: npt.NDArray[Any], kind: np.dtype[Any]) -> bool:
    """Say whether values can stand in an array of a kind: flags in one of flags, numbers and null in one of floats."""
    if kind.kind == "b" or found.dtype.kind != "O":
        return found.dtype.kind in {"b": "b", "f": "iuf"}[kind.kind]
    return all(value is None or type(value) in (int, float) for value in found.flat)


def _plain(values: npt.NDArray[Any]) -> Any:
    if values.dtype.kind != "f" or np.isfinite(values).all():
        return values.tolist()
    known = values.astype(object)
    known[~np.isfinite(values)] = None
    return known.tolist()


# Floats of a temporary array that memory already at hand holds: larger ones are made anew by the system each time.
SMALL = 16_384

Array = Annotated[npt.NDArray[np.float64], _AsList(np.float64)]
Flags = Annotated[npt.NDArray[np.bool_], _AsList(np.bool_)]
Values = npt.NDArray[Any]  # of numbers or of words

# What a file of results holds: a table, an array, or the numbers of a text in their order.
Figures: TypeAlias = "pl.DataFrame | Values | tuple[str, ...]"


def flattened(groups: Mapping[str, Mapping[str, Values]]) -> dict[str, Values]:
    """Give named arrays of several groups under one name each, for a file; no group's name has a space."""
    return {f"{group} {name}": values for group, arrays in groups.items() for name, values in arrays.items()}


def grouped(arrays: Mapping[str, Values]) -> dict[str, dict[str, Values]]:
    """Rebuild what `flattened` gave, but for groups without any array."""
    found: dict[str, dict[str, Values]] = {}
    for label, values in arrays.items():
        group, _, name = label.partition(" ")
        found.setdefault(group, {})[name] = values
    return found


def plain_values(value: Any) -> Any:
    """Turn a dataclass with arrays into plain values for JSON: dicts and lists, NaN being None."""
    from pydantic import TypeAdapter

    return TypeAdapter(type(value)).dump_python(value, mode="json")
