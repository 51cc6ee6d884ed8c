"""Cleaning logs: their drives, pseudonymous, their rejected rows, and a receipt of each (pure: touches no file)."""

from collections import Counter
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import NamedTuple, Protocol

import numpy as np
import polars as pl

from pipeline.collect.further import IN_BATCHES, Further, places_of
from pipeline.collect.layout import Matched, match_headers, standardise
from pipeline.collect.opened_log import LogRefusedError, OpenLog
from pipeline.collect.plausible import Impression, fly_together
from pipeline.collect.pseudonym import mask, shot_keys
from pipeline.collect.receipt import Receipt
from pipeline.collect.rows_taken import RowsFound
from pipeline.collect.rules import Split, split
from pipeline.collect.times import latest_day
from pipeline.collect.withheld import Names, clean_texts, holds_name, known_names, shown_headers, withhold_names_of_each
from pipeline.collect.without_flight import of_the_other_kind
from pipeline.configuration.layouts import LogFile
from pipeline.errors import UserError
from pipeline.tables.logs import OPTIONAL_TEXTS

NO_ROWS = "it holds a header and no rows"


class Sink(Protocol):
    """What takes the rows of a log, piece by piece."""

    def __call__(self, rows: Split, /) -> None:
        """Take the next piece."""


class Cleaned(NamedTuple):
    """A log whose rows were cleaned, before it is judged as a whole."""

    receipt: Receipt
    impression: Impression
    names: Names
    golfers: Mapping[str, str]
    """Pseudonym by name, as written."""


@dataclass
class Cleaning:
    """A log whose rows are being cleaned: what is known of it before them, and what is counted on the way.

    Attributes
    ----------
    opened, log_file
        The log.
    matched : Matched
        Its columns.
    names : Names
        Of its golfers.
    taken, further
        Which of its rows are taken, and what they say in the columns of regressors.
    wanted : dict of str to int
        All columns that are read: the name to give, the position in the log.
    """

    opened: OpenLog
    _reading: OpenLog | None
    log_file: LogFile
    matched: Matched
    names: Names
    taken: RowsFound
    further: Further
    wanted: dict[str, int]
    _impression: Impression
    _rows: int = 0
    _accepted: int = 0
    _withheld: Counter[str] = field(default_factory=Counter)
    _golfers: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, opened: OpenLog, log_file: LogFile, *, small: bool = False) -> "Cleaning":
        """Begin with an open log, whose rows memory may hold if it is small.

        Raises
        ------
        LogRefusedError
            If its columns show that it can't be used.
        """
        matched = matched_columns(opened, log_file)
        places = places_of(opened.headers, log_file.layout, log_file.regressors, matched)
        further = Further(tuple(places), log_file.layout, opened.typed_as_text)
        taken = RowsFound.of(opened.headers, log_file.layout)
        wanted = matched.positions | {f"{IN_BATCHES}{name}": place for name, place in places.items()} | taken.positions
        reading = opened.held(wanted) if small else opened
        # Before all rows, for any of them may hold the name of any golfer.
        names = known_names(reading.distinct(matched.positions["golfer"]))
        return cls(opened, reading, log_file, matched, names, taken, further, wanted, Impression(log_file.layout))

    def pieces(self) -> Iterator[pl.DataFrame]:
        """Read the rows that are taken, once; raise LogRefusedError if the file turns out to be damaged."""
        reading, self._reading = self._reading or self.opened, None  # which frees what it holds
        for whole in reading.batches(self.wanted):
            yield self.taken.take(whole)

    def kind(self, raw: pl.DataFrame) -> Hashable:
        """Tell apart what can't be cleaned together: pieces of other columns, types, layouts or entries."""
        description = self.log_file.model_copy(update={"source": ""}).model_dump_json(by_alias=True)
        return description, self.opened.typed_as_text, tuple(raw.schema.items())

    def take(
        self, raw: pl.DataFrame, read: pl.DataFrame, part: Split, withheld: Mapping[str, int], golfers: dict[str, str]
    ) -> Split:
        """Take a piece in its states, from cells to split rows; give these with what they say further."""
        self._impression.take(read, part)
        self._rows += raw.height
        self._accepted += part.accepted.height
        self._withheld.update(withheld)
        self._golfers |= golfers
        return part._replace(readings=self.further.take(raw, part.accepted)) if self.log_file.regressors else part

    def cleaned(self) -> Cleaned:
        """Give the log after its last piece; raises as `clean_log` does."""
        if identifying := self.further.identifying():
            raise UserError("\n".join(identifying))
        if (reason := self._impression.refusal()) is not None:
            raise LogRefusedError(reason)
        opened, log_file, rows, taken = self.opened, self.log_file, self._rows, self.taken
        standard = log_file.entry.layout is None
        receipt = Receipt(
            source=log_file.source,
            sha256=opened.sha256,
            status="used",
            rows=rows,
            accepted=self._accepted,
            rejected=rows - self._accepted,
            dropped=shown_headers(opened.headers, opened.used(self.wanted.values()), self.names),
            absent=[] if standard else [name for name in self.matched.absent if name not in log_file.required],
            withheld=dict(sorted(self._withheld.items())),
            named_file=holds_name(log_file.source, self.names, parts=False),
            notes=[*opened.notes, *taken.remarks(rows), *([] if rows or taken.left_out else [NO_ROWS])],
            further=self.further.counts(),
            left_out=taken.left_out,
        )
        return Cleaned(receipt, self._impression, self.names, self._golfers)


