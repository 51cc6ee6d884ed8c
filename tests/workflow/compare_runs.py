"""Compare the results of two runs figure by figure: `python tests/workflow/compare_runs.py OLD NEW`.

Every file of OLD must be in NEW with the same figures, or stand in `RENAMED_FILES`; columns may be renamed
(`RENAMED_COLUMNS`) and others added. Prints what differs and exits with 1 if anything does. What is compared: tables
cell by cell (csv, parquet, xlsx, databases), arrays, the numbers of json files whatever their form, pictures pixel by
pixel, and the numbers of pages and texts in their order. Ends of intervals and the like that rest on resamples of
golfers may differ as `RESAMPLED` says.
"""

import json
import re
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import polars as pl
from matplotlib.image import imread

RELATIVE, ABSOLUTE = 1e-8, 1e-8

# The lines of each resample are solved exactly now; a search came within some millionths of the loss before. So what
# rests on resamples alone moves by a hundredth of a yard at most; nothing that a page shows does.
RESAMPLED = {
    r"(.*_)?(lo|hi)90(_.*)?|.*(low|high) end of the 90 % interval.*|std_error_yd": 0.01,
    r"(.*_)?[pq]_value|[pq]|.*probability|confidence": 3e-4,
    r"better_(at_centre|slope)": 5e-4,
    r"launch_slope": 0.009,
    r"spin_slope": 0.62,
}
# Rounded to a tenth in the workbook: a last digit may turn with the ninth decimal of a figure.
ROUNDED = {"Lost otherwise, yd": 0.1}
PICTURES = {"carry_by_speed.png": 1e-5}  # mean difference of a pixel, of 1: the band of the curve's interval

# What has another name since the run before; the README's change list has it for users.
RENAMED_FILES = {"benchmarks/guide.json": "benchmarks/frontier.json"}
RENAMED_COLUMNS = {
    "collected/loaded.duckdb": {"carry_yd": "carry_measured_yd"},
    "collected/drives.parquet": {"carry_yd": "carry_standard_yd"},
    "shots.duckdb": {"carry_yd": "carry_measured_yd"},
    # Headings of the workbooks.
    "benchmarks/bands.xlsx": {"Band centre, mph": "Band center, mph"},
    "golfers/golfers.xlsx": {
        "Yards lost with luck taken out, yd": "Yards lost, luck taken out, yd",
        "The same, low end of its 90 % interval, yd": "Yards lost, luck taken out, low end of the 90 % interval, yd",
        "The same, high end of its 90 % interval, yd": "Yards lost, luck taken out, high end of the 90 % interval, yd",
    },
}
# Files that tell of the run itself: code, versions, times, ids that follow from a file's form.
OF_THE_RUN = ("run.json", "kept/", "verdict.json", "collected/small")

NUMBER = re.compile(r"(?<![A-Za-z0-9_.])[-+\N{MINUS SIGN}]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?(?![A-Za-z0-9_])")


def differences(old: Path, new: Path) -> Iterator[str]:
    """Say what differs between two folders of results, one line each."""
    for path in sorted(p for p in old.rglob("*") if p.is_file() and not p.name.startswith(".")):
        name = path.relative_to(old).as_posix()
        if any(name.startswith(one) or f"/{one}" in f"/{name}" for one in OF_THE_RUN):
            continue
        other = new / RENAMED_FILES.get(name, name)
        if not other.is_file():
            yield f"{name}: missing"
            continue
        compare = COMPARERS.get(path.suffix)
        if compare is None:
            yield f"{name}: no way to compare {path.suffix}"
            continue
        for line in compare(path, other, RENAMED_COLUMNS.get(name, {})):
            yield f"{name}: {line}"


def compare_frames(old: pl.DataFrame, new: pl.DataFrame, renamed: dict[str, str]) -> Iterator[str]:
    """Compare two tables cell by cell; columns of `old` that `renamed` maps to an empty name may be gone."""
    if old.height != new.height:
        yield f"{old.height} rows, now {new.height}"
        return
    for name in old.columns:
        wanted = renamed.get(name, name)
        if not wanted:
            continue
        if wanted not in new.columns:
            yield f"column {wanted} is missing"
            continue
        count = int(np.count_nonzero(~_same(old[name], new[wanted], allowed(wanted))))
        if count:
            yield f"column {wanted}: {count} of {old.height} cells differ"


def allowed(name: str) -> float:
    """Give the difference that a column, key or array of this name may have."""
    found = [most for pattern, most in RESAMPLED.items() if re.fullmatch(pattern, name)]
    return found[0] if found else ROUNDED.get(name, ABSOLUTE)


def _same(old: pl.Series, new: pl.Series, absolute: float) -> np.ndarray:
    if old.dtype.is_nested():
        return np.array([one == other for one, other in zip(old.to_list(), new.to_list(), strict=True)], dtype=bool)
    texts = [one.cast(pl.String) for one in (old, new)]
    numbers = [one.cast(pl.Float64, strict=False).to_numpy() for one in texts]
    with np.errstate(invalid="ignore"):
        close = np.isclose(numbers[0], numbers[1], rtol=RELATIVE, atol=absolute)
    return (texts[0].eq_missing(texts[1])).to_numpy() | close


