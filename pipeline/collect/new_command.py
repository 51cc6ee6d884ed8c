"""What `yardband new` does: draft a study from its logs, make its key and check it (an edge module)."""

import glob
import gzip
import os
import re
import shlex
import zlib
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date
from pathlib import Path

import click
import polars as pl

from pipeline.collect.check_command import survey
from pipeline.collect.drafting.asked import Asker, ask, goals_of
from pipeline.collect.drafting.draft import draft_layout
from pipeline.collect.drafting.draft_text import LogKind, could_add, layout_text, left_open, study_text, told
from pipeline.collect.drafting.drafted import Draft
from pipeline.collect.drafting.lexicon import read_header
from pipeline.collect.drafting.log_columns import marks_of
from pipeline.collect.drafting.shape import Shape, shape_of_cells, shape_of_text
from pipeline.collect.foreign import sheets_of
from pipeline.collect.key import make_key
from pipeline.collect.opened_log import LogRefusedError
from pipeline.collect.read import open_log
from pipeline.configuration.layouts import ColumnFrom, Layout
from pipeline.configuration.log_files import LOG_SUFFIXES
from pipeline.configuration.study import DEMO_STUDY, Bands, Study, folder_name
from pipeline.edge.files import write_text
from pipeline.errors import UserError

Say = Callable[[str], None]

# A layout shows in a log's first thousands of rows; the check reads the rest.
_READ_BYTES = 8 << 20
_READ_ROWS = 50_000
_BLANK_ROWS = 60  # above a workbook's title


def new_study(folder: Path, logs: Sequence[Path], asker: Asker | None, say: Say) -> list[str]:
    """Make a study of some logs.

    Parameters
    ----------
    folder : Path
        The study's folder, which holds the logs.
    logs : sequence of Path
        The logs, or folders of logs.
    asker : Asker or None
        Who decides what isn't sure; None leaves it open.
    say : callable
        Takes what is told, line by line.

    Returns
    -------
    list of str
        What must be decided or mended before a run, a sentence each; empty if the study is ready.

    Raises
    ------
    UserError
        If there is a study already, a log lies outside the folder or can't be read, or something can't be written.
    """
    if (folder / "study.yaml").exists():
        raise UserError(f"{folder / 'study.yaml'}: there is a study already, and it stays; name another folder.")
    sources = [_inside(folder, log) for log in _logs_of(logs)]
    kinds = _kinds(folder, list(dict.fromkeys(sources)))
    written, todo = [], []
    hints: dict[str, list[str]] = {}
    taken: set[str] = set()
    for shape, members in kinds:
        draft = draft_layout(shape, date.today())
        group = None
        if asker is not None:
            draft = ask(draft, asker, members[0])
            if "group" not in draft.columns:
                group = asker.say(
                    f"{members[0]}: a group that all its golfers belong to, such as juniors?", _no_problem
                )
        layout = None if _standard(draft) else _free_name(folder, members, taken)
        has = frozenset(name for name, choice in draft.columns.items() if choice.sure)
        written.append((LogKind(_patterns(folder, members), layout, group, has), draft, members))
        where = str(folder / (layout or "study.yaml"))
        todo += left_open(draft, where)
        for hint in could_add(draft, has_layout=layout is not None):
            hints.setdefault(hint, []).append(where)
        for line in told(draft, members, layout):
            say(line)
    title, goals = _asked_of_study(asker)
    for kind, draft, members in written:
        if kind.layout is not None:
            write_text(folder / kind.layout, layout_text(draft, members))
    write_text(folder / "study.yaml", study_text(_study_name(folder), [kind for kind, _, _ in written], title, goals))
    _keep_key(folder, say)
    for hint, places in hints.items():
        say(f"{', '.join(places)}: {hint}")
    left = _checked(folder, todo, say)
    named = shlex.quote(str(folder))
    say(f"Then type: yardband check {named}" if left else f"Next, type: yardband run {named}")
    return left


