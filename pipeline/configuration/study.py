"""The configuration of a study: every key of `study.yaml` with its type, unit, bounds and default.

This is the one place where they stand. Unknown keys are refused, with the nearest valid spelling.
"""

import re
from typing import Annotated, Literal, get_args

from pydantic import Field, ValidationInfo, field_validator, model_validator

from pipeline.configuration.sentences import nearest
from pipeline.configuration.strict import Strict

DEMO_STUDY = "twin-valleys"

# A study's results are the folder results/NAME, where a file stands already that git keeps.
_TAKEN = {"readme.md"}
# Names of devices on Windows, with any ending: no folder there can have them.
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(1, 10))}


class LogAir(Strict):
    """The air in which a log's shots were hit, for shots that don't say it themselves."""

    altitude_m: float | None = Field(
        None, ge=-500, le=5000, description="Height above sea level. Used where the pressure isn't known."
    )
    temp_c: float | None = Field(None, ge=-30, le=55, description="Air temperature.")
    pressure_hpa: float | None = Field(
        None, ge=500, le=1100, description="Air pressure at the site, not reduced to sea level."
    )
    humidity: float | None = Field(None, ge=0, le=1, description="Relative humidity.")
    wind_along_mps: float | None = Field(
        None, ge=-25, le=25, description="Wind along the drive; a tail wind is positive."
    )


class StandardAir(Strict):
    """The standard conditions of a study. The default is ISA sea level, dry, no wind."""

    temp_c: float = Field(15, ge=-30, le=55, description="Air temperature of the standard conditions.")
    pressure_hpa: float = Field(1013.25, ge=500, le=1100, description="Air pressure of the standard conditions.")
    humidity: float = Field(0, ge=0, le=1, description="Relative humidity of the standard conditions.")

    @property
    def text(self) -> str:
        """The conditions in words."""
        return f"{self.temp_c:g} deg C, {self.pressure_hpa:g} hPa and humidity {self.humidity:g}"


class LogEntry(Strict):
    """One set of log files that share a layout and constants."""

    files: str = Field(
        description="Pattern of files inside the study folder, such as logs/bay_*.csv: csv, csv.gz, parquet or xlsx."
    )
    layout: str | None = Field(
        None, description="Layout file inside the study folder, for logs whose columns are not the standard ones."
    )
    site: str | None = Field(None, description="Where drives were hit whose log doesn't say.")
    device: str | None = Field(None, description="What measured drives whose log doesn't say.")
    ball: str | None = Field(None, description="Kind of ball of drives whose log doesn't say.")
    setting: str | None = Field(None, description="Setting of the device for drives whose log doesn't say.")
    group: str | None = Field(None, description="Group of golfers whose log doesn't say.")
    air: LogAir = LogAir()


class SpeedLogEntry(Strict):
    """One set of logs of swings without a ball."""

    files: str = Field(description="Pattern of files inside the study folder, such as speed/*.csv.")
    layout: str | None = Field(
        None, description="Layout file inside the study folder, for logs whose columns are not the standard ones."
    )


class Bands(Strict):
    """The speed bands."""

    centres: tuple[Annotated[float, Field(gt=30, lt=165)], ...] = Field(
        (70, 80, 90, 100, 110),
        min_length=1,
        description="Centers of the bands of club speed, which name them.",
        json_schema_extra={"unit": "mph"},
    )
    half_width_mph: float = Field(
        5,
        gt=0,
        le=20,
        description="How far a band reaches to either side of its center.",
    )

    @field_validator("centres")
    @classmethod
    def _apart(cls, centres: tuple[float, ...]) -> tuple[float, ...]:
        if len(set(centres)) < len(centres):
            raise ValueError("names a center twice")
        return tuple(sorted(centres))


class Flags(Strict):
    """When a golfer is flagged."""

    lost_yd: float = Field(10, ge=0, le=100, description="Yards lost above which a golfer is flagged.")
    false_discovery_rate: float = Field(
        0.10, gt=0, lt=1, description="Largest share of wrong flags to expect among a quarter's flags."
    )
    min_shots: int = Field(12, ge=3, description="Drives in the quarter that an assessment needs.")
    # ASSUMED: no published figure is known to us. With 30 drives that scatter by 10 yd, all of one day, 2, 3.5 and 5 yd
    # make the interval of yards lost reach 5, 8 and 11 yd to each side.
    day_form_yd: float = Field(
        3.5,
        ge=0,
        le=20,
        description="How far a golfer's days differ in mean carry (standard deviation). It counts where the logs don't "
        "show it, because no golfer has several days.",
    )


# Of a figure of one golfer everybody learns that golfer's, and of one of two each learns the other's.
_LEAST_GOLFERS = 3