def _csv(old: Path, new: Path, renamed: dict[str, str]) -> Iterator[str]:
    return compare_frames(*(pl.read_csv(path, infer_schema=False) for path in (old, new)), renamed)


def _parquet(old: Path, new: Path, renamed: dict[str, str]) -> Iterator[str]:
    return compare_frames(*(pl.read_parquet(path) for path in (old, new)), renamed)


def _duckdb(old: Path, new: Path, renamed: dict[str, str]) -> Iterator[str]:
    with duckdb.connect(str(old), read_only=True) as before, duckdb.connect(str(new), read_only=True) as after:
        for (table,) in before.sql("SELECT table_name FROM duckdb_tables() ORDER BY 1").fetchall():
            for line in compare_frames(before.table(table).pl(), after.table(table).pl(), renamed):
                yield f"table {table}: {line}"


def _xlsx(old: Path, new: Path, renamed: dict[str, str]) -> Iterator[str]:
    sheets = [pl.read_excel(path, sheet_id=0, infer_schema_length=0) for path in (old, new)]
    for name, frame in sheets[0].items():
        if name != "notes":
            yield from (f"sheet {name}: {line}" for line in compare_frames(frame, sheets[1][name], renamed))


def _npz(old: Path, new: Path, renamed: dict[str, str]) -> Iterator[str]:
    with np.load(old) as before, np.load(new) as after:
        for name in before.files:
            a, b = before[name], after[renamed.get(name, name)]
            texts = a.dtype.kind == "U"
            if a.shape != b.shape or not (
                np.array_equal(a, b) if texts else np.allclose(a, b, rtol=RELATIVE, atol=allowed(name), equal_nan=True)
            ):
                yield f"array {name} differs"


def _json(old: Path, new: Path, renamed: dict[str, str]) -> Iterator[str]:  # noqa: ARG001
    before, after = (_numbers(json.loads(path.read_text("utf-8"))) for path in (old, new))
    for most in sorted({ABSOLUTE, *map(allowed, (*before, *after))}):
        # Lists of records became columns, so keys alone stay: numbers are compared in the order of their size.
        a, b = (
            sorted(n for key, found in one.items() if allowed(key) == most for n in found) for one in (before, after)
        )
        if len(a) != len(b) or not np.allclose(a, b, rtol=RELATIVE, atol=most):
            yield f"{len(a)} numbers that may differ by {most:g}, now {len(b)}, not all the same"


def _numbers(value: Any, key: str = "") -> dict[str, list[float]]:
    """List the numbers by the key that they stand under."""
    found: dict[str, list[float]] = {}
    if isinstance(value, dict | list):
        for name, part in value.items() if isinstance(value, dict) else ((key, part) for part in value):
            for inner, numbers in _numbers(part, name).items():
                found.setdefault(inner, []).extend(numbers)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        found[key] = [float(value)]
    return found


def _png(old: Path, new: Path, renamed: dict[str, str]) -> Iterator[str]:  # noqa: ARG001
    before, after = imread(old), imread(new)
    if before.shape != after.shape or np.abs(before - after).mean() > PICTURES.get(old.name, 0.0):
        yield "the picture differs"


def _text(old: Path, new: Path, renamed: dict[str, str]) -> Iterator[str]:  # noqa: ARG001
    before, after = (_told(path.read_text("utf-8")) for path in (old, new))
    if before != after:
        place = next(
            (i for i, (a, b) in enumerate(zip(before, after, strict=False)) if a != b), min(map(len, (before, after)))
        )
        yield f"number {place + 1} of {len(before)}: {before[place : place + 3]}, now {after[place : place + 3]}"


def _told(text: str) -> list[str]:
    """List the numbers that a text shows, without pictures, styles and scripts."""
    plain = re.sub(r"<(style|script)\b.*?</\1>|data:image/[^\"']*|<[^>]*>|\bk[0-9a-f]{12}\b", " ", text, flags=re.S)
    return NUMBER.findall(plain)


def _nothing(old: Path, new: Path, renamed: dict[str, str]) -> Iterator[str]:  # noqa: ARG001
    return iter(())


COMPARERS: dict[str, Callable[[Path, Path, dict[str, str]], Iterator[str]]] = {
    ".csv": _csv,
    ".parquet": _parquet,
    ".duckdb": _duckdb,
    ".xlsx": _xlsx,
    ".npz": _npz,
    ".json": _json,
    ".png": _png,
    ".svg": _nothing,  # the png of the same figure is compared
    ".html": _text,
    ".md": _text,
    ".txt": _text,
}


def main() -> int:
    """Compare the two folders of the command line; give the exit status."""
    old, new = (Path(place) for place in sys.argv[1:3])
    found = list(differences(old, new))
    print("\n".join(found) if found else f"{new}: the same figures as {old}.")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
