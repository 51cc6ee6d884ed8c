"""The configuration of a study: `study.yaml`, the layouts of its logs, and the list of its log files.

This is the one place where keys, defaults, units and bounds stand. Unknown keys are refused, with the nearest
valid spelling. Everything that is wrong is told at once.
"""

import unicodedata
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError, ValidationInfo, field_validator, model_validator

from pipeline.collect.times import format_problem
from pipeline.configuration.sentences import common, line_of, nearest, sentence
from pipeline.configuration.yaml_file import read_yaml
from pipeline.errors import UserError
from pipeline.tables import LOG_COLUMNS, SWING_COLUMNS
from pipeline.units import QUANTITY_OF, UNITS

Model = TypeVar("Model", bound=BaseModel)
Entry = TypeVar("Entry", "LogEntry", "SpeedLogEntry")
AnyLayout = TypeVar("AnyLayout", bound="Layout")

DEMO_STUDY = "twin-valleys"

LOG_SUFFIXES = (".csv", ".csv.gz", ".parquet", ".xlsx")


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    @field_validator("*", mode="before")
    @classmethod
    def _no_yes_for_a_number(cls, value: Any, info: ValidationInfo) -> Any:
        # pydantic takes true for 1; YAML reads yes and on as true.
        if isinstance(value, bool) and bool not in _leaves(cls.model_fields[str(info.field_name)].annotation):
            raise ValueError(f"is yes or no ({str(value).lower()}), where something else belongs; correct it")
        return value


def _leaves(annotation: Any) -> list[Any]:
    inner = get_args(annotation)
    return [leaf for one in inner for leaf in _leaves(one)] if inner else [annotation]


class LogAir(_Strict):
    """The air in which a log's shots were hit, for shots that don't say it themselves."""

    altitude_m: float | None = Field(None, ge=-500, le=5000, description="height above sea level, m")
    temp_c: float | None = Field(None, ge=-30, le=55, description="air temperature, deg C")
    pressure_hpa: float | None = Field(None, ge=500, le=1100, description="pressure at the site, hPa")
    humidity: float | None = Field(None, ge=0, le=1, description="relative humidity, 0 to 1")
    wind_along_mps: float | None = Field(None, ge=-25, le=25, description="wind along the shot, tail positive, m/s")


class StandardAir(_Strict):
    """The standard conditions of a study. The default is ISA sea level, dry, no wind."""

    temp_c: float = Field(15, ge=-30, le=55, description="air temperature, deg C")
    pressure_hpa: float = Field(1013.25, ge=500, le=1100, description="pressure, hPa")
    humidity: float = Field(0, ge=0, le=1, description="relative humidity, 0 to 1")


class LogEntry(_Strict):
    """One set of log files that share a layout and constants."""

    files: str = Field(description="glob inside the study folder: csv, csv.gz, parquet, xlsx")
    layout: str | None = Field(None, description="layout file inside the study folder")
    site: str | None = Field(None, description="site of shots whose log does not say")
    device: str | None = Field(None, description="device of shots whose log does not say")
    ball: str | None = Field(None, description="ball of shots whose log does not say")
    setting: str | None = Field(None, description="device setting of shots whose log does not say")
    group: str | None = Field(None, description="group of golfers whose log does not say")
    air: LogAir = LogAir()


class SpeedLogEntry(_Strict):
    """One set of logs of swings without a ball."""

    files: str = Field(description="glob inside the study folder")
    layout: str | None = Field(None, description="layout file inside the study folder")


class Bands(_Strict):
    """The speed bands."""

    centres: tuple[Annotated[float, Field(gt=30, lt=165)], ...] = Field(
        (70, 80, 90, 100, 110), min_length=1, description="centres of the bands, mph"
    )
    half_width_mph: float = Field(5, gt=0, le=20, description="half a band's width, mph")

    @field_validator("centres")
    @classmethod
    def _apart(cls, centres: tuple[float, ...]) -> tuple[float, ...]:
        if len(set(centres)) < len(centres):
            raise ValueError("names a centre twice")
        return tuple(sorted(centres))


