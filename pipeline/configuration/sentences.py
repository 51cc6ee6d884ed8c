"""What is wrong with a configuration, in plain sentences: the key, its line, what was found, the mend (pure)."""

import difflib
import re
from typing import Any, get_args

from pydantic import BaseModel

Place = tuple[str | int, ...]


def shown(place: Place) -> str:
    """Write a place as users know it: logs[0].files."""
    return "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in place).lstrip(".")


def line_of(lines: dict[Place, int], error: dict[str, Any]) -> str:
    """Name the line of the nearest place that the file really has; nothing for the file as a whole."""
    loc = tuple(error["loc"])
    known = [lines[loc[:depth]] for depth in range(len(loc), 0, -1) if loc[:depth] in lines]
    return f"line {known[0]}: " if known else ""


def common(one: dict[str, Any], other: dict[str, Any]) -> list[Any]:
    """Give the parts of the place that two pydantic errors share."""
    return [a for a, b in zip(one["loc"], other["loc"], strict=False) if a == b]


# What pydantic's errors of a type mean to someone who writes YAML.
_PLAIN = {
    "model_type": "should hold keys of its own",
    "dict_type": "should hold keys of its own",
    "tuple_type": "should be a list",
    "string_type": "should be text, in quotes if it looks like a number or a date",
    "float_type": "should be a number",
    "float_parsing": "should be a number, written with a point",
    "int_type": "should be a whole number",
    "int_parsing": "should be a whole number",
    "int_from_float": "should be a whole number",
    "string_too_short": "should hold a text",
}
_SHOWN = 60  # characters of a wrong value
# Keys that earlier versions had, and what there is now instead.
_RETIRED = {"report": "the academy's page prints the sheet of any golfer"}


def sentence(model: type[BaseModel], error: dict[str, Any]) -> str:
    """Turn one pydantic error into a sentence with the key, what was found and the mend."""
    loc = tuple(error["loc"])
    key = shown(loc)
    if error["type"] == "extra_forbidden" and key in _RETIRED:
        return f"the key {key!r} isn't used any more: {_RETIRED[key]}. Delete it."
    if error["type"] == "extra_forbidden":
        valid = _fields_at(model, loc[:-1])
        near = _elsewhere(model, str(loc[-1])) or nearest(str(loc[-1]), valid)
        return f"unknown key {key!r}{near}; valid here: {', '.join(valid)}."
    if error["type"] == "missing":
        return f"the key {key!r} is missing; add it."
    message = str(error["msg"]).removeprefix("Value error, ")
    if error["type"] == "value_error":
        return f"{key}: {message}." if key else f"{message}."
    message = _PLAIN.get(error["type"], message[:1].lower() + message[1:])
    found = error.get("input")
    near = nearest(str(found), re.findall("'([^']+)'", message)) if error["type"] == "literal_error" else ""
    written = "empty" if found is None else repr(found)
    return f"{key}: {message}, but it is {written[:_SHOWN]}{'...' if len(written) > _SHOWN else ''}{near}."


def _elsewhere(model: type[BaseModel], word: str) -> str:
    """Say where a key of that name belongs, if it is a key of one of the model's parts."""
    parts = {name: _model_in(one.annotation) for name, one in model.model_fields.items()}
    homes = [f"{name}.{word}" for name, part in parts.items() if part is not None and word in part.model_fields]
    return f" (did you mean {homes[0]!r}?)" if homes else ""


def _fields_at(model: type[BaseModel], loc: tuple[Any, ...]) -> list[str]:
    here: Any = model
    for part in loc:
        if isinstance(part, int):
            continue
        fields = getattr(here, "model_fields", None)
        if fields is None:
            continue
        if part in fields:
            here = _model_in(fields[part].annotation)
    return [field.alias or name for name, field in here.model_fields.items()]


def _model_in(annotation: Any) -> Any:
    """Find the pydantic model inside an annotation such as tuple[LogEntry, ...]."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in get_args(annotation):
        found = _model_in(inner)
        if found is not None:
            return found
    return None


def nearest(word: str, valid: Any) -> str:
    """Name the valid word that is spelt most like `word`, as a parenthesis; empty if none is."""
    close = difflib.get_close_matches(word, list(valid), n=1, cutoff=0.5)
    return f" (did you mean {close[0]!r}?)" if close else ""
