"""Names that stand where no name belongs: in texts of a log, its headers, its file name (pure: touches no file).

A text holds a golfer's name if one of these stands in it, in any letter case, with or without accents and marks:

- all words of the name, in any order, or run together;
- the family or the given name alone, of 3 letters or more (2 in scripts without spaces), also with an s behind, or a
  digit or a capital letter, as in Oak2 and bayOak. A word of 2 letters must be somebody's, as in Li's and of Li, and so
  must one that places, devices and balls are often called by, such as hill or premium: hill's, of hill;
- two words or more of a name of several run together, such as vanderberg;
- initials with points, such as A.O., or without if they are somebody's: AO's, of AO.

A text that is only a part of a name is withheld too. A site, device or ball that happens to be called as a golfer is
withheld as well: a true word is masked rather than a person shown, and the receipt tells how many cells it were.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import polars as pl

from pipeline.collect.layout import MISSING_NAME, printable
from pipeline.collect.name_words import parted, readings_of, runs_together, spellings_of
from pipeline.collect.pseudonym import IGNORED
from pipeline.tables.logs import WITHHELD

# Control characters, private use, line breaks; what has no width (`IGNORED`) parts no words.
_UNSEEN = r"[\p{Cc}\p{Cf}\p{Co}\p{Zl}\p{Zp}]+"
# Shorter ones are no names: a golfer called A, or 12, must not blot out the device unit-A or the ball 12.
_LEAST_LETTERS, _LEAST_DIGITS = 2, 4
# A word of a name that is looked for alone, and a text that is only a part of one; shorter ones are too common.
_LEAST_PART = 3
# Names run together, as in annoak: at least this long, or they would be found inside other words.
_LEAST_JOINED, _LEAST_UNSPACED = 6, 2
_MOST_INITIALS = 4
_MOST_WORDS = 8  # of a name some of which are run together
# A foreign header that looks like data: an address, or digits as long as a date or a number of a member.
_DATA_IN_HEADER = re.compile(r"@|\d{4}|\d\D{0,2}\d\D{0,2}\d\D{0,2}\d")
# Somebody's: the word before an apostrophe with s, or after a word such as of, at the end of a clause of any length.
_SOMEBODYS = re.compile(
    r"([^\W\d_]+)'(?:s(?![^\W_])|(?![^\W_]))|(?<![^\W_])(?:of|by|for|from|de|del|della|di|do|da|du|van|von)\s+(?:the\s+)?"
    r"([^\W\d_]+)"
)
_INITIALS = re.compile(r"(?<![^\W_])((?:[^\W\d_]\.\s*){1,3}[^\W\d_])(?:\.|(?![^\W_]))")
# Words that places, devices, balls and groups are often called by: as parts of a name they must be somebody's.
_COMMON = frozenset(
    """bay bays unit units range ball balls device devices site club clubs driver loft mat mats grass net nets tee tees
    green greens fairway rough hill hills park field fields lake river wood woods stone valley north south east west
    upper lower left right indoor outdoor simulator studio lab tower hall room floor court street road house school
    academy center college team group junior juniors senior seniors ladies men women boys girls adults pro
    pros coach student students member members guest guests golf golfer golfers player players test demo practice
    premium soft hard firm normal standard tour distance new old used red blue white black yellow orange gray
    gold silver pink fast slow short long small large big mini plus manual metric yards main front back side one two
    three four five six seven eight nine ten first second third spring summer autumn winter morning evening day
    night sun moon star logs log csv xlsx parquet the and for from with""".split()  # noqa: SIM905
) | {"centre", "grey"}


@dataclass(frozen=True)
class Names:
    """Golfers' names, made ready for looking up; words may be sealed, and are then digests."""

    wholes: frozenset[frozenset[str]]
    """The words of each name, in each of its spellings."""
    parts: frozenset[str]
    """Words that are looked for alone."""
    somebodys: frozenset[str]
    """Common words and initials, which must be somebody's."""
    initials: frozenset[str]
    joined: Mapping[int, frozenset[str]]
    """Names run together, by their length."""

    @cached_property
    def by_word(self) -> Mapping[str, list[frozenset[str]]]:
        """Word: the wholes that have it."""
        found: dict[str, list[frozenset[str]]] = {}
        for whole in self.wholes:
            for word in whole:
                found.setdefault(word, []).append(whole)
        return found

    def sealed(self, seal: Callable[[str], str]) -> "Names":
        """Put a digest in the place of each word."""
        return Names(
            frozenset(frozenset(map(seal, whole)) for whole in self.wholes),
            frozenset(map(seal, self.parts)),
            frozenset(map(seal, self.somebodys)),
            frozenset(map(seal, self.initials)),
            {length: frozenset(map(seal, words)) for length, words in self.joined.items()},
        )


