"""Compare the results of two runs figure by figure: `python tests/workflow/compare_runs.py OLD NEW`.

Every file of OLD must be in NEW with the same figures, or stand in `RENAMED_FILES`; columns may be renamed
(`RENAMED_COLUMNS`) and others added. Prints what differs and exits with 1 if anything does. What is compared: tables
cell by cell (csv, parquet, xlsx, databases), arrays, the numbers of json files whatever their form, pictures pixel by
pixel, and the numbers of pages and texts in their order. Ends of intervals and the like that rest on resamples of
golfers may differ as `RESAMPLED` says.
"""

import re
import sys
from collections.abc import Iterator
from pathlib import Path

from pipeline.edge.result_files import READERS, figures_of
from pipeline.research.rebuild import compare

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

# What has another name since the run before, by file: columns, to their new names; those that are gone, to "".
RENAMED_FILES: dict[str, str] = {}
RENAMED_COLUMNS: dict[str, dict[str, str]] = {}
# Files that tell of the run itself: code, versions, times, ids that follow from a file's form.
OF_THE_RUN = ("run.json", "kept/", "verdict.json", "collected/small")


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
        if path.suffix not in READERS:
            yield f"{name}: no way to compare {path.suffix}"
            continue
        picture = PICTURES.get(path.name, 0.0)
        may = compare.Allowed(
            RELATIVE,
            lambda part, picture=picture: picture if part == "picture" else allowed(part),
            RENAMED_COLUMNS.get(name, {}),
        )
        yield from (f"{name}: {one.what}" for one in compare.differences(figures_of(path), figures_of(other), may))


def allowed(name: str) -> float:
    """Give the difference that a column, key or array of this name may have."""
    found = [most for pattern, most in RESAMPLED.items() if re.fullmatch(pattern, name)]
    return found[0] if found else ROUNDED.get(name, ABSOLUTE)


def main() -> int:
    """Compare the two folders of the command line; give the exit status."""
    old, new = (Path(place) for place in sys.argv[1:3])
    found = list(differences(old, new))
    print("\n".join(found) if found else f"{new}: the same figures as {old}.")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