def clean_log(opened: OpenLog, log_file: LogFile, key: bytes, sink: Sink) -> Cleaned:
    """Clean and mask the rows of an open log, handing them to `sink` piece by piece.

    Raises
    ------
    LogRefusedError
        If the log can't be used, which may show after some pieces.
    UserError
        If a further column identifies golfers.
    """
    log = Cleaning.of(opened, log_file)
    pseudonyms: dict[str, str] = {}
    for raw in log.pieces():
        [part] = clean_pieces([(log, raw)], key, pseudonyms)
        sink(part)
    return log.cleaned()


def clean_pieces(
    pieces: Sequence[tuple[Cleaning, pl.DataFrame]], key: bytes, pseudonyms: dict[str, str]
) -> list[Split]:
    """Clean and mask pieces of one kind at once: for small logs far quicker than one by one, with the same outcome.

    Parameters
    ----------
    pieces : sequence of tuple of Cleaning and DataFrame
        Logs, each once, and cells of each, all of one `Cleaning.kind`; each log takes what becomes of its own.
    key : bytes
        The study's key.
    pseudonyms : dict of str to str
        Those of golfers that were worked out before; takes the new ones.

    Returns
    -------
    list of Split
        The rows of each piece.
    """
    first, heights = pieces[0][0], [raw.height for _, raw in pieces]
    read = standardise(pl.concat([raw for _, raw in pieces]), first.log_file, typed_as_text=first.opened.typed_as_text)
    sources = pl.Series("source", [log.log_file.source for log, _ in pieces])
    read = read.with_columns(sources.gather(np.repeat(np.arange(len(pieces)), heights)))
    nameless, withheld = without_names(read, first.log_file, {log.log_file.source: log.names for log, _ in pieces})
    rows = split(masked(nameless, first.log_file, key, pseudonyms), latest_day(date.today()), first.log_file.table)
    rejected = rows.rejected.partition_by("source", as_dict=True)
    found, begin, accepted = [], 0, 0
    for (log, raw), source, height in zip(pieces, sources, heights, strict=True):
        own = read.slice(begin, height)
        broken = rejected.get((source,), rows.rejected.clear())
        part = Split(rows.accepted.slice(accepted, height - broken.height), broken)
        golfers = {name: pseudonyms[name] for name in own["golfer"].drop_nulls().unique()}
        found.append(log.take(raw, own, part, withheld.get(source, {}), golfers))
        begin, accepted = begin + height, accepted + part.accepted.height
    return found


def judged(logs: Sequence[Cleaned]) -> list[Receipt]:
    """Say of each log what looks wrong with it as a whole, and how its drives carry against flight."""
    fly_together([log.impression for log in logs])
    return [
        replace(
            log.receipt,
            notes=[*log.receipt.notes, *log.impression.remarks()],
            carry_over_flight=log.impression.carry_over_flight(),
        )
        for log in logs
    ]


def without_names(
    rows: pl.DataFrame, log_file: LogFile, names: Mapping[str, Names]
) -> tuple[pl.DataFrame, dict[str, dict[str, int]]]:
    """Clean the texts of standardised rows and withhold those that hold a golfer's name; the study's own words stay.

    `names` has those of the golfers of each log, by its source; a log's rows are looked through for these alone. What
    was withheld is counted by source.
    """
    constants = texts_kept(log_file)
    return withhold_names_of_each(clean_texts(rows, list(constants)), names, constants)


def texts_kept(log_file: LogFile) -> dict[str, str | None]:
    """Name the text columns whose texts are stored as they are, with the study's own word for each."""
    columns = [name for name in OPTIONAL_TEXTS if name != "group" or log_file.group == "plain"]
    return {name: getattr(log_file.entry, name) for name in columns}


def matched_columns(opened: OpenLog, log_file: LogFile) -> Matched:
    """Match an open log's headers; raise LogRefusedError if required ones are missing, or it is of the other kind."""
    matched = match_headers(opened.headers, log_file.layout, required=log_file.required)
    if (reason := of_the_other_kind(opened.headers, matched, by_hand=log_file.by_hand)) is not None:
        raise LogRefusedError(reason)
    if matched.problems:
        raise LogRefusedError("; ".join(matched.problems))
    return matched


def masked(rows: pl.DataFrame, log_file: LogFile, key: bytes, pseudonyms: dict[str, str]) -> pl.DataFrame:
    """Replace the names in standardised rows, with their `source`, by pseudonyms, and the time by its fingerprint.

    `pseudonyms` has those of golfers that were worked out before, and takes the new ones.
    """
    golfers = mask(rows["golfer"], key, "golfer", pseudonyms)
    return rows.with_columns(
        golfers,
        rows["group"] if log_file.group == "plain" else mask(rows["group"], key, "group"),
        shot_keys(golfers, rows["second"], key),
    ).drop("second")


def golfers_of(opened: OpenLog, log_file: LogFile) -> list[str]:
    """List the distinct golfers of an open log, as written, in the order of their first rows; for names.csv alone."""
    matched, taken = matched_columns(opened, log_file), RowsFound.of(opened.headers, log_file.layout)
    return distinct_in_order(
        standardise(taken.take(raw), log_file, typed_as_text=opened.typed_as_text)["golfer"]
        for raw in opened.batches(matched.positions | taken.positions)
    )


def distinct_in_order(pieces: Iterable[pl.Series]) -> list[str]:
    """List the distinct texts of some pieces in the order in which they first come; nulls are none."""
    distinct = [piece.drop_nulls().unique(maintain_order=True) for piece in pieces]
    texts: list[str] = pl.concat(distinct).unique(maintain_order=True).to_list() if distinct else []
    return texts
