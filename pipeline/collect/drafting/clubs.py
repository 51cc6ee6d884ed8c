"""Which rows of a log are drives, by a column of clubs (pure)."""

import re
import unicodedata
from collections.abc import Mapping
from typing import NamedTuple

import polars as pl

from pipeline.collect.drafting.drafted import RowsChoice

# The driver in several languages; a 1 wood is one. Its loft may stand behind it.
_WOOD = "w|wood|holz|bois|madera|madeira|legno|tra|hout|drewno"
_LOFT = r"[ ,-]*\(?\d{1,2}(?:[.,]\d)?\s*(?:°|deg|degrees|grad)?\)?"
_DRIVER = re.compile(
    rf"(?:driver|dr\.?|drv|\u30c8\u3099\u30e9\u30a4\u30cf\u3099\u30fc)(?:{_LOFT})?|1[ -]?(?:{_WOOD})|(?:{_WOOD})[ -]?1"
)
_OTHER = re.compile(
    rf"(\d{{1,2}}[ -]?)?(iron|eisen|fer|hierro|ferro|jarn|ijzer|zelazo|{_WOOD}|hybrid|hybride|hibrido|ibrido|rescue)"
    r"([ -]?\d{1,2})?|[psglaf]w|.*wedge|putter|\d{1,2}[ -]?[iwhfe]|[iwhfe][ -]?\d{1,2}|[4-6]\d ?(°|deg)"
    r"|\d{1,2}\u756a.*"
)
_MOST_CLUBS = 40


class Club(NamedTuple):
    """A column that may hold clubs."""

    header: str
    cells: pl.Series
    said: bool
    """Whether its header says that it holds clubs."""
    unknown: bool = False
    """Whether its header says nothing that is understood, so that one known club is enough."""


def draft_rows(columns: list[Club], repeated: Mapping[str, int]) -> RowsChoice | None:
    """Find the column of clubs and the words for the driver in it; None if no column holds clubs.

    A header that is there twice can't be taken.
    """
    found = [(club, words) for club in columns if (words := _words(club)) and repeated.get(club.header, 1) == 1]
    found.sort(key=lambda one: not one[0].said)
    for club, words in found:
        drivers = [word for word in words if _DRIVER.fullmatch(_plain(word))]
        others = [word for word in words if _OTHER.fullmatch(_plain(word)) and word not in drivers]
        if not (club.said or (drivers and others) or (club.unknown and (drivers or others))):
            continue
        # A word that nobody knows may be the driver's too, and drives left out in silence are worse than a question.
        unknown = [word for word in words if word not in drivers and word not in others]
        doubtful = unknown if drivers or unknown else words
        return RowsChoice(club.header, tuple(_folded_apart(drivers)), tuple(_folded_apart(doubtful)))
    return None


def _words(club: Club) -> list[str]:
    if not isinstance(club.cells.dtype, pl.String | pl.Categorical | pl.Enum):
        return []
    words = club.cells.cast(pl.String).str.strip_chars().drop_nulls()
    distinct = words.filter(words != "").unique().sort()
    return distinct.to_list() if 0 < len(distinct) <= _MOST_CLUBS else []


def _folded_apart(words: list[str]) -> list[str]:
    """Leave out words that differ by capitals alone, which the reader takes for one."""
    return list({word.casefold(): word for word in reversed(words)}.values())[::-1]


def _plain(word: str) -> str:
    """Fold capitals and accents, and white space to single blanks."""
    apart = unicodedata.normalize("NFKD", word.replace("°", "\0")).replace("\0", "°").casefold()
    # Voiced kana lose no marks, which are letters' own there.
    return " ".join("".join(sign for sign in apart if not "\u0300" <= sign <= "\u036f").split())
