"""The results of a study, opened for a session of one's own (an edge module)."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.lookup_command import check_version, refuse_by_hand
from pipeline.configuration.study import StandardAir
from pipeline.edge.artefacts import read_artefact, read_json
from pipeline.edge.kinds_of_results import FRONTIER
from pipeline.edge.tables_file import read_table
from pipeline.errors import UserError
from pipeline.fit.keep_model import read_fitted
from pipeline.fit.kept import find_kept, kept_files
from pipeline.fit.model import FittedModel
from pipeline.fit.model_changes import ComparedFit, speed_moves
from pipeline.fit.references import find_references
from pipeline.flight.calibrate import StudyFlight
from pipeline.physics.ball import Ball
from pipeline.research.library.flight import carry_in_air
from pipeline.research.library.model import StudyModel
from pipeline.research.library.own_fit import REFERENCE, Fit, score_fit
from pipeline.statistics.arrays import Array
from pipeline.tables.figures import BandTable, Coefficients, HeldOut
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import DriveTable, Sources, StudiedDrives
from pipeline.tables.straightness import Straightness, StraightnessBands

RECORD = Path("run.json")
DRIVES = Path("collected/drives.parquet")
IN_USE = Path("collected/in_use/drives.parquet")  # with carry by the flight of a kept model, where that is in use
CALIBRATION = Path("flight/calibration.json")
HELD_OUT = "held_out.parquet"
KEPT = Path("model/kept")


def open_study(folder: str | Path) -> "Study":
    """Open the results of a study.

    Parameters
    ----------
    folder : str or Path
        Such as results/twin-valleys.

    Raises
    ------
    UserError
        If the folder doesn't hold the results of a finished run of this version.
    """
    place = Path(folder)
    if not place.is_dir():
        raise UserError(f"{place}: there is no such folder; give a study's folder below results/.")
    check_version(place)
    refuse_by_hand(place)
    lacking = [name for name in (RECORD, FRONTIER, DRIVES) if not (place / name).is_file()]
    if lacking:
        raise UserError(
            f"{place}: holds no {lacking[0]}, so it isn't the results of a finished run; give a study's folder below "
            "results/, or run snakemake first."
        )
    study = Study(place)
    study.model  # noqa: B018 - results of another version are told here, not by the first question
    return study


@dataclass(frozen=True)
class Study:
    """The results of a study. Nothing in them is changed; what is read once is kept.

    Attributes
    ----------
    folder : Path
        Of the results.
    """

    folder: Path

    def __repr__(self) -> str:
        on = self._fitted.fitted_on
        whom = f"{on.drives:,} drives of {on.golfers} golfers, {', '.join(on.quarters)}"
        return f"<Study {self._fitted.study}: model {self.model.id} of {whom}>"

    # --- drives

    def scan(self) -> pl.LazyFrame:
        """Give the drives to be read lazily, for studies that don't fit into memory; see `drives`."""
        stored = pl.scan_parquet(self._drives_file)
        model = self.model.fitted
        pairs = stored.select("device", "ball").unique().collect()
        share = pl.Series("added_share", model.added_share(pairs), dtype=pl.Float64)
        shares = pairs.with_columns(share).lazy()
        columns = stored.collect_schema().names()
        further = [name for name in columns if name not in DriveTable.column_names()]
        return (
            stored.join(shares, on=["device", "ball"], how="left", nulls_equal=True, maintain_order="left")
            .with_columns(
                (pl.col("ball_speed_mph") / pl.col("club_speed_mph")).alias("speed_ratio"),
                (pl.col("carry_standard_yd") / (1 + pl.col("added_share"))).alias("carry_reference_yd"),
            )
            .select(*StudiedDrives.column_names(), *further)
        )

    def drives(self) -> pl.DataFrame:
        """Give the accepted drives, by golfer, source and row.

        Returns
        -------
        DataFrame
            The columns of the view `drives` of shots.duckdb (docs/columns.md): source and row, which tell drives
            apart, golfer (a pseudonym), quarter, readings as the fit has them, and carry in yd: carry_measured_yd, as
            measured; carry_standard_yd, at the study's standard conditions; carry_reference_yd, the same on the
            reference device and ball. carry_standard_yd + curve_yd is that of a straight drive.
        """
        return self.scan().collect()

    def held_out(self) -> pl.DataFrame:
        """Give the drives of the fit as the model predicts them from other golfers' drives.

        Returns
        -------
        DataFrame
            golfer, source, row, measured_yd, predicted_yd (from all readings), predicted_by_club_speed_yd, fold.

        Raises
        ------
        UserError
            If the model in use has none, or they are of another version.
        """
        path = self._model_file.with_name(HELD_OUT)
        if not path.is_file():
            raise UserError(
                f"{path}: is missing; a kept model comes without it. Run snakemake without model= to have it."
            )
        found = pl.read_parquet(path)
        if found.columns != HeldOut.column_names():
            raise UserError(f"{path}: was written by another version of Yardband; run snakemake again.")
        return found

    def folds(self) -> pl.DataFrame:
        """Give the fold in which each golfer of the fit was held out: golfer, fold."""
        return self.held_out().select("golfer", "fold").unique(maintain_order=True)

    # --- the model

    @cached_property
    def model(self) -> StudyModel:
        """The model in use, by which golfers and bands are measured."""
        id_ = str(self._record["model"]["id"])
        is_fit = self._model_file.with_name(HELD_OUT).is_file()
        return StudyModel(id_, self._fitted.model, self.frontier, self.held_out if is_fit else None)

    def coefficients(self) -> pl.DataFrame:
        """Give the terms of every candidate: model, term, estimate, std_error, lo90, hi90."""
        return read_table(self._model_file.with_name("coefficients.csv"), Coefficients)

    def kept(self) -> pl.DataFrame:
        """List the kept models, oldest first.

        Returns
        -------
        DataFrame
            id, number, parent, verdict, drives, golfers, quarters, in_use.
        """
        rows = [
            {
                "id": one.id,
                "number": one.number,
                "parent": one.parent,
                "verdict": one.verdict,
                "drives": one.data.drives,
                "golfers": one.data.golfers,
                "quarters": ", ".join(one.data.quarters),
                "in_use": one.id == self.model.id,
            }
            for one in find_kept(self.folder / KEPT)
        ]
        counts = ("number", "drives", "golfers")
        kinds = {"in_use": pl.Boolean} | dict.fromkeys(counts, pl.Int64)
        names = ("id", "number", "parent", "verdict", "drives", "golfers", "quarters", "in_use")
        return pl.DataFrame(rows, schema={name: kinds.get(name, pl.String) for name in names})

    def kept_model(self, id: str) -> StudyModel:
        """Give a kept model by its id; its intervals are those of the level 0.9."""
        return StudyModel(id, self._kept_fit(id).model, self.frontier)

    def compare(self, old: str, new: str) -> pl.DataFrame:
        """Compare the expected carry of two kept models at each club speed of the benchmarks.

        Returns
        -------
        DataFrame
            speed_mph, drive (usual or efficient), launch_deg, spin_rpm, old_yd, new_yd, moved_yd, reached; see
            `pipeline.fit.model_changes.speed_moves`.
        """
        speed = self.frontier.speed_mph
        best = self.frontier.best_delivery(speed, np.full_like(speed, np.nan))
        before, after = self._kept_fit(old), self._kept_fit(new).model
        return speed_moves(before, after, best, find_references(before.model, after))

    def score(self, fit: Fit, *, predicts: str = REFERENCE, among: pl.Expr | None = None) -> pl.DataFrame:
        """Score a fit of one's own on golfers held out, beside the study's model on the same drives.

        Parameters
        ----------
        fit : callable
            Takes training drives, as `drives` gives them, and gives a callable that takes other drives and gives
            their carry, yd. It is called for each fold, with the drives of the golfers outside it.
        predicts : str
            Which carry it predicts: carry_reference_yd or carry_standard_yd.
        among : Expr, optional
            Which drives to train and to score on, such as ``pl.col("attack_deg").is_not_null()``.

        Returns
        -------
        DataFrame
            See `pipeline.research.library.own_fit.score_fit`, which has the notes too.
        """
        drives = self.drives() if among is None else self.drives().filter(among)
        return score_fit(fit, drives, self.held_out(), self._fitted.model.surface.name, predicts)

    # --- other results

    @cached_property
    def frontier(self) -> Frontier:
        """What is efficient at each club speed, and which drives are supported there."""
        return read_artefact(self.folder / FRONTIER, Frontier)

    def bands(self) -> pl.DataFrame:
        """Give the speed bands of each quarter, as published."""
        return read_table(self.folder / "benchmarks/bands.csv", BandTable)

    def golfers(self) -> pl.DataFrame:
        """Give each golfer's quarters with yards lost, their parts and flags."""
        return read_table(self.folder / "golfers/golfers.csv", Golfers)

    def straightness(self) -> pl.DataFrame:
        """Give where each golfer's drives come down about the target line, by quarter; empty where no log says it."""
        return read_table(self.folder / "golfers/straightness.csv", Straightness)

    def straightness_bands(self) -> pl.DataFrame:
        """Give how straight the bands' golfers drive, as published; empty as `straightness` is."""
        return read_table(self.folder / "benchmarks/straightness_bands.csv", StraightnessBands)

    def sources(self) -> pl.DataFrame:
        """Give the log files with what became of their rows."""
        return read_table(self.folder / "sources.csv", Sources)

    @property
    def settings(self) -> dict[str, Any]:
        """The keys of study.yaml as the run had them, defaults too."""
        return dict(self._record["configuration"])

    # --- flight

    @cached_property
    def ball(self) -> Ball:
        """The ball that was calibrated to the study's drives, for `carry_in_air`."""
        beside = self._model_file.with_name(CALIBRATION.name)  # a kept model has its own
        path = beside if beside.is_file() else self.folder / CALIBRATION
        return read_artefact(path, StudyFlight).calibration.ball

    def carry_in_air(
        self,
        ball_speed_mph: npt.ArrayLike,
        launch_deg: npt.ArrayLike,
        spin_rpm: npt.ArrayLike,
        **conditions: npt.ArrayLike,
    ) -> Array:
        """Fly drives with the study's ball; what isn't said of the air is as at its standard conditions.

        Parameters
        ----------
        ball_speed_mph, launch_deg, spin_rpm : array_like
        **conditions
            As of `pipeline.carry_in_air`, which says the rest too.
        """
        standard = StandardAir.model_validate(self.settings["air"]).model_dump()
        if "altitude_m" in conditions:
            standard.pop("pressure_hpa")
        asked: dict[str, Any] = {"ball": self.ball} | standard | conditions
        return carry_in_air(ball_speed_mph, launch_deg, spin_rpm, **asked)

    # --- files

    @cached_property
    def _record(self) -> Mapping[str, Any]:
        found = read_json(self.folder / RECORD)
        if not isinstance(found, dict) or not {"configuration", "model"} <= set(found):
            raise UserError(f"{self.folder / RECORD}: was written by another version of Yardband; run snakemake again.")
        return found

    @property
    def _drives_file(self) -> Path:
        # run.json names the file as it was seen from the run's working folder.
        named = Path(self._record["model"].get("drives", DRIVES))
        return self.folder / (IN_USE if named.parts[-3:] == IN_USE.parts else DRIVES)

    @property
    def _model_file(self) -> Path:
        return self.folder / self.frontier.model_file

    @cached_property
    def _fitted(self) -> FittedModel:
        return read_artefact(self._model_file, FittedModel)

    def _kept_fit(self, id: str) -> ComparedFit:
        records = {one.id: one for one in find_kept(self.folder / KEPT)}
        if id not in records:
            there = f"there are {', '.join(records)}" if records else "none is kept yet"
            raise UserError(f"{id}: {self.folder / KEPT} holds no model of this id; {there}.")
        return read_fitted(kept_files(self.folder / KEPT, id), id, records[id].settings["air"])