def _checked(folder: Path, todo: list[str], say: Say) -> list[str]:
    """Check the study; what is open explains itself, so that the check's own words on it aren't needed."""
    findings = survey(folder)
    for line in findings.told:
        say(line)
    return todo + [one for one in findings.problems if not (todo and "its layout names no header" in one)]


def _keep_key(folder: Path, say: Say) -> None:
    key = folder / Study.model_fields["privacy"].default.key_file
    if key.exists():
        say(f"{key}: the key that is there is used.")
        return
    make_key(key)
    say(f"{key}: created. Keep a copy in a safe place: without it, the same pseudonyms can't be made again.")


# --- which logs


def _logs_of(given: Sequence[Path]) -> list[Path]:
    found: list[Path] = []
    for path in given:
        if path.is_dir():
            inside = sorted(each for each in path.iterdir() if each.is_file() and _is_log(each))
            if not inside:
                raise UserError(f"{path}: there is no log in it; logs are csv, csv.gz, parquet or xlsx.")
            found += inside
        elif not path.is_file():
            raise UserError(f"{path}: there is no such log; correct the path.")
        elif not _is_log(path):
            raise UserError(f"{path}: it is none of {', '.join(LOG_SUFFIXES)}; convert it or leave it out.")
        else:
            found.append(path)
    return found


def _is_log(path: Path) -> bool:
    return path.name.lower().endswith(LOG_SUFFIXES)


def _inside(folder: Path, log: Path) -> str:
    """Give a log's path inside the study; a link inside it may lead anywhere, so links aren't followed."""
    try:
        place, inside = (Path(os.path.normpath(Path.cwd() / one)) for one in (log, folder))
        return place.relative_to(inside).as_posix()
    except ValueError:
        raise UserError(
            f"{log}: it lies outside {folder}, and a study reads only what is inside; move it to {folder / 'logs'}."
        ) from None


def _kinds(folder: Path, sources: Sequence[str]) -> list[tuple[Shape, list[str]]]:
    """Tell the kinds of logs apart, each with the rows of all its logs."""
    shapes: dict[tuple[object, ...], tuple[Shape, list[str]]] = {}
    read = [(source, shape_of_log(folder / source)) for source in sources]
    # Plain ASCII agrees with any encoding, so it comes after those that say which.
    for source, shape in sorted(read, key=lambda one: one[1].encoding == "ascii"):
        likeness = (marks_of(shape).decimal, *shape.likeness)
        alike = [key for key in shapes if key[1:] == likeness and shape.encoding in (key[0], "ascii")]
        if alike:
            first, members = shapes[alike[0]]
            shapes[alike[0]] = (first.with_rows_of(shape), [*members, source])
        else:
            shapes[(shape.encoding, *likeness)] = (shape, [source])
    return sorted(((shape, sorted(members)) for shape, members in shapes.values()), key=lambda one: one[1][0])


def shape_of_log(path: Path) -> Shape:
    """Find the shape of a log of any kind; raise UserError if it can't be read or holds no table."""
    name = path.name.lower()
    found: Shape | None
    try:
        if name.endswith(".parquet"):
            found = _shape_of_parquet(path)
        elif name.endswith(".xlsx"):
            found = _shape_of_workbook(path)
        else:
            found = shape_of_text(_beginning(path))
    except LogRefusedError as refusal:
        raise UserError(f"{path}: can't be used, {refusal}.") from None
    if found is None:
        where = "any of its sheets" if name.endswith(".xlsx") else "it"
        raise UserError(
            f"{path}: no table of drives was found in {where}; it needs a line of headers above rows with numbers."
        )
    return found


def _beginning(path: Path) -> bytes:
    try:
        with gzip.open(path) if path.name.lower().endswith(".gz") else path.open("rb") as file:
            content = file.read(_READ_BYTES)
    except (EOFError, zlib.error, gzip.BadGzipFile):
        raise LogRefusedError("it is cut short, damaged or not a gzip file; copy it again") from None
    except OSError as error:
        raise LogRefusedError(f"the file can't be read ({error.strerror}); correct its permissions") from None
    if not content:
        raise LogRefusedError("the file is empty; export it again")
    whole = len(content) < _READ_BYTES
    return content if whole else content[: content.rfind(b"\n") + 1]