def all_names(several: Iterable[Names]) -> Names:
    """Put names of several logs together."""
    found = list(several)
    joined: dict[int, frozenset[str]] = {}
    for names in found:
        for length, words in names.joined.items():
            joined[length] = joined.get(length, frozenset()) | words
    return Names(
        frozenset().union(*(names.wholes for names in found)),
        frozenset().union(*(names.parts for names in found)),
        frozenset().union(*(names.somebodys for names in found)),
        frozenset().union(*(names.initials for names in found)),
        joined,
    )


def known_names(names: Iterable[str]) -> Names:
    """Make the names of a log's golfers ready for looking up.

    Parameters
    ----------
    names : iterable of str
        As written; what is too short for a name, or stands for a missing one, is left out.
    """
    wholes: set[frozenset[str]] = set()
    parts: set[str] = set()
    initials: set[str] = set()
    joined: dict[int, set[str]] = {}
    for name in names:
        if name.strip().lower() in MISSING_NAME:
            continue
        for spelling in (words for reading in readings_of(name) for words in spellings_of(reading)):
            together = "".join(spelling)
            letters = sum(map(str.isalpha, together))
            if letters < _LEAST_LETTERS and len(together) - letters < _LEAST_DIGITS:
                continue
            wholes.add(frozenset(spelling))
            if not letters:
                continue
            parts |= _alone(spelling)
            initials |= _initials_of(spelling)
            alone = [word for word in spelling if runs_together(word)]
            for run in (*map("".join, _orders(spelling)), *_run_together(spelling), *alone):
                if len(run) >= (_LEAST_UNSPACED if runs_together(run) else _LEAST_JOINED):
                    joined.setdefault(len(run), set()).add(run)
        if (apart := parted(name)) != name:  # else its words are there already
            for reading in readings_of(apart):
                parts |= _alone(spellings_of(reading)[-1])
    short = {word for word in parts if len(word) < _LEAST_PART}
    return Names(
        frozenset(wholes),
        frozenset(parts - _COMMON - short),
        frozenset(parts & _COMMON | short) | initials,
        frozenset(initials),
        {length: frozenset(runs) for length, runs in sorted(joined.items())},
    )


def _alone(words: Sequence[str]) -> set[str]:
    """Give the words of a name that are looked for alone."""
    return {word for word in words if word.isalpha() and len(word) >= _LEAST_LETTERS}


def _run_together(words: Sequence[str]) -> list[str]:
    """Give some words of a name of three or more run together: neighbors, or the first and the last of all."""
    n = len(words)
    if not 3 <= n <= _MOST_WORDS:
        return []
    neighbors = ["".join(words[i:j]) for i in range(n) for j in range(i + 2, n + 1)]
    return [*neighbors, words[0] + words[-1], words[-1] + words[0]]


def _orders(words: Sequence[str]) -> list[Sequence[str]]:
    """Give the orders in which a name's words are written: the given name first, or the family's."""
    return [words, [*words[-1:], *words[:-1]], [*words[1:], *words[:1]]]


def _initials_of(words: Sequence[str]) -> set[str]:
    """Give the initials of a name of several words, in either order, with or without those in the middle."""
    firsts = [word[0] for word in words if word.isalpha()]
    if not 2 <= len(firsts) <= _MOST_INITIALS:
        return set()
    return {"".join(order) for order in (*_orders(firsts), *_orders([firsts[0], firsts[-1]]))}


def holds_name(text: str, names: Names, *, parts: bool, seal: Callable[[str], str] = str) -> bool:
    """Tell whether a text holds the name of a golfer, in any order and spelling of its words.

    Parameters
    ----------
    text : str
    names : Names
    parts : bool
        Whether a part of a name, such as a surname or initials, counts too.
    seal : callable
        What the words of `names` were sealed with.
    """
    readings = dict.fromkeys([*readings_of(text), *readings_of(parted(text))])
    return any(_reads_name(reading, names, parts, seal) for reading in readings)


