"""A draft as people read it: layouts and study.yaml with what is open as comments, and what is told (pure)."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.collect.drafting.drafted import FLIGHT, Choice, Draft, Place

_YAML_WORD = {True: "sure", False: "not sure"}


@dataclass(frozen=True)
class LogKind:
    """Logs of one kind, as study.yaml has them.

    Attributes
    ----------
    files : tuple of str
        Patterns, an entry each.
    layout : str or None
        The layout's path inside the study; None where the log's columns are the standard ones.
    group : str or None
        What a person said that their golfers are.
    has : frozenset of str
        Standard columns that the logs have, so that no entry needs to say them.
    """

    files: tuple[str, ...]
    layout: str | None
    group: str | None = None
    has: frozenset[str] = frozenset()


def quoted(text: str) -> str:
    """Write a text so that YAML takes it for nothing else, on one line whatever signs it holds."""
    return "".join(
        sign if sign.isprintable() else json.dumps(sign)[1:-1] for sign in json.dumps(text, ensure_ascii=False)
    )


def layout_text(draft: Draft, sources: Sequence[str]) -> str:
    """Write a draft as a layout file; what isn't sure stands in comments."""
    raw = draft.raw_layout()
    lines = [f"# Drafted by yardband new from {_listed(sources)}. Each line says how sure it is."]
    for key, value in raw.items():
        if key not in ("join", "rows", "columns"):
            lines.append(f"{key}: {quoted(value) if isinstance(value, str) else value}")
    if draft.sheets:
        lines.append(f"# Which sheet holds the drives: {', '.join(map(quoted, _sheets(draft)))}? Write its name above.")
    if draft.join:
        pairs = (f"{quoted(name)}: [{', '.join(map(quoted, parts))}]" for name, parts in draft.join.items())
        lines.append(f"join: {{{', '.join(pairs)}}}  # columns that stand in parts, put together")
    if draft.zone_open:
        lines.append("# timezone: Europe/Vienna  # the zone of its times, which have no offset; name yours if you can")
    if draft.rows is not None:
        lines += _rows_lines(draft)
    lines.append("columns:")
    for name, choice in draft.columns.items():
        lines += _column_lines(name, choice)
    for name in draft.missing():
        lines.append(f"  # {name}: {{from: ...}}  # required, and nothing in the log looks like it")
    lines += [f"# {note}" for note in draft.notes]
    return "\n".join(lines) + "\n"


def _sheets(draft: Draft) -> list[str]:
    return [*filter(None, [draft.sheet]), *draft.sheets]


def _listed(sources: Sequence[str]) -> str:
    more = f" and {len(sources) - 1} more" if len(sources) > 1 else ""
    return f"{json.dumps(sources[0])}{more}"


def _rows_lines(draft: Draft) -> list[str]:
    rows = draft.rows
    assert rows is not None
    if rows.sure:
        taken = ", ".join(map(quoted, rows.take))
        return [f"rows: {{column: {quoted(rows.column)}, take: [{taken}]}}  # sure: other clubs are left out"]
    words = ", ".join(map(quoted, (*rows.take, *rows.doubtful)))
    return [
        f"# Which of {words} is the driver? Write all that are between the brackets:",
        f"rows: {{column: {quoted(rows.column)}, take: []}}",
    ]


def _column_lines(name: str, choice: Choice) -> list[str]:
    if choice.sure:
        return [f"  {name}: {_place(choice.options[0])}  # sure: {choice.why}"]
    head = f"  # {name} isn't sure: {choice.why}. Take the # off the right line:"
    return [head, *(f"  # {name}: {_place(option)}" for option in choice.options)]


def _place(place: Place) -> str:
    return f"{{{', '.join(f'{key}: {quoted(value)}' for key, value in place.as_layout().items())}}}"


def study_text(name: str, kinds: Sequence[LogKind], title: str | None, goals: Mapping[float, float]) -> str:
    """Write study.yaml; what nobody said stands in comments."""
    lines = [f"study: {name}", f"title: {quoted(title)}" if title else "# title: Hill School  # what pages print"]
    lines.append("logs:")
    for kind in kinds:
        for files in kind.files:
            lines.append(f"  - files: {quoted(files)}")
            if kind.layout is not None:
                lines.append(f"    layout: {quoted(kind.layout)}")
            if kind.group is not None:
                lines.append(f"    group: {quoted(kind.group)}")
            lines += [f"    # {key}" for key in _entry_keys(kind)]
    if goals:
        pairs = ", ".join(f"{band:g}: {carry:g}" for band, carry in goals.items())
        lines.append(f"goals: {{carry_yd: {{{pairs}}}}}")
    else:
        lines.append("# goals: {carry_yd: {90: 230}}  # carry that golfers of the 90 mph band work toward")
    return "\n".join(lines) + "\n"


def _entry_keys(kind: LogKind) -> list[str]:
    keys = {
        "site": "site: bay  # where these drives were hit",
        "device": "device: unit-A  # what measured them",
        "group": "group: juniors  # whose golfers they are",
        "temp_c": "air: {altitude_m: 12, temp_c: 18}  # the air there, in m and deg C",
    }
    said = kind.has | ({"group"} if kind.group is not None else set())
    return [text for name, text in keys.items() if name not in said]


def told(draft: Draft, sources: Sequence[str], layout: str | None) -> list[str]:
    """Say of one kind of log what was drafted, with how sure each part is."""
    lines = [f"{_listed(sources)}: {'standard columns, no layout needed' if layout is None else layout}"]
    width = max((len(name) for name in draft.columns), default=0)
    for name, choice in draft.columns.items():
        places = " or ".join(option.text() for option in choice.options)
        lines.append(f"  {name:<{width}}  {places}: {_YAML_WORD[choice.sure]}, {choice.why}")
    if draft.rows is not None and draft.rows.sure:
        words = " or ".join(map(repr, draft.rows.take))
        lines.append(f"  rows where {draft.rows.column!r} is {words}: sure; those of other clubs are left out")
    return lines


def left_open(draft: Draft, where: str) -> list[str]:
    """Say what a person must decide before a run, a sentence each, with where."""
    lines = [
        f"{where}: choose where {name} comes from; {draft.columns[name].why}.{_or_none(draft, name)}"
        for name in draft.undecided()
    ]
    lines += [f"{where}: {name} is required, and nothing in the log looks like it." for name in draft.missing()]
    if draft.sheets:
        words = " or ".join(map(repr, _sheets(draft)))
        lines.append(f"{where}: say which sheet holds the drives, {words}, under 'sheet'.")
    if draft.rows is not None and not draft.rows.sure:
        words = " or ".join(map(repr, draft.rows.doubtful))
        what = f"say whether {words} in {draft.rows.column!r} is the driver too" if draft.rows.take else None
        what = what or f"say which word in {draft.rows.column!r} is the driver"
        lines.append(f"{where}: {what}, under 'rows'.")
    return lines


def _or_none(draft: Draft, name: str) -> str:
    return " Leave it as it is if the log has no launch and no spin." if draft.by_hand and name in FLIGHT else ""


def could_add(draft: Draft, *, has_layout: bool) -> list[str]:
    """Say what a person may add or should look at, a sentence each; a zone can stand in a layout alone."""
    optional = [name for name, choice in draft.columns.items() if not choice.sure and name not in draft.undecided()]
    lines = list(draft.notes)
    if optional:
        lines.append(f"{', '.join(optional)} may be there too; take the # off what is right.")
    if draft.zone_open and has_layout:
        lines.append("name the time zone if your logs come from more than one.")
    return lines