def _any(skip_rows: int = 0, sheet: str | None = None) -> Layout:
    return Layout(skip_rows=skip_rows, sheet=sheet, columns={"golfer": ColumnFrom(source="golfer")})


def _shape_of_parquet(path: Path) -> Shape:
    with open_log(path, _any()) as opened:
        batches = opened.batches({f"c{place}": place for place in range(len(opened.headers))})
        cells = next(iter(batches), None)
        headers = tuple(header.strip() for header in opened.headers)
    if cells is None:
        raise LogRefusedError("it has no rows; export it again")
    return Shape("parquet", "ascii", ",", 0, 0, headers, ("",) * len(headers), cells.drop("ragged").head(_READ_ROWS))


def _shape_of_workbook(path: Path) -> Shape | None:
    """Find the sheet that holds a table of drives; where several do, the first of them and the others' names."""
    names = sheets_of(path)
    read = [(names[0], shape_of_cells(_sheet(path, names[0]), "workbook"))]
    for name in names[1:]:
        with suppress(LogRefusedError):  # a sheet of charts, or one that reaches too far, is no log
            read.append((name, shape_of_cells(_sheet(path, name), "workbook")))
    tables = [(name, shape) for name, shape in read if shape is not None]
    # A table without times, such as one of averages, holds no drives, unless there is no other.
    timed = [(name, shape) for name, shape in tables if _has_times(shape)] or tables
    if not timed:
        return None
    (first, shape), *others = timed
    plain = first == names[0] and not others
    return replace(shape, sheet=None if plain else first, sheets=tuple(name for name, _ in others))


def _has_times(shape: Shape) -> bool:
    return any(read_header(header).meaning == "struck_at" for header in shape.headers)


def _sheet(path: Path, name: str) -> list[list[str]]:
    """Read a sheet of a workbook, empty rows and all; none of one that has nothing at its beginning."""
    for skip in range(_BLANK_ROWS):
        try:
            with open_log(path, _any(skip, name)) as opened:
                width = len(opened.headers)
                rows = [[""] * width for _ in range(skip)] + [opened.headers]
                for batch in opened.batches({f"c{place}": place for place in range(width)}):
                    for number, _, *cells in batch.select("row", "ragged", pl.exclude("row", "ragged")).iter_rows():
                        rows += [[""] * width for _ in range(skip + number - len(rows))]
                        rows.append(["" if cell is None else str(cell) for cell in cells])
                return rows[:_READ_ROWS]
        except LogRefusedError as refusal:
            if "has no header" not in str(refusal):
                raise
    return []


# --- what is written


def _standard(draft: Draft) -> bool:
    """Tell whether a log needs no layout: it is written as standard logs are, and nothing is open."""
    raw = draft.raw_layout()
    if set(raw) != {"columns"} or draft.undecided() or draft.missing():
        return False
    plain = Layout.model_validate(raw)
    units = {name: next(iter(_standard_units(name)), None) for name in plain.columns}
    return all(
        one.source == name and one.format is None and one.unit in (None, units[name])
        for name, one in plain.columns.items()
    )


def _standard_units(name: str) -> Sequence[str]:
    from pipeline.units import units_of

    return list(units_of(name))


def _free_name(folder: Path, members: Sequence[str], taken: set[str]) -> str:
    """Name a layout after its logs, as no other is."""
    common = _common([Path(one).name.split(".")[0] for one in members])
    stem = re.sub(r"[^A-Za-z0-9]+", "_", _before_digits(common) or common).strip("_").lower() or "log"
    number = 1
    while True:
        name = f"layouts/{stem}{'' if number == 1 else f'_{number}'}.yaml"
        if name not in taken and not (folder / name).exists():
            taken.add(name)
            return name
        number += 1