class Flags(_Strict):
    """When a golfer is flagged."""

    lost_yd: float = Field(10, ge=0, le=100, description="yards lost above which a golfer is flagged, yd")
    false_discovery_rate: float = Field(0.10, gt=0, lt=1, description="expected share of wrong flags, 0 to 1")
    min_shots: int = Field(12, ge=3, description="drives in the quarter that an assessment needs")


class Privacy(_Strict):
    """Pseudonyms and the smallest published group."""

    key_file: str = Field("private/pseudonym.key", description="secret key, inside the study folder")
    min_golfers: int = Field(5, ge=1, description="golfers that a published figure rests on at least")
    group: Literal["masked", "plain"] = Field(
        "masked", description="masked: groups get pseudonyms as golfers do; plain: groups are kept as written"
    )


class Flight(_Strict):
    """Ball flight."""

    coefficients: Literal["best", "indoor-range-2001", "lyu-2018", "smits-smith-1994"] = Field(
        "best", description="published set of drag and lift coefficients; best: the one nearest to the study's drives"
    )
    turf: Literal["soft", "normal", "firm"] = Field("normal", description="firmness of the fairway, for the run")


class BandGoals(_Strict):
    """The distances that golfers of a band work towards."""

    carry_yd: dict[float, Annotated[float, Field(ge=20, le=400)]] = Field(
        {}, description="centre of a band, mph: goal for its golfers, yd of carry; else the next band's efficient carry"
    )


class Report(_Strict):
    """What people get to see."""

    sheets: Literal["flagged", "all"] = Field("flagged", description="golfers who get a sheet of their own")
    most_sheets: int = Field(1000, ge=0, description="sheets at most, the newest quarter first, in it most yards lost")


class Study(_Strict):
    """A whole `study.yaml`."""

    study: str = Field(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]*$", max_length=60, description="name: letters, digits, - _ and ."
    )
    logs: tuple[LogEntry, ...] = Field(min_length=1, description="the shot logs")
    speed_logs: tuple[SpeedLogEntry, ...] = Field((), description="swings without a ball")
    bands: Bands = Bands()
    window_tolerance_yd: float = Field(5, gt=0, le=40, description="how far below efficient a window reaches, yd")
    flags: Flags = Flags()
    privacy: Privacy = Privacy()
    air: StandardAir = StandardAir()
    flight: Flight = Flight()
    goals: BandGoals = BandGoals()
    report: Report = Report()
    seed: int = Field(1, ge=0, lt=2**32, description="seed of every random draw")

    @model_validator(mode="after")
    def _goals_of_bands(self) -> "Study":
        strange = [f"{centre:g}" for centre in sorted(set(self.goals.carry_yd) - set(self.bands.centres))]
        if strange:
            centres = ", ".join(f"{centre:g}" for centre in self.bands.centres)
            raise ValueError(f"goals.carry_yd: {', '.join(strange)} is no centre of a band; use one of {centres}")
        return self