def _reads_name(reading: str, names: Names, parts: bool, seal: Callable[[str], str]) -> bool:
    spellings = spellings_of(reading)
    for spelling in spellings:
        exact = frozenset(map(seal, spelling))
        candidates = {whole for word in exact for whole in names.by_word.get(word, ())}
        if any(whole <= exact for whole in candidates):
            return True
        if parts and len("".join(spelling)) >= _LEAST_PART and any(exact <= whole for whole in candidates):
            return True
        if _runs_in("".join(spelling), names, seal):
            return True
    words = {word for spelling in spellings for word in spelling}
    words |= {word[:-1] for word in words if word.endswith("s") and len(word) > _LEAST_PART}
    sealed = frozenset(map(seal, words))
    if any(whole <= sealed for word in sealed for whole in names.by_word.get(word, ())):
        return True
    return parts and (not sealed.isdisjoint(names.parts) or _is_somebodys(reading, names, seal))


def _runs_in(together: str, names: Names, seal: Callable[[str], str]) -> bool:
    """Look for names run together; `together` is a text without spaces and marks."""
    return any(
        seal(together[start : start + length]) in runs
        for length, runs in names.joined.items()
        for start in range(len(together) - length + 1)
    )


def _is_somebodys(reading: str, names: Names, seal: Callable[[str], str]) -> bool:
    """Look for initials, and for words that count as a name only if something is said to be theirs."""
    for found in _INITIALS.finditer(reading):
        if seal("".join(filter(str.isalpha, found[1]))) in names.initials:
            return True
    return any(seal(found[1] or found[2]) in names.somebodys for found in _SOMEBODYS.finditer(reading))


def clean_texts(rows: pl.DataFrame, columns: Sequence[str]) -> pl.DataFrame:
    """Take control and other unseen characters out of text columns; nothing left becomes null."""
    return rows.with_columns(_cleaned(rows[name]) for name in columns)


def _cleaned(texts: pl.Series) -> pl.Series:
    distinct = texts.drop_nulls().unique()  # few: sites, devices, balls
    clean = distinct.str.replace_all(IGNORED, "").str.replace_all(_UNSEEN, " ").str.strip_chars()
    changed = distinct != clean
    if not changed.any() and not (clean == "").any():
        return texts
    mended = pl.select(pl.when(clean != "").then(clean)).to_series()
    return texts.replace_strict(distinct, mended, default=None, return_dtype=pl.String)


def withhold_names(
    rows: pl.DataFrame, names: Names, constants: Mapping[str, str | None], seal: Callable[[str], str] = str
) -> tuple[pl.DataFrame, dict[str, int]]:
    """Replace texts that hold a golfer's name by one fixed word.

    Parameters
    ----------
    rows : pl.DataFrame
    names : Names
    constants : mapping of str to str or None
        Text columns to look at: the study's own word for the column, which stays.
    seal : callable
        What the words of `names` were sealed with.

    Returns
    -------
    tuple of pl.DataFrame and dict of str to int
        The rows, and by column how many cells were withheld; columns without any are absent.
    """
    counts: dict[str, int] = {}
    for column, constant in constants.items():
        texts = rows[column].drop_nulls().unique().to_list()
        named = [text for text in texts if text != constant and holds_name(text, names, parts=True, seal=seal)]
        if named:
            gone = pl.col(column).is_in(named)
            counts[column] = int(rows.select(gone.sum()).item())
            rows = rows.with_columns(pl.when(gone).then(pl.lit(WITHHELD)).otherwise(column).alias(column))
    return rows, counts


def withhold_names_of_each(
    rows: pl.DataFrame, names: Mapping[str, Names], constants: Mapping[str, str | None]
) -> tuple[pl.DataFrame, dict[str, dict[str, int]]]:
    """Replace texts of several logs that hold a name of their own log's golfers, as `withhold_names` does of one.

    Parameters
    ----------
    rows : pl.DataFrame
        With `source`.
    names : mapping of str to Names
        Of each log's golfers, by source.
    constants : mapping of str to str or None
        As for `withhold_names`.

    Returns
    -------
    tuple of pl.DataFrame and dict of str to dict of str to int
        The rows, and by source and column how many cells were withheld; what there are none of is absent.
    """
    counts: dict[str, dict[str, int]] = {}
    texts = rows.group_by("source").agg(pl.col(list(constants)).drop_nulls().unique())
    for column, constant in constants.items():
        for source, cells in texts.select("source", column).iter_rows():
            named = [text for text in cells if text != constant and holds_name(text, names[source], parts=True)]
            if named:
                gone = (pl.col("source") == source) & pl.col(column).is_in(named)
                counts.setdefault(source, {})[column] = int(rows.select(gone.sum()).item())
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
        if _DATA_IN_HEADER.search(header) or holds_name(header, names, parts=True)
        else printable(header) or "(no header)"
        for place, header in enumerate(headers)
        if place not in taken
    ]