def _patterns(folder: Path, members: Sequence[str]) -> tuple[str, ...]:
    """Find few patterns that match these logs and no other file."""
    places: dict[tuple[str, str], list[str]] = {}
    for member in members:
        name = Path(member).name
        suffix = next(one for one in LOG_SUFFIXES if name.lower().endswith(one))
        places.setdefault((Path(member).parent.as_posix(), name[-len(suffix) :]), []).append(member)
    found: list[str] = []
    for (parent, suffix), inside in places.items():
        before = "" if parent == "." else f"{glob.escape(parent)}/"
        prefix = _common([Path(one).name.removesuffix(suffix) for one in inside])
        tried = [f"{before}*{suffix}"] if before or len(inside) > 1 else []
        # Up to the digits, so that next quarter's log fits too.
        parts = (_before_digits(prefix), prefix) if len(inside) > 1 or _before_digits(prefix) != prefix else ()
        tried += [f"{before}{glob.escape(part)}*{suffix}" for part in parts if part]
        fitting = [one for one in tried if _matches(folder, one) == set(inside)]
        found += fitting[:1] or [glob.escape(one) for one in inside]
    return tuple(found)


def _common(names: Sequence[str]) -> str:
    """Give the beginning that all names share."""
    first, last = min(names), max(names)
    return first[: next((place for place, sign in enumerate(first) if last[place : place + 1] != sign), len(first))]


def _before_digits(name: str) -> str:
    return re.split(r"\d", name)[0]


def _matches(folder: Path, pattern: str) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.glob(pattern) if path.is_file()}


def _study_name(folder: Path) -> str:
    """Name the study after its folder, as a folder of results can be."""
    name = re.sub(r"[^A-Za-z0-9_.-]+", "-", Path.cwd().joinpath(folder).resolve().name).strip("-._")[:60]
    try:
        return folder_name(name) if name.lower() != DEMO_STUDY else f"my-{name}"
    except ValueError:
        return "study"


# --- what is asked


def _no_problem(_: str) -> str | None:
    return None


def _asked_of_study(asker: Asker | None) -> tuple[str | None, dict[float, float]]:
    if asker is None:
        return None, {}
    title = asker.say("The academy's name, as pages print it?", _title_problem)
    goals = asker.say("Goals for carry by band of club speed, such as 90: 230, 100: 250?", _goals_problem)
    return title, goals_of(goals) if goals else {}


def _title_problem(title: str) -> str | None:
    return None if len(title) <= 60 and title.isprintable() else "One line of at most 60 characters, please."


def _goals_problem(text: str) -> str | None:
    centers = Bands().centres
    try:
        goals = goals_of(text)
    except ValueError:
        return "Write them as in 90: 230, 100: 250."
    strange = [f"{band:g}" for band in goals if band not in centers]
    if strange:
        return f"{', '.join(strange)} isn't the center of a band; use {', '.join(f'{one:g}' for one in centers)}."
    far = [f"{carry:g}" for carry in goals.values() if not 20 <= carry <= 400]
    return f"{', '.join(far)} yd isn't a carry; use 20 to 400." if far else None


class Terminal:
    """A person at this terminal."""

    def choose(self, question: str, options: Sequence[str]) -> int | None:
        """Print the options with numbers and ask for one; 0 leaves it open."""
        click.echo(question)
        for number, option in enumerate(options, 1):
            click.echo(f"  {number}  {option}")
        while True:
            answer: str = click.prompt("Number, or 0 to decide later", default="0").strip()
            if answer.isascii() and answer.isdigit() and int(answer) <= len(options):
                return int(answer) - 1 if int(answer) else None
            click.echo(f"Type a number from 0 to {len(options)}, please.")

    def say(self, question: str, problem: Callable[[str], str | None]) -> str | None:
        """Ask until the answer has no problem; an empty one leaves it open."""
        while True:
            answer: str = click.prompt(f"{question} Press Enter to skip", default="", show_default=False).strip()
            if not answer:
                return None
            if (told_problem := problem(answer)) is None:
                return answer
            click.echo(told_problem)