class ColumnFrom(_Strict):
    """Where a standard column comes from in a foreign log."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
    source: str = Field(alias="from", min_length=1, description="the log's own header")
    unit: str | None = Field(None, description="the log's own unit; none means the standard one")
    format: str | None = Field(None, description="strftime format of a time; none means ISO 8601")

    @field_validator("source")
    @classmethod
    def _bare(cls, source: str) -> str:
        if not source.strip():
            raise ValueError("names no header; write the log's own header")
        return source.strip()  # as headers are compared


class Layout(_Strict):
    """How a foreign log is written and where the standard columns are in it."""

    known: ClassVar[tuple[str, ...]] = LOG_COLUMNS
    time: ClassVar[str] = "struck_at"
    delimiter: str = Field(",", min_length=1, max_length=1, description="between two cells")
    decimal: Literal[".", ","] = Field(".", description="decimal mark")
    encoding: str = Field("utf-8", description="text encoding")
    skip_rows: int = Field(0, ge=0, description="lines before the header")
    timezone: str | None = Field(None, description="IANA zone of times without an offset")
    columns: dict[str, ColumnFrom] = Field(min_length=1, description="standard column: where it comes from")

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
        except LookupError:
            raise ValueError(f"is no known text encoding: {encoding!r}") from None
        return encoding

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, zone: str | None) -> str | None:
        from zoneinfo import available_timezones

        if zone is not None and zone not in available_timezones():
            raise ValueError(f"is no IANA time zone: {zone!r}{nearest(zone, sorted(available_timezones()))}")
        return zone

    @model_validator(mode="after")
    def _sound(self) -> "Layout":
        problems = []
        taken: dict[str, str] = {}
        for name, column in self.columns.items():
            if name not in self.known:
                problems.append(f"{name!r} is no standard column{nearest(name, self.known)}")
                continue
            if column.source in taken:
                problems.append(
                    f"columns {taken[column.source]!r} and {name!r} both come from the header {column.source!r}"
                )
            taken[column.source] = name
            if column.format is not None and "%z" in column.format.removesuffix("%z"):
                problems.append(f"column {name!r} has %z inside its format; an offset must end the time")
            elif column.format is not None and (fault := format_problem(column.format)) is not None:
                problems.append(
                    f"column {name!r} has the format {column.format!r}, which {fault}; write one such as "
                    "'%d.%m.%Y %H:%M:%S'"
                )
            if column.format is not None and name != self.time:
                problems.append(f"column {name!r} can't have a format; leave it out")
            if column.unit is not None:
                allowed = sorted(UNITS.get(QUANTITY_OF.get(name, ""), {}))
                if column.unit not in allowed:
                    mend = f"use one of {', '.join(allowed)}" if allowed else "leave the unit out"
                    problems.append(f"column {name!r} can't have the unit {column.unit!r}; {mend}")
        if problems:
            raise ValueError("; ".join(problems))
        return self


STANDARD_LAYOUT = Layout(columns={name: ColumnFrom(source=name) for name in LOG_COLUMNS})


class SpeedLayout(Layout):
    """The same for a log of swings without a ball."""

    known: ClassVar[tuple[str, ...]] = SWING_COLUMNS
    time: ClassVar[str] = "swung_at"


STANDARD_SPEED_LAYOUT = SpeedLayout(columns={name: ColumnFrom(source=name) for name in SWING_COLUMNS})


class LogFile(_Strict):
    """One log file of a study with everything that reading it needs."""

    source: str = Field(description="path inside the study folder, with forward slashes")
    entry: LogEntry
    layout: Layout
    group: Literal["masked", "plain"] = Field("masked", description="the study's privacy.group")


class SpeedFile(_Strict):
    """One log file of swings without a ball with everything that reading it needs."""

    source: str = Field(description="path inside the study folder, with forward slashes")
    entry: SpeedLogEntry
    layout: SpeedLayout


def load_study(place: Path) -> tuple[Path, Study]:
    """Read and check a study's configuration.

    Parameters
    ----------
    place : Path
        The study folder, or the `study.yaml` in it.

    Returns
    -------
    tuple of Path and Study
        The study folder and its configuration.

    Raises
    ------
    UserError
        If the file is missing, is not YAML, or breaks the model; every problem is told, a line each.
    """
    folder = place.parent if place.is_file() else place
    path = place if place.is_file() else place / "study.yaml"
    return folder, _load(path, Study)


def load_layout(path: Path) -> Layout:
    """Read and check a layout file; raises UserError as `load_study` does."""
    return _load(path, Layout)


def find_logs(folder: Path, study: Study) -> list[LogFile]:
    """List the study's log files in the order of their paths.

    Raises
    ------
    UserError
        If `survey_logs` finds a problem; every problem is told, a line each.
    """
    found, problems = survey_logs(folder, study)
    if problems:
        raise UserError("\n".join(problems))
    return found


def survey_logs(folder: Path, study: Study) -> tuple[list[LogFile], list[str]]:
    """List the log files that can be described, in the order of their paths, and what is wrong with the others.

    A problem is a pattern that matches nothing or leaves the folder, a file that two entries match, an unknown
    suffix, or a wrong layout.
    """
    problems: list[str] = []
    described = _described(folder, "logs", study.logs, STANDARD_LAYOUT, set(), problems)
    group = study.privacy.group
    return [LogFile(source=one, entry=e, layout=layout, group=group) for one, e, layout in described], problems


def find_speed_logs(folder: Path, study: Study) -> list[SpeedFile]:
    """List the logs of swings without a ball in the order of their paths; raises UserError as `find_logs` does."""
    found, problems = survey_speed_logs(folder, study)
    if problems:
        raise UserError("\n".join(problems))
    return found


def survey_speed_logs(folder: Path, study: Study) -> tuple[list[SpeedFile], list[str]]:
    """List the logs of swings without a ball and what is wrong with the others, as `survey_logs` does.

    A file that is a shot log too is a problem.
    """
    problems: list[str] = []
    shots = {log.source for log in survey_logs(folder, study)[0]} if study.speed_logs else set()
    described = _described(folder, "speed_logs", study.speed_logs, STANDARD_SPEED_LAYOUT, shots, problems)
    return [SpeedFile(source=source, entry=entry, layout=layout) for source, entry, layout in described], problems


def _described(
    folder: Path, name: str, entries: Sequence[Entry], standard: AnyLayout, seen: set[str], problems: list[str]
) -> list[tuple[str, Entry, AnyLayout]]:
    """Give source, entry and layout of the log files under a key of study.yaml; add to `seen` and `problems`."""
    found: dict[str, tuple[str, Entry, AnyLayout]] = {}
    for index, entry in enumerate(entries):
        key = f"{folder / 'study.yaml'}: {name}[{index}]"
        layout: AnyLayout | None = standard
        if entry.layout is not None:
            try:
                layout = _load(folder / entry.layout, type(standard))
            except UserError as error:
                layout = None
                problems += [line for line in str(error).splitlines() if line not in problems]
        for source in _matches(folder, entry.files, f"{key}.files", problems):
            if any(unicodedata.category(sign) in ("Cc", "Cf", "Zl", "Zp") for sign in source):
                problems.append(f"{key}.files: {source!a} has control characters in its name; rename the file.")
            elif source in seen:
                problems.append(f"{key}.files: {source} is matched by an earlier entry too; let one match it.")
            elif not source.lower().endswith(LOG_SUFFIXES):
                problems.append(f"{key}.files: {source} is none of {', '.join(LOG_SUFFIXES)}; convert or leave it out.")
            elif layout is not None:
                found[source] = (source, entry, layout)
            seen.add(source)
    return [found[source] for source in sorted(found)]


def _matches(folder: Path, pattern: str, key: str, problems: list[str]) -> list[str]:
    if Path(pattern).is_absolute() or ".." in Path(pattern).parts:
        problems.append(f"{key}: {pattern!r} leaves the study folder; name files inside it.")
        return []
    matches = sorted(path.relative_to(folder).as_posix() for path in folder.glob(pattern) if path.is_file())
    if not matches:
        problems.append(f"{key}: no file matches {pattern!r} in {folder}; correct the pattern or add the logs.")
    return matches


def _load(path: Path, model: type[Model]) -> Model:
    study = model is Study
    raw, lines = read_yaml(
        path, "give the path of a folder with a study.yaml" if study else "correct the path after 'layout:'"
    )
    if not isinstance(raw, dict):
        needed = " and ".join(f"'{name}:'" for name, one in model.model_fields.items() if one.is_required())
        found = "a list" if isinstance(raw, list) else "text" if isinstance(raw, str) else "no keys"
        raise UserError(f"{path}: holds {found}{'' if found == 'no keys' else ', not keys'}; write at least {needed}.")
    try:
        return model.model_validate(raw)
    except ValidationError as error:
        errors: list[dict[str, Any]] = [{**e} for e in error.errors()]
        # A list whose items failed is also reported as too short; the items' own errors say enough.
        told = [e for e in errors if not any(len(o["loc"]) > len(e["loc"]) == len(common(o, e)) for o in errors)]
        raise UserError("\n".join(f"{path}: {line_of(lines, e)}{sentence(model, e)}" for e in told)) from None
