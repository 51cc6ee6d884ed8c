"""Layouts: how a foreign log is written and where the standard columns are in it; log files with theirs."""

from collections.abc import Sequence
from typing import ClassVar, Literal
from zoneinfo import available_timezones

from pydantic import ConfigDict, Field, ValidationInfo, field_validator, model_validator

from pipeline.configuration.sentences import nearest
from pipeline.configuration.strict import Strict
from pipeline.configuration.study import LogEntry, SpeedLogEntry
from pipeline.configuration.time_format import EPOCHS, format_problem, knows_zone
from pipeline.tables.logs import BY_HAND_REQUIRED, LOG_COLUMNS, REQUIRED, HandShots, Shots
from pipeline.tables.practice import SWING_COLUMNS
from pipeline.units import units_of


class ColumnFrom(Strict):
    """Where a standard column comes from in a foreign log."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
    source: str = Field(alias="from", min_length=1, description="Header of the column in the log.")
    unit: str | None = Field(
        None, description="Unit of the column in the log, if it isn't the standard one; docs/columns.md lists units."
    )
    format: str | None = Field(
        None,
        description="How a time is written, such as %d.%m.%Y %H:%M:%S; epoch for seconds since 1970, epoch_ms for "
        "milliseconds. Without it: ISO 8601.",
    )

    @field_validator("source")
    @classmethod
    def _bare(cls, source: str) -> str:
        if not source.strip():
            raise ValueError("names no header; write the log's own header")
        return source.strip()  # as headers are compared


class RowsTaken(Strict):
    """Which rows of a foreign log are taken: those of the driver, where a log holds every club's."""

    column: str = Field(min_length=1, description="Header of the column by which rows are taken, such as the club's.")
    take: tuple[str, ...] = Field(
        min_length=1,
        description="What it says in the rows to take, capitals aside. Other rows are counted and left out.",
    )

    @field_validator("column")
    @classmethod
    def _bare(cls, column: str) -> str:
        if not column.strip():
            raise ValueError("names no header; write the log's own header")
        return column.strip()


