"""Reading a YAML file of settings with the line of every key (an edge module)."""

from pathlib import Path
from typing import Any

import yaml

from pipeline.configuration.sentences import Place, shown
from pipeline.edge.small_files import read_small
from pipeline.errors import UserError

TAG = "tag:yaml.org,2002:"
NUMBERED: tuple[Place, ...] = (("goals", "carry_yd"),)  # places whose keys are numbers

# Far above any setting: 10,000 logs named one by one are 60,000 events; the parser takes a second for 50,000.
_MOST_DEPTH = 50
_MOST_EVENTS = 100_000


def read_yaml(path: Path, mend_missing: str) -> tuple[Any, dict[Place, int]]:
    """Read a YAML file whose keys are words, each once.

    Parameters
    ----------
    path : Path
    mend_missing : str
        What to do where there is no such file, as a clause.

    Returns
    -------
    tuple of Any and dict
        The value, and the line (from 1) of every key and list item by its place, such as ("logs", 0, "files").

    Raises
    ------
    UserError
        If the file can't be read or is no YAML, or a key is no word or stands twice in one place.
    """
    content = read_small(path, f"there is no such file; {mend_missing}.")
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError:
        raise UserError(f"{path}: its text isn't UTF-8; save it as UTF-8.") from None
    if text.startswith("\ufeff\ufeff"):
        raise UserError(f"{path}: begins with two byte-order marks; save it again as UTF-8, with one or none.")
    try:
        _refuse_endless(path, text)
        value = yaml.safe_load(text)
        tree = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.YAMLError as error:
        raise UserError(f"{path}: {_syntax(error)}") from None
    except (ValueError, RecursionError):
        # A date that no calendar has, a number too long, brackets without end.
        raise UserError(f"{path}: holds a value that can't be read; put dates and long numbers in quotes.") from None
    lines: dict[Place, int] = {}
    if tree is not None:
        _walk(path, tree, (), lines)
    return value, lines


def _refuse_endless(path: Path, text: str) -> None:
    """Raise UserError at what takes minutes or memory without end to fill in; event by event, so before it does."""
    depth = 0
    for number, event in enumerate(yaml.parse(text, Loader=yaml.SafeLoader)):
        # Aliases of aliases grow without end where they are filled in.
        if isinstance(event, yaml.AliasEvent):
            raise UserError(f"{path}: a value refers to another by a star; write the value out.")
        # Filling them in may fail in many ways.
        if getattr(event, "tag", None) is not None:
            raise UserError(f"{path}: {_tagged(event.start_mark)}")
        depth += isinstance(event, yaml.CollectionStartEvent) - isinstance(event, yaml.CollectionEndEvent)
        if depth > _MOST_DEPTH:
            raise UserError(
                f"{path}: nests values more than {_MOST_DEPTH} deep, in brackets or by indentation; no setting does."
            )
        if number > _MOST_EVENTS:
            raise UserError(f"{path}: holds more than {_MOST_EVENTS:,} words and signs; no setting needs that.")


def _tagged(mark: Any) -> str:
    near = f" near line {mark.line + 1}" if mark else ""
    return f"has a tag{near}, a word that begins with an exclamation mark; no tag is used here, write the value alone."


def _syntax(error: yaml.YAMLError) -> str:
    mark = getattr(error, "problem_mark", None)
    near = f" near line {mark.line + 1}" if mark else ""
    problem = str(getattr(error, "problem", ""))
    if isinstance(error, yaml.reader.ReaderError):
        return "holds characters that can't be seen, such as NUL; save it as plain text."
    if "for the tag" in problem or "undefined tag" in problem:
        return _tagged(mark)
    if "'\\t'" in problem:
        return f"isn't valid YAML{near}; it has a tab where spaces belong."
    if "another document" in problem:
        return f"holds a second document{near}; leave out the line of three dashes."
    return f"isn't valid YAML{near}; check indentation, quotes and colons."


def _walk(path: Path, node: yaml.Node, place: Place, lines: dict[Place, int]) -> None:
    if isinstance(node, yaml.SequenceNode):
        for index, item in enumerate(node.value):
            lines[(*place, index)] = item.start_mark.line + 1
            _walk(path, item, (*place, index), lines)
    if not isinstance(node, yaml.MappingNode):
        return
    for key, item in node.value:
        line = key.start_mark.line + 1
        if key.tag != f"{TAG}str" and not (place in NUMBERED and key.tag in (f"{TAG}int", f"{TAG}float")):
            written = getattr(key, "value", "")
            raise UserError(f"{path}: line {line}: the key {written!r} isn't a word; put it in quotes or correct it.")
        here = (*place, str(key.value))
        if here in lines:
            raise UserError(f"{path}: line {line}: the key {shown(here)!r} is in line {lines[here]} too; keep one.")
        lines[here] = line
        _walk(path, item, here, lines)
