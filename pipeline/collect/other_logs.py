"""Golfers' names on their way from log to log, as digests: a text may hold the name of another log's golfer (pure).

Between logs names go as keyed digests of their words, 64 bits each (HMAC-SHA256), so that they can be kept on the way
and nobody without the key can try out names against them.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import polars as pl

from pipeline.collect.clean_log import Cleaned, texts_kept
from pipeline.collect.name_words import alike_key
from pipeline.collect.pseudonym import keyed_digest
from pipeline.collect.withheld import Names, all_names, holds_name, withhold_names
from pipeline.configuration.layouts import LogFile

_HEX_OF_WORD = 16
LOOKS_ALIKE = "looks like"  # in what is said of two golfers whose names do


@dataclass(frozen=True)
class SealedNames:
    """What other partitions may know of the golfers of one, in digests.

    Attributes
    ----------
    wholes, parts, somebodys, initials, joined
        As of `Names`, `joined` by its length as text.
    golfers : list of list of str
        Pseudonym, digest of the name's words in any order, and source, of each golfer of each log.
    own_words : dict of str to list of str
        Text column: the study's own words for it, which stay. They are no digests.
    """

    wholes: list[list[str]]
    parts: list[str]
    somebodys: list[str]
    initials: list[str]
    joined: dict[str, list[str]]
    golfers: list[list[str]]
    own_words: dict[str, list[str]]

    def names(self) -> Names:
        """Give the names, sealed, as they can be looked for."""
        return Names(
            frozenset(map(frozenset, self.wholes)),
            frozenset(self.parts),
            frozenset(self.somebodys),
            frozenset(self.initials),
            {int(length): frozenset(runs) for length, runs in self.joined.items()},
        )


@cache
def sealer(key: bytes) -> Callable[[str], str]:
    """Give what puts a digest in the place of a word; one for a key, since logs share golfers."""

    @cache
    def seal(word: str) -> str:
        return keyed_digest(key, f"word\0{word}".encode())[:_HEX_OF_WORD]

    return seal


def sealed_names(log_file: LogFile, cleaned: Cleaned, key: bytes) -> SealedNames:
    """Give what other logs may know of the golfers of one."""
    seal = sealer(key)
    names = cleaned.names.sealed(seal)
    golfers = {
        (golfer, seal(alike), log_file.source)
        for name, golfer in cleaned.golfers.items()
        if (alike := alike_key(name)) is not None
    }
    own = {name: getattr(log_file.entry, name) for name in sorted(texts_kept(log_file))}
    return _spelled(names, golfers, {name: {word} if word is not None else set() for name, word in own.items()})


def joined_names(several: Sequence[SealedNames]) -> SealedNames:
    """Put those of a partition's logs together, the same whatever the logs' order."""
    own: defaultdict[str, set[str]] = defaultdict(set)
    for one in several:
        for column, words in one.own_words.items():
            own[column].update(words)
    golfers = {(golfer, alike, source) for one in several for golfer, alike, source in one.golfers}
    return _spelled(all_names(one.names() for one in several), golfers, own)


def _spelled(names: Names, golfers: Iterable[tuple[str, str, str]], own: Mapping[str, Iterable[str]]) -> SealedNames:
    """Put sealed names into lists, in order."""
    return SealedNames(
        sorted(sorted(whole) for whole in names.wholes),
        sorted(names.parts),
        sorted(names.somebodys),
        sorted(names.initials),
        {str(length): sorted(runs) for length, runs in names.joined.items()},
        [list(one) for one in sorted(golfers)],
        {column: sorted(words) for column, words in sorted(own.items())},
    )


def named_texts(texts: Mapping[str, Sequence[str]], known: Sequence[SealedNames], key: bytes) -> dict[str, list[str]]:
    """Find the texts that hold the name of a golfer of any log.

    Parameters
    ----------
    texts : mapping of str to sequence of str
        Column: the texts in it.
    known : sequence of SealedNames
        Of all partitions.
    key : bytes
        The study's key.

    Returns
    -------
    dict of str to list of str
        Column: the texts to withhold, in order; columns without any are absent. The study's own words stay, and so do
        columns that hold pseudonyms.
    """
    names, seal = all_names(one.names() for one in known), sealer(key)
    own: defaultdict[str, set[str]] = defaultdict(set)
    for one in known:
        for column, words in one.own_words.items():
            own[column].update(words)
    found = {
        column: sorted(text for text in set(there) - own[column] if holds_name(text, names, parts=True, seal=seal))
        for column, there in texts.items()
        if column in own
    }
    return {column: named for column, named in found.items() if named}


def told_of(named: Mapping[str, Sequence[str]]) -> list[str]:
    """Say how many texts of `named_texts` were withheld; no line where none was."""
    told = ", ".join(f"{len(texts)} in {column}" for column, texts in named.items())
    return [f"Texts withheld, as they hold a name of another log's golfer: {told}."] if told else []


def without_names_of(
    rows: pl.DataFrame, log_file: LogFile, names: Names, key: bytes
) -> tuple[pl.DataFrame, dict[str, int]]:
    """Withhold texts of accepted rows that hold a sealed name of a golfer of other logs; the study's own words stay."""
    return withhold_names(rows, names, texts_kept(log_file), sealer(key))


def look_alikes(golfers: Iterable[Sequence[str]]) -> dict[str, list[str]]:
    """Say which golfers' names look alike, though they differ: they may be one person.

    Parameters
    ----------
    golfers : iterable of (str, str, str)
        Pseudonym, words in any order (or their digest), source; `sealed_names` gives them.

    Returns
    -------
    dict of str to list of str
        Source: clauses. A pair is told with the first log, by source, of the golfer who comes later.
    """
    every = list(golfers)
    owner: dict[str, str] = {}
    # Of a million names few are shared, and only these are put in order.
    shared = {alike for golfer, alike, _ in every if owner.setdefault(alike, golfer) != golfer}
    first: defaultdict[str, dict[str, str]] = defaultdict(dict)
    for golfer, alike, source in sorted((one for one in every if one[1] in shared), key=lambda one: (one[2], one[0])):
        first[alike].setdefault(golfer, source)
    found: defaultdict[str, list[str]] = defaultdict(list)
    for several in first.values():
        earlier, *later = several
        for golfer in later:
            found[several[golfer]].append(
                f"golfer {golfer}'s name {LOOKS_ALIKE} that of {earlier} ({several[earlier]}) but for the order of "
                "its words, accents or marks: both are kept apart; if they are one person, spell the name one way"
            )
    return dict(found)