class Layout(Strict):
    """How a foreign log is written and where the standard columns are in it."""

    known: ClassVar[tuple[str, ...]] = LOG_COLUMNS
    time: ClassVar[str] = "struck_at"
    delimiter: str = Field(
        ",", min_length=1, max_length=1, description="What separates two cells: a comma, a semicolon, a tab."
    )
    decimal: Literal[".", ","] = Field(".", description="Decimal mark.")
    thousands: Literal[".", ",", " ", "'"] | None = Field(
        None,
        description="Mark that may stand between thousands, as in 2,650. In a workbook a point is always a decimal "
        "mark.",
    )
    encoding: str = Field("utf-8", description="Text encoding, such as latin-1.")
    sheet: str | None = Field(
        None, min_length=1, description="Sheet of a workbook that holds the log. The first unless given."
    )
    skip_rows: int = Field(0, ge=0, le=1_000_000, description="Lines before the header.")
    skip_after_header: int = Field(
        0, ge=0, le=20, description="Lines between the header and the first drive, such as a line of units."
    )
    join: dict[str, tuple[str, ...]] = Field(
        {},
        description="Columns that stand in parts, such as a day and a time of day: a name of your own for each, which "
        "`from` can take, and the headers of its parts. Their cells are joined by a blank.",
    )
    rows: RowsTaken | None = Field(None, description="Which rows to take, where not all are drives. All unless given.")
    timezone: str | None = Field(None, description="IANA zone of times without an offset, such as Europe/Vienna.")
    columns: dict[str, ColumnFrom] = Field(
        min_length=1,
        description="Where each standard column comes from, and each regressor of `study.yaml`. Other columns of the "
        "log are dropped.",
    )

    @field_validator("delimiter")
    @classmethod
    def _plain_delimiter(cls, delimiter: str) -> str:
        if not delimiter.isascii() or delimiter in '"\r\n':
            raise ValueError(f"can't be {delimiter!r}; use one plain character such as ';' or a tab")
        return delimiter

    @field_validator("encoding")
    @classmethod
    def _known_encoding(cls, encoding: str) -> str:
        try:
            "".encode(encoding)
        except (LookupError, ValueError):
            raise ValueError(f"isn't a known text encoding: {encoding!r}") from None
        return encoding

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, zone: str | None) -> str | None:
        if zone is not None and zone not in available_timezones():
            raise ValueError(f"isn't an IANA time zone: {zone!r}{nearest(zone, sorted(available_timezones()))}")
        if zone is not None and not knows_zone(zone):
            raise ValueError(f"isn't a time zone that can be used: {zone!r}; name a place, such as Europe/Vienna")
        return zone

    @field_validator("join")
    @classmethod
    def _of_parts(cls, join: dict[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
        bare = {name.strip(): tuple(part.strip() for part in parts) for name, parts in join.items()}
        for name, parts in bare.items():
            if not name or len(parts) < 2 or not all(parts):
                raise ValueError(f"{name!r} must have a name, and two headers of the log or more")
            if any(part in bare for part in parts):
                raise ValueError(f"{name!r} is made of a joined column; name the log's own headers")
        return bare

    @model_validator(mode="after")
    def _sound(self, info: ValidationInfo) -> "Layout":
        problems = []
        taken: dict[str, str] = {}
        known = (*self.known, *(info.context or {}).get("regressors", ()))
        for name, column in self.columns.items():
            if name not in known:
                problems.append(f"{name!r} isn't a standard column{nearest(name, known)}")
                continue
            if column.source in taken:
                problems.append(
                    f"columns {taken[column.source]!r} and {name!r} both come from the header {column.source!r}"
                )
            taken[column.source] = name
            if column.format is not None and "%z" in column.format.removesuffix("%z"):
                problems.append(f"column {name!r} has %z inside its format; an offset must end the time")
            elif (
                column.format is not None
                and column.format not in EPOCHS
                and (fault := format_problem(column.format)) is not None
            ):
                problems.append(
                    f"column {name!r} has the format {column.format!r}, which {fault}; write one such as "
                    "'%d.%m.%Y %H:%M:%S'"
                )
            if column.format is not None and name != self.time:
                problems.append(f"column {name!r} can't have a format; leave it out")
            if column.unit is not None:
                allowed = sorted(units_of(name)) if name in self.known else []
                if column.unit not in allowed:
                    mend = f"use one of {', '.join(allowed)}" if allowed else "leave the unit out"
                    problems.append(f"column {name!r} can't have the unit {column.unit!r}; {mend}")
        if self.thousands == self.decimal:
            problems.append(f"'thousands' and 'decimal' can't both be {self.decimal!r}; leave out 'thousands'")
        if self.rows is not None and self.rows.column in taken:
            problems.append(f"rows can't take the header {self.rows.column!r}, which {taken[self.rows.column]!r} has")
        if problems:
            raise ValueError("; ".join(problems))
        return self


STANDARD_LAYOUT = Layout(columns={name: ColumnFrom(source=name) for name in LOG_COLUMNS})


class SpeedLayout(Layout):
    """The same for a log of swings without a ball."""

    known: ClassVar[tuple[str, ...]] = SWING_COLUMNS
    time: ClassVar[str] = "swung_at"


STANDARD_SPEED_LAYOUT = SpeedLayout(columns={name: ColumnFrom(source=name) for name in SWING_COLUMNS})


class LogFile(Strict):
    """One log file of a study with everything that reading it needs."""

    source: str = Field(description="path inside the study folder, with forward slashes")
    entry: LogEntry
    layout: Layout
    group: Literal["masked", "plain"] = Field("masked", description="the study's privacy.group")
    regressors: tuple[str, ...] = Field((), description="the study's regressors that aren't standard columns")
    by_hand: bool = Field(False, description="whether it is of a study of results by hand, without launch and spin")

    @property
    def required(self) -> tuple[str, ...]:
        """The columns that it must have."""
        return BY_HAND_REQUIRED if self.by_hand else REQUIRED

    @property
    def table(self) -> type[Shots]:
        """What its accepted rows are."""
        return HandShots if self.by_hand else Shots

    @classmethod
    def of(
        cls, source: str, entry: LogEntry, layout: Layout, group: str = "masked", regressors: Sequence[str] = ()
    ) -> "LogFile":
        """Make one whose layout may map the regressors too."""
        parts = {"source": source, "entry": entry, "layout": layout, "group": group, "regressors": tuple(regressors)}
        return cls.model_validate(parts, context={"regressors": tuple(regressors)})


class SpeedFile(Strict):
    """One log file of swings without a ball with everything that reading it needs."""

    source: str = Field(description="path inside the study folder, with forward slashes")
    entry: SpeedLogEntry
    layout: SpeedLayout