class Privacy(Strict):
    """Pseudonyms and the smallest published group."""

    key_file: str = Field(
        "private/pseudonym.key", description="File of the secret key, inside the study folder; `yardband key` makes it."
    )
    min_golfers: int = Field(5, ge=_LEAST_GOLFERS, description="Fewest golfers behind a published figure.")
    group: Literal["masked", "plain"] = Field(
        "masked",
        description="How groups are stored. masked: by pseudonyms, as golfers are. plain: as they are written.",
    )

    @field_validator("min_golfers", mode="before")
    @classmethod
    def _protects(cls, least: object) -> object:
        if isinstance(least, int) and not isinstance(least, bool) and least < _LEAST_GOLFERS:
            raise ValueError(
                f"must be at least {_LEAST_GOLFERS}, not {least}: of a figure of two golfers each can calculate the "
                "other's; leave it out for 5"
            )
        return least


FlightSet = Literal["indoor-range-2001", "lyu-2018", "smits-smith-1994"]


class Flight(Strict):
    """Ball flight."""

    coefficients: Literal["best"] | FlightSet = Field(
        "best",
        description="Published set of drag and lift coefficients. best: the one nearest to the study's drives, of "
        "those whose ball, as published, passes the rules' test of overall distance.",
    )
    sets: tuple[FlightSet, ...] = Field(
        ("indoor-range-2001", "lyu-2018", "smits-smith-1994"),
        min_length=1,
        description="Published sets that best chooses from.",
    )
    turf: Literal["soft", "normal", "firm"] = Field("normal", description="Firmness of the fairway, for roll.")


BuiltIn = Literal["line", "flight", "quadratic", "splines"]
BUILT_IN: tuple[BuiltIn, ...] = get_args(BuiltIn)


class Model(Strict):
    """The model of carry: what competes, and what a fit takes into account."""

    candidates: tuple[BuiltIn, ...] = Field(
        BUILT_IN,
        description="Built-in candidates that compete. Those of `formulas` and `own` always do, and so does the one "
        "that `choose` names. [] is for none.",
    )
    formulas: dict[str, str] = Field(
        {},
        description="Further candidates by name, each the right side of a formula such as bs(ball, df=5) * launch + "
        "spin. It may use ball, club, launch and spin.",
    )
    own: tuple[str, ...] = Field(
        (), description="Python files inside the study folder, each with a candidate of your own."
    )
    choose: str | None = Field(
        None,
        description="Name of the candidate to use whatever the contest says, which is still held. The contest chooses "
        "unless given.",
    )
    regressors: tuple[str, ...] = Field(
        (),
        description="Further columns that carry may depend on, such as attack_deg, temp_c or any column of numbers of "
        "the logs by its name.",
    )
    folds: int = Field(10, ge=2, le=50, description="Folds of golfers, each held out once.")
    replicates: int = Field(200, ge=50, le=2000, description="Refits on resampled golfers, for intervals.")

    @field_validator("regressors")
    @classmethod
    def _columns(cls, names: tuple[str, ...]) -> tuple[str, ...]:
        problems = [problem for name in names if (problem := _no_regressor(name)) is not None]
        problems += [f"names {name!r} twice" for name in dict.fromkeys(names) if names.count(name) > 1]
        if problems:
            raise ValueError("; ".join(problems))
        return names

    @property
    def further_columns(self) -> tuple[str, ...]:
        """The regressors that aren't standard columns of a log."""
        from pipeline.tables import logs  # a third of a second that lookups need not pay

        return tuple(name for name in self.regressors if name not in logs.OPTIONAL_NUMBERS)

    @field_validator("choose")
    @classmethod
    def _is_a_candidate(cls, choose: str | None, info: ValidationInfo) -> str | None:
        """Refuse a name that no candidate has; what those of `own` are called shows when their files are read."""
        known = {*BUILT_IN, *info.data.get("formulas", ())}
        if choose is not None and choose not in known and not info.data.get("own"):
            names = sorted(known)
            raise ValueError(f"there is no candidate {choose!r}{nearest(choose, names)}; there are {', '.join(names)}")
        return choose

    @model_validator(mode="after")
    def _has_a_candidate(self) -> "Model":
        if not (self.candidates or self.formulas or self.own or self.choose):
            raise ValueError(
                f"candidates names none; name some of {', '.join(BUILT_IN)}, or give formulas, own or choose"
            )
        return self


def _no_regressor(name: str) -> str | None:
    """Say why a column can't be a regressor; None if it can."""
    from pipeline.tables import logs

    if name in logs.OPTIONAL_NUMBERS:
        return None
    if name in logs.NUMBERS:
        return f"can't hold {name!r}, which the model of carry has anyway; leave it out"
    if name in logs.LOG_COLUMNS:
        return f"can't hold {name!r}, which isn't a column of numbers; leave it out"
    if name in logs.TAKEN:
        return f"can't hold {name!r}, a name that Yardband has taken; give the column another by a layout"
    if not re.fullmatch(logs.REGRESSOR_NAME, name):
        return (
            f"can't hold {name!r}; use up to 60 letters, digits and _ with a letter first, and let a layout say which "
            f"header that is"
        )
    return None


