"""Sums of what files hold; a file that nothing touched since the last run is not read again (an edge module)."""

import contextlib
import json
from collections.abc import Sequence
from pathlib import Path

from pipeline.edge.files import write_json
from pipeline.edge.result_files import digest_of


class FileSums:
    """Sums of files, with those that earlier runs took.

    A restored file may be as large as the one that it replaces, and have an older time or the very same one, so times
    alone don't show it. Where the system says when a file's entry last changed, which no program can set back, a file
    that is read again is one that somebody touched.
    """

    def __init__(self, kept: Path) -> None:
        """Take the sums kept in a file; none if it isn't there or isn't such a file."""
        self.kept = kept
        self._known: dict[str, list[object]] = {}
        with contextlib.suppress(OSError, ValueError, AttributeError):
            found = json.loads(kept.read_text(encoding="utf-8"))
            self._known = {name: entry for name, entry in found.items() if isinstance(entry, list) and len(entry) == 2}
        self._used: dict[str, list[object]] = {}

    def of(self, path: Path) -> str:
        """Give a file's SHA-256, 64 hexadecimal digits; empty if it isn't there, can't be read or is no plain file."""
        try:
            if not path.is_file():
                return ""
            is_now = _mark(path)
            known = self._known.get(str(path))
            if known is None or known[0] != is_now or not isinstance(known[1], str):
                known = [is_now, digest_of(path)]
        except OSError:
            return ""
        self._used[str(path)] = known
        return str(known[1])

    def all_of(self, paths: Sequence[Path]) -> list[str]:
        """Give `of` each path."""
        return [self.of(path) for path in paths]

    def keep(self) -> None:
        """Write the sums that were asked for, for the next run.

        Raises
        ------
        UserError
            If the file can't be written.
        """
        write_json(self.kept, dict(sorted(self._used.items())))


def _mark(path: Path) -> list[int]:
    state = path.stat()
    return [state.st_size, state.st_mtime_ns, state.st_ctime_ns, state.st_ino]


def sums_of(study: str) -> Path:
    """Give the file that keeps the sums of a study's files, below the working folder."""
    return Path(f".snakemake/yardband/{study}.sums.json")
