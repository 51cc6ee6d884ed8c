"""Which rows of a log are drives, by a column of clubs (pure)."""

import re
from collections.abc import Mapping
from typing import NamedTuple

import polars as pl

from pipeline.collect.drafting.drafted import RowsChoice

# The driver in the languages of the lexicon; a 1 wood is one.
_DRIVER = re.compile(
    r"driver|dr\.?|1[ -]?w(ood)?|w(ood)?[ -]?1|(holz|bois|madera|legno|tra|hout)[ -]?1|1[ -]?(holz|bois|madera|legno)"
)
_OTHER = re.compile(
    r"(\d{1,2}[ -]?)?(iron|eisen|fer|hierro|ferro|jarn|ijzer|wood|holz|bois|madera|legno|hybrid|rescue)([ -]?\d{1,2})?"
    r"|([psglaf]w|.*wedge|putter)|\d{1,2}[ -]?[iwhf]|[iwhf][ -]?\d{1,2}"
)
_MOST_CLUBS = 40


class Club(NamedTuple):
    """A column that may hold clubs."""

    header: str
    cells: pl.Series
    said: bool
    """Whether its header says that it holds clubs."""


def draft_rows(columns: list[Club], repeated: Mapping[str, int]) -> RowsChoice | None:
    """Find the column of clubs and the words for the driver in it; None if no column holds clubs.

    A header that is there twice can't be taken.
    """
    found = [(club, words) for club in columns if (words := _words(club)) and repeated.get(club.header, 1) == 1]
    found.sort(key=lambda one: not one[0].said)
    for club, words in found:
        drivers = [word for word in words if _DRIVER.fullmatch(_plain(word))]
        others = [word for word in words if _OTHER.fullmatch(_plain(word)) and word not in drivers]
        if not (club.said or (drivers and others)):
            continue
        if not drivers:
            return RowsChoice(club.header, tuple(words), False)
        return RowsChoice(club.header, tuple(_folded_apart(drivers)), True)
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
    return word.casefold().strip().replace("\u00e4", "a")