class Efficient(Strict):
    """What counts as efficient."""

    deliveries: float = Field(
        0.80,
        ge=0.5,
        le=0.95,
        description="Share of golfers' deliveries about a club speed that the reachable ones hold.",
    )
    strike: float = Field(
        0.75,
        ge=0.5,
        le=0.95,
        description="Share of golfers about a club speed whose speed ratio is below that of an efficient drive.",
    )


class Intervals(Strict):
    """The study's own interval level."""

    level: float = Field(
        0.90,
        ge=0.5,
        le=0.99,
        description="Level of the intervals in model/intervals.csv, the card and the methods text. Columns named lo90 "
        "and hi90 stay at 0.9.",
    )


class Adoption(Strict):
    """When a new fit takes the place of the kept model before it."""

    golfers: float = Field(
        1.0,
        ge=0,
        le=1,
        description="Fewest golfers of the new fit, as a share of the old one's. Rolling windows of quarters lose "
        "golfers and need less than 1.",
    )


class Straightness(Strict):
    """How straight golfers drive."""

    corridor_yd: float = Field(
        30,
        ge=5,
        le=150,
        description="Full width of the corridor about the target line. straightness.csv has the share of drives in it.",
    )


class BandGoals(Strict):
    """The distances that golfers of a band work towards."""

    carry_yd: dict[float, Annotated[float, Field(ge=20, le=400)]] = Field(
        {},
        description="Goal for the golfers of a band, by its center in mph, such as {90: 230}. A band without one "
        "has goals within reach: the efficient carry at a golfer's own speed, then what a year's usual gain allows.",
    )


def folder_name(name: str) -> str:
    """Give the name of a folder of results back; refuse what can't be one, on any system.

    git must take nothing that is written there.

    Raises
    ------
    ValueError
        If it can't.
    """
    if not re.fullmatch(r"[A-Za-z0-9]([A-Za-z0-9_.-]*[A-Za-z0-9_-])?", name):
        raise ValueError(
            f"can't be {name!r}; use letters, digits, - _ and ., with a letter or digit first and no point last"
        )
    if name.lower() in _TAKEN or name.lower().partition(".")[0] in _DEVICES:
        raise ValueError(f"can't be {name!r}, a name that results/ or the system has taken; use another")
    return name


class Study(Strict):
    """A whole `study.yaml`."""

    study: str = Field(
        max_length=60,
        description="Name of the study and of its folder of results: letters, digits, - _ and . inside it.",
    )
    logs: tuple[LogEntry, ...] = Field(min_length=1, description="Shot logs, in entries that share a layout.")
    speed_logs: tuple[SpeedLogEntry, ...] = Field((), description="Logs of swings without a ball.")
    reference_device: str | None = Field(
        None,
        description="Device whose readings are taken as they are; the others are compared with it. The one of most "
        "drives unless given, or if no drive is from it.",
    )
    bands: Bands = Bands()
    window_tolerance_yd: float = Field(
        5, gt=0, le=40, description="How far below the efficient carry drives inside a window may be expected."
    )
    flags: Flags = Flags()
    privacy: Privacy = Privacy()
    air: StandardAir = StandardAir()
    flight: Flight = Flight()
    model: Model = Model()
    efficient: Efficient = Efficient()
    intervals: Intervals = Intervals()
    adoption: Adoption = Adoption()
    straightness: Straightness = Straightness()
    goals: BandGoals = BandGoals()
    title: str | None = Field(
        None,
        min_length=1,
        max_length=60,
        description="Name as pages and commands print it, such as Hill School. The study's name unless given.",
    )
    units: Literal["yards", "metres"] = Field(
        "yards",
        description="What pages and commands show first: yards and mph, or meters and km/h. Files stay in yards and "
        "mph.",
    )
    seed: int = Field(1, ge=0, lt=2**32, description="Seed of every random draw.")

    @field_validator("study")
    @classmethod
    def _names_a_folder(cls, name: str) -> str:
        return folder_name(name)

    @field_validator("title")
    @classmethod
    def _one_line(cls, title: str | None) -> str | None:
        if title is not None and not (title.isprintable() and title.strip()):
            raise ValueError("must be one line of text that can be printed; correct it, or leave it out")
        return None if title is None else title.strip()

    @property
    def shown_name(self) -> str:
        """The study's name as pages and commands print it."""
        return self.title or self.study

    @model_validator(mode="after")
    def _goals_of_bands(self) -> "Study":
        strange = [f"{centre:g}" for centre in sorted(set(self.goals.carry_yd) - set(self.bands.centres))]
        if strange:
            centres = ", ".join(f"{centre:g}" for centre in self.bands.centres)
            raise ValueError(f"goals.carry_yd: {', '.join(strange)} isn't the center of a band; use one of {centres}")
        return self
