"""Names that stand where no name belongs: in texts of a log, its headers, its file name (pure: touches no file)."""

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import polars as pl

from pipeline.collect.layout import MISSING_NAME, printable
from pipeline.collect.pseudonym import normalise_name

WITHHELD = "withheld"

# Control characters, invisible formatting (such as marks that turn the direction of text), private use, line breaks.
_UNSEEN = r"[\p{Cc}\p{Cf}\p{Co}\p{Zl}\p{Zp}]+"
_PLAIN_NAME = "^[ -~]*$"
_WORDS = re.compile(r"[^\W_]+")
# Shorter ones are no names: a golfer called A, or 12, must not blot out the device unit-A or the ball 12.
_LEAST_LETTERS, _LEAST_DIGITS = 2, 4
# A text is also withheld if it is part of a name; initials and single short words are too common for that.
_LEAST_PART = 3
# Names run together, as in annoak: at least this long, or they would be found inside other words.
_LEAST_JOINED = 6
# A foreign header that looks like data: an address, or digits as long as a date or a number of a member.
_DATA_IN_HEADER = re.compile(r"@|\d{4}|\d\D{0,2}\d\D{0,2}\d\D{0,2}\d")


class Names(NamedTuple):
    """The golfers of a log, made ready for looking up."""

    words: Sequence[Sequence[str]]
    """Of each name."""
    by_word: Mapping[str, Sequence[int]]
    """Word: the places in `words` of the names that have it."""
    joined: Sequence[str]
    """Names of several words, run together."""


def known_names(names: Iterable[str]) -> Names:
    """Make the names of a log's golfers ready for looking up.

    Parameters
    ----------
    names : iterable of str
        As written; what is too short for a name, or stands for a missing one, is left out.
    """
    given = pl.Series("name", list(names), dtype=pl.String)
    plain = given.str.contains(_PLAIN_NAME)
    words = pl.concat([_words_of_plain(given.filter(plain)), _words_of_any(given.filter(~plain))])
    words = words.filter(~pl.col("name").str.strip_chars().str.to_lowercase().is_in(MISSING_NAME))
    words = words.with_columns(joined=pl.col("words").list.join(""))
    letters = pl.col("joined").str.count_matches(r"\p{L}")
    long_enough = (letters >= _LEAST_LETTERS) | (pl.col("joined").str.len_chars() - letters >= _LEAST_DIGITS)
    words = words.filter(long_enough).with_row_index("place")
    run_together = words.filter(pl.col("joined").str.len_chars() >= _LEAST_JOINED, letters > 0)["joined"]
    places = words.explode("words").group_by("words").agg("place")
    by_word = dict(zip(places["words"].to_list(), places["place"].to_list(), strict=True))
    return Names(words["words"].to_list(), by_word, run_together.unique().sort().to_list())


def _words_of_plain(names: pl.Series) -> pl.DataFrame:
    """Split names of plain signs into words as `_words` does, all at once."""
    spaced = names.str.to_lowercase().str.strip_chars().str.replace(r"^(\d+)\.0+$", "${1}")
    return pl.DataFrame([names, spaced.str.extract_all("[a-z0-9]+").alias("words")])


def _words_of_any(names: pl.Series) -> pl.DataFrame:
    words = [_words(name) for name in names.to_list()]
    return pl.DataFrame([names, pl.Series("words", words, dtype=pl.List(pl.String))])


def holds_name(text: str, names: Names, *, parts: bool) -> bool:
    """Tell whether a text holds the name of a golfer, in any order and spelling of its words.

    Parameters
    ----------
    text : str
    names : Names
    parts : bool
        Whether a text that is only a part of a name, such as a surname, counts too.
    """
    words = frozenset(_words(text))
    candidates = {frozenset(names.words[place]) for word in words for place in names.by_word.get(word, ())}
    if any(name <= words for name in candidates):
        return True
    if parts and sum(map(len, words)) >= _LEAST_PART and any(words <= name for name in candidates):
        return True
    together = "".join(_words(text))
    return any(name in together for name in names.joined)


def clean_texts(rows: pl.DataFrame, columns: Sequence[str]) -> pl.DataFrame:
    """Take control and other unseen characters out of text columns; nothing left becomes null."""
    return rows.with_columns(_cleaned(rows[name]) for name in columns)


def _cleaned(texts: pl.Series) -> pl.Series:
    distinct = texts.drop_nulls().unique()  # few: sites, devices, balls
    clean = distinct.str.replace_all(_UNSEEN, " ").str.strip_chars()
    changed = distinct != clean
    if not changed.any() and not (clean == "").any():
        return texts
    mended = pl.select(pl.when(clean != "").then(clean)).to_series()
    return texts.replace_strict(distinct, mended, default=None, return_dtype=pl.String)


def withhold_names(
    rows: pl.DataFrame, names: Names, constants: Mapping[str, str | None]
) -> tuple[pl.DataFrame, dict[str, int]]:
    """Replace texts that hold a golfer's name by one fixed word.

    Parameters
    ----------
    rows : pl.DataFrame
    names : Names
    constants : mapping of str to str or None
        Text columns to look at: the study's own word for the column, which stays.

    Returns
    -------
    tuple of pl.DataFrame and dict of str to int
        The rows, and by column how many cells were withheld; columns without any are absent.
    """
    counts: dict[str, int] = {}
    for column, constant in constants.items():
        texts = rows[column].drop_nulls().unique().to_list()
        named = [text for text in texts if text != constant and holds_name(text, names, parts=True)]
        if named:
            gone = pl.col(column).is_in(named)
            counts[column] = int(rows.select(gone.sum()).item())
            rows = rows.with_columns(pl.when(gone).then(pl.lit(WITHHELD)).otherwise(column).alias(column))
    return rows, counts


def shown_headers(headers: Sequence[str], used: Iterable[int], names: Names) -> list[str]:
    """Name the columns that are not used, in order, by their headers or, where one looks like data, by their place.

    Parameters
    ----------
    headers : sequence of str
        All headers of a log.
    used : iterable of int
        Places, from 0, of the columns in use.
    names : Names
        The log's golfers.

    Returns
    -------
    list of str
        Such as `remark` or `(column 7)`, the first column being 1.
    """
    taken = set(used)
    return [
        f"(column {place + 1})"
        if _DATA_IN_HEADER.search(header) or holds_name(header, names, parts=False)
        else printable(header) or "(no header)"
        for place, header in enumerate(headers)
        if place not in taken
    ]


def _words(text: str) -> list[str]:
    """Split a text into words without case, accents and marks."""
    apart = unicodedata.normalize("NFKD", normalise_name(text))
    return _WORDS.findall("".join(sign for sign in apart if unicodedata.category(sign)[0] not in "MC"))
