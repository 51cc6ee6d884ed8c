"""The configuration of a study: every key of `study.yaml` with its type, unit, bounds and default.

This is the one place where they stand. Unknown keys are refused, with the nearest valid spelling.
"""

from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from pipeline.configuration.strict import Strict

DEMO_STUDY = "twin-valleys"


class LogAir(Strict):
    """The air in which a log's shots were hit, for shots that don't say it themselves."""

    altitude_m: float | None = Field(None, ge=-500, le=5000, description="height above sea level, m")
    temp_c: float | None = Field(None, ge=-30, le=55, description="air temperature, deg C")
    pressure_hpa: float | None = Field(None, ge=500, le=1100, description="pressure at the site, hPa")
    humidity: float | None = Field(None, ge=0, le=1, description="relative humidity, 0 to 1")
    wind_along_mps: float | None = Field(None, ge=-25, le=25, description="wind along the shot, tail positive, m/s")


class StandardAir(Strict):
    """The standard conditions of a study. The default is ISA sea level, dry, no wind."""

    temp_c: float = Field(15, ge=-30, le=55, description="air temperature, deg C")
    pressure_hpa: float = Field(1013.25, ge=500, le=1100, description="pressure, hPa")
    humidity: float = Field(0, ge=0, le=1, description="relative humidity, 0 to 1")

    @property
    def text(self) -> str:
        """The conditions in words."""
        return f"{self.temp_c:g} deg C, {self.pressure_hpa:g} hPa and humidity {self.humidity:g}"


class LogEntry(Strict):
    """One set of log files that share a layout and constants."""

    files: str = Field(description="glob inside the study folder: csv, csv.gz, parquet, xlsx")
    layout: str | None = Field(None, description="layout file inside the study folder")
    site: str | None = Field(None, description="site of shots whose log does not say")
    device: str | None = Field(None, description="device of shots whose log does not say")
    ball: str | None = Field(None, description="ball of shots whose log does not say")
    setting: str | None = Field(None, description="device setting of shots whose log does not say")
    group: str | None = Field(None, description="group of golfers whose log does not say")
    air: LogAir = LogAir()


class SpeedLogEntry(Strict):
    """One set of logs of swings without a ball."""

    files: str = Field(description="glob inside the study folder")
    layout: str | None = Field(None, description="layout file inside the study folder")


class Bands(Strict):
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


class Flags(Strict):
    """When a golfer is flagged."""

    lost_yd: float = Field(10, ge=0, le=100, description="yards lost above which a golfer is flagged, yd")
    false_discovery_rate: float = Field(0.10, gt=0, lt=1, description="expected share of wrong flags, 0 to 1")
    min_shots: int = Field(12, ge=3, description="drives in the quarter that an assessment needs")


class Privacy(Strict):
    """Pseudonyms and the smallest published group."""

    key_file: str = Field("private/pseudonym.key", description="secret key, inside the study folder")
    min_golfers: int = Field(5, ge=1, description="golfers that a published figure rests on at least")
    group: Literal["masked", "plain"] = Field(
        "masked", description="masked: groups get pseudonyms as golfers do; plain: groups are kept as written"
    )


class Flight(Strict):
    """Ball flight."""

    coefficients: Literal["best", "indoor-range-2001", "lyu-2018", "smits-smith-1994"] = Field(
        "best", description="published set of drag and lift coefficients; best: the one nearest to the study's drives"
    )
    turf: Literal["soft", "normal", "firm"] = Field("normal", description="firmness of the fairway, for the run")


class BandGoals(Strict):
    """The distances that golfers of a band work towards."""

    carry_yd: dict[float, Annotated[float, Field(ge=20, le=400)]] = Field(
        {}, description="centre of a band, mph: goal for its golfers, yd of carry; else the next band's efficient carry"
    )


class Report(Strict):
    """What people get to see."""

    sheets: Literal["flagged", "all"] = Field("flagged", description="golfers who get a sheet of their own")
    most_sheets: int = Field(1000, ge=0, description="sheets at most, the newest quarter first, in it most yards lost")


class Study(Strict):
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
