"""Describe every key of study.yaml and of layouts, from the models: `python docs/make/configuration_page.py`.

It prints docs/configuration.md.
"""

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel

from pipeline.configuration.layouts import Layout
from pipeline.configuration.study import Study
from pipeline.markdown import markdown_lines
from pipeline.units import unit_of

HEAD = """\
# Configuration

Every key of a study's `study.yaml` and of the layouts of its logs. This page follows from the models in
`pipeline/configuration/`; after a change there, make it again:

```sh
python docs/make/configuration_page.py > docs/configuration.md
```

A key that is not here is refused, with the nearest one. `[]` stands for every entry of a list, `COLUMN` for the name of
a column. `yardband check STUDY` lists every problem at once.
"""
IN_STUDY = "`study` and `logs` are needed; every other key has a default.\n"
IN_LAYOUTS = """\
How a log is written and where its columns are. The layout of a speed log has the same keys; the columns of both are in
[columns.md](columns.md).
"""
HEADINGS = ("key", "type", "unit", "default", "values", "meaning")
_TYPES = {"string": "text", "number": "number", "integer": "whole number", "boolean": "true or false"}

Schema = dict[str, Any]


def document() -> str:
    """Write the page."""
    parts = [HEAD]
    for heading, about, model in (("study.yaml", IN_STUDY, Study), ("Layouts", IN_LAYOUTS, Layout)):
        parts += [f"## {heading}\n", about, markdown_lines(HEADINGS, rows_of(model))]
    return "\n".join(parts)


def rows_of(model: type[BaseModel]) -> Iterator[tuple[str, ...]]:
    """Give a row of `HEADINGS` for every key, those of parts after that of the whole."""
    schema = model.model_json_schema()
    yield from _rows(schema, schema.get("$defs", {}), "")


def _rows(schema: Schema, parts: Schema, prefix: str) -> Iterator[tuple[str, ...]]:
    for key, one in schema["properties"].items():
        name, plain = f"{prefix}{key}", _without_null(one)
        part, suffix = _part(plain, parts)
        if part is None or suffix:
            needed = "needed" if key in schema.get("required", ()) else _default(one.get("default"))
            unit = one.get("unit", unit_of(key))
            yield f"`{name}`", _type(plain), unit, needed, _values(plain), one["description"]
        if part is not None:
            yield from _rows(part, parts, f"{name}{suffix}.")


def _without_null(one: Schema) -> Schema:
    """Give what a key holds if it holds anything."""
    choices: list[Schema] = one.get("anyOf", [one])
    return next(choice for choice in choices if choice.get("type") != "null")


def _part(one: Schema, parts: Schema) -> tuple[Schema | None, str]:
    """Give the keys that belong to a key, and what stands between: a list's or a mapping's entries."""
    for held, suffix in ((one, ""), (one.get("items"), "[]"), (one.get("additionalProperties"), ".COLUMN")):
        if isinstance(held, dict) and "$ref" in held:
            found: Schema = parts[held["$ref"].rpartition("/")[2]]
            return found, suffix
    return None, ""


def _type(one: Schema) -> str:
    if one.get("type") == "array":
        return "list" if "$ref" in one["items"] else f"list, {_type(one['items'])}"
    if one.get("type") == "object":
        held = one["additionalProperties"]
        return "mapping" if "$ref" in held else f"mapping, {_type(held)}"
    return "word" if "enum" in one else _TYPES[one["type"]]


def _default(value: Any) -> str:
    if value is None or value in ({}, [], ()):
        return "none"
    if isinstance(value, list | tuple):
        return ", ".join(_default(one) for one in value)
    return f"`{value}`" if isinstance(value, str) else f"{value:g}"


def _values(one: Schema) -> str:
    held = one.get("items") or one.get("additionalProperties") or one
    held = held if isinstance(held, dict) else one
    if "enum" in held:
        return ", ".join(f"`{word}`" for word in held["enum"])
    if "minimum" in held and "maximum" in held:
        return f"{held['minimum']} to {held['maximum']}"
    words = {
        "minimum": "at least",
        "exclusiveMinimum": "more than",
        "maximum": "at most",
        "exclusiveMaximum": "less than",
    }
    told = [f"{text} {held[name]}" for name, text in words.items() if name in held]
    if "maxLength" in held:
        told.append("one character" if held["maxLength"] == 1 else f"at most {held['maxLength']} characters")
    return ", ".join(told)


if __name__ == "__main__":
    print(document(), end="")
