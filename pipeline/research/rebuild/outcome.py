"""What came of a run made again, in lines: the same figures, or what differs and by how much."""

from dataclasses import dataclass
from typing import Literal

from pipeline.research.rebuild.compare import Difference

# same: byte for byte. same figures: other bytes, the same figures. other: other bytes, and the old file isn't there to
# compare figures with, or has changed since.
Came = Literal["same", "same figures", "other figures", "other", "missing"]

MOST = 20  # lines about files that differ


@dataclass(frozen=True)
class FileOutcome:
    """What came of one file of the results."""

    name: str
    came: Came
    differences: tuple[Difference, ...]

    @property
    def largest(self) -> float:
        """Largest difference of two numbers; infinite where something else differs."""
        sizes = [float("inf") if one.largest is None else one.largest for one in self.differences]
        return max(sizes, default=float("inf"))


@dataclass(frozen=True)
class Rebuilt:
    """What came of every file."""

    files: tuple[FileOutcome, ...]

    @property
    def same(self) -> bool:
        """Whether every figure is the same."""
        return all(one.came in ("same", "same figures") for one in self.files)


def outcome_lines(found: Rebuilt) -> list[str]:
    """Say what came of a run made again; the files that differ most come first."""
    exact = sum(one.came == "same" for one in found.files)
    if found.same:
        rest = len(found.files) - exact
        hold = "one holds" if rest == 1 else f"{rest} hold"
        others = f" The other {hold} the same figures in other bytes." if rest else ""
        return [f"The same figures: {exact} of {len(found.files)} files are the same byte for byte.{others}"]
    apart = [one for one in found.files if one.came not in ("same", "same figures")]
    apart.sort(key=lambda one: (-one.largest, one.name))
    lines = [f"Other figures: {len(apart)} of {len(found.files)} files differ."]
    for one in apart[:MOST]:
        lines += [f"  {one.name}: {text}" for text in _texts(one)]
    return [*lines, *([f"  and {len(apart) - MOST} files more"] if len(apart) > MOST else [])]


def _texts(one: FileOutcome) -> list[str]:
    if one.came == "missing":
        return ["wasn't made"]
    if one.came == "other":
        return ["has other content; the run's own file isn't here to compare figures with"]
    return [
        each.what if each.largest is None else f"{each.what}, by {each.largest:.3g} at most" for each in one.differences
    ]
