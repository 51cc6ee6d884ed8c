"""Text logs of any encoding, packed or not, as plain UTF-8 text (an edge module)."""

import codecs
import gzip
import io
import shutil
import zlib
from pathlib import Path
from typing import BinaryIO, cast

from pipeline.collect.opened_log import LogRefusedError

_BLOCK_BYTES = 1 << 20
# Logs pack to a fifth or a tenth, and one drive repeated without end to a hundredth; a file of nothings packs further.
_FREE_BYTES, _MOST_TIMES = 32_000_000, 100


def plain_text(path: Path, encoding: str, folder: Path) -> Path:
    """Give a path of a log as plain UTF-8 text with Unix or Windows line ends.

    Parameters
    ----------
    path : Path
        The log, packed by gzip if its name ends in .gz.
    encoding : str
        Its encoding, as the layout says.
    folder : Path
        A private folder for a decoded copy.

    Returns
    -------
    Path
        The log itself, or a decoded copy where readers need one.

    Raises
    ------
    LogRefusedError
        If the text isn't in that encoding, or the file is damaged or can't be read.
    """
    zipped = path.name.lower().endswith(".gz")
    try:
        if not zipped and _is_plain(path, encoding):
            return path
        if not _is_unicode(encoding):
            with _bytes_of(path, zipped) as file:
                if _is_utf8_after_all(_Bounded.of(file, path) if zipped else file):
                    raise LogRefusedError(f"its text is utf-8, not {encoding}; correct the layout's encoding")
        with _bytes_of(path, zipped) as file:
            return _decoded(_Bounded.of(file, path) if zipped else file, encoding, folder / "log.csv")
    except UnicodeError:
        raise LogRefusedError(
            f"its text isn't {encoding}; set the layout's encoding, such as latin-1 or utf-16"
        ) from None
    except (EOFError, zlib.error, gzip.BadGzipFile):
        raise LogRefusedError("it is cut short, damaged or not a gzip file; copy it again") from None
    except OSError as error:
        raise LogRefusedError(f"the file can't be read ({error.strerror})") from None


def _bytes_of(path: Path, zipped: bool) -> BinaryIO:
    return cast(BinaryIO, gzip.open(path)) if zipped else path.open("rb")


class _Bounded(io.BufferedIOBase):
    """A packed file that may unpack to so many times its size and no more."""

    def __init__(self, packed: BinaryIO, most_bytes: int) -> None:
        self._packed, self._left = packed, most_bytes

    @classmethod
    def of(cls, packed: BinaryIO, path: Path) -> BinaryIO:
        """Bound what a log unpacks to."""
        return cast(BinaryIO, cls(packed, _FREE_BYTES + _MOST_TIMES * path.stat().st_size))

    def readable(self) -> bool:
        return True

    def read(self, size: int | None = -1, /) -> bytes:
        block = self._packed.read(_BLOCK_BYTES if size is None or size < 0 else size)
        self._left -= len(block)
        if self._left < 0:
            raise LogRefusedError(f"it unpacks to more than {_MOST_TIMES} times its size, as no log does")
        return block

    read1 = read


def _is_unicode(encoding: str) -> bool:
    return codecs.lookup(encoding).name.startswith(("utf", "ascii"))


def _is_utf8_after_all(binary: BinaryIO) -> bool:
    """Tell whether bytes are UTF-8 with characters beyond ASCII; another encoding's text is so only by a miracle."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    beyond = False
    try:
        while block := binary.read(_BLOCK_BYTES):
            decoder.decode(block)
            beyond = beyond or not block.isascii()
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return beyond


def _is_plain(path: Path, encoding: str) -> bool:
    """Check a file's encoding, piece by piece; false means that polars needs a copy to read it."""
    if codecs.lookup(encoding).name not in ("utf-8", "utf-8-sig", "ascii"):
        return False
    decoder = codecs.getincrementaldecoder(encoding)()
    line_end = False
    with path.open("rb") as file:
        while block := file.read(_BLOCK_BYTES):
            decoder.decode(block)
            line_end = line_end or b"\n" in block
        decoder.decode(b"", final=True)
    # Without a line feed the lines end the old way, by a carriage return, which polars doesn't see.
    return line_end


def _decoded(binary: BinaryIO, encoding: str, copy: Path) -> Path:
    # newline=None turns every kind of line end into the Unix one.
    with io.TextIOWrapper(binary, encoding=encoding, newline=None) as text, copy.open("w", encoding="utf-8") as plain:
        shutil.copyfileobj(text, plain, _BLOCK_BYTES)
    return copy
