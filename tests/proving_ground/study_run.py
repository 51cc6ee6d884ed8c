"""An academy written as a study's folder, and the pipeline's steps run on it, one after the other, in this process."""

import contextlib
import hashlib
import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl
import yaml
from academy import Academy

from pipeline.benchmark import build_bands
from pipeline.benchmark.frontier import Frontier
from pipeline.collect import collect_logs, load_shots
from pipeline.collect.key import SECRET_MARK, read_key
from pipeline.collect.partitions import describe
from pipeline.collect.pseudonym import pseudonym
from pipeline.configuration.load import load_study
from pipeline.configuration.log_files import find_logs
from pipeline.edge.artefacts import read_artefact
from pipeline.fit import fit_model
from pipeline.flight import calibrate_flight, compare_devices, standardise_shots
from pipeline.golfers import assess_golfers

READINGS = (
    "golfer", "struck_at", "device", "ball", "club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm", "carry_yd",
    "spin_measured", "attack_deg", "loft_deg", "launch_side_deg", "spin_axis_deg", "offline_yd", "wind_cross_mps",
)  # fmt: skip


@dataclass(frozen=True)
class Found:
    """What the pipeline made of an academy: the folder of its outputs, and names by pseudonym."""

    folder: Path
    names: dict[str, str]

    def golfers(self, name: str) -> pl.DataFrame:
        """Read one of the golfers' tables, names in place of pseudonyms."""
        # A column without any figure, such as contact without ball speed, has no type of its own in a csv file.
        table = pl.read_csv(self.folder / name, infer_schema_length=None)
        empty = [column for column in table.columns if table.get_column(column).null_count() == table.height]
        table = table.with_columns(pl.col(empty).cast(pl.Float64))
        return table.with_columns(pl.col("golfer").replace_strict(self.names))

    def frontier(self) -> Frontier:
        """Read what is efficient by club speed."""
        return read_artefact(self.folder / "frontier.json", Frontier)


def write_study(academy: Academy, folder: Path, seed: int) -> None:
    """Write the academy as a study's folder: study.yaml, logs and a key, which is the same for the same seed."""
    world = academy.world
    columns = [c for c in READINGS if c in academy.drives.columns and (world.ball_speed or c != "ball_speed_mph")]
    (folder / "logs").mkdir(parents=True)
    logs = []
    for device, name in (("unit-A", "a"), ("unit-B", "b")):
        rows = academy.drives.filter(pl.col("device") == device).select(columns)
        # A device without ball speed has no column of it.
        rows = rows.select(c for c in columns if rows.height == 0 or rows.get_column(c).null_count() < rows.height)
        if rows.height:
            rows.write_csv(folder / "logs" / f"{name}.csv")
            high = device == "unit-B"
            air = {"altitude_m": high * world.altitude_m, "temp_c": world.temp_c if high else 15.0}
            logs.append(
                {"files": f"logs/{name}.csv", "site": name, **({} if high and not world.air_known else {"air": air})}
            )
    described = {"study": "proving", "logs": logs, "seed": seed, "privacy": {"key_file": "pseudonym.key"}}
    (folder / "study.yaml").write_text(yaml.safe_dump(described), encoding="utf-8")
    key = folder / "pseudonym.key"
    key.touch(mode=0o600)
    key.write_text(f"{SECRET_MARK}\n{hashlib.sha256(str(seed).encode()).hexdigest()}\n", encoding="utf-8")


def run_study(folder: Path, out: Path) -> Found:
    """Run the steps from the logs to the golfers with the workflow's settings, their messages swallowed."""
    root, study = load_study(folder)
    settings = study.model_dump(mode="json", by_alias=True)
    key = root / study.privacy.key_file
    out.mkdir()
    with contextlib.redirect_stdout(io.StringIO()):
        _collect(root, study, key, out)
        _measure(study, settings, out)
        _judge(study, settings, out)
    logs = sorted((root / "logs").glob("*.csv"))
    names = pl.concat([pl.read_csv(log, columns=["golfer"]) for log in logs]).get_column("golfer").unique().to_list()
    secret = read_key(key, study.study)
    return Found(out, {pseudonym(name, secret, "golfer"): name for name in names})


def _at(out: Path, **names: str) -> dict[str, str]:
    return {keyword: str(out / name) for keyword, name in names.items()}


def _collect(root: Path, study: Any, key: Path, out: Path) -> None:
    made = _at(out, shots="shots.parquet", rejects="rejects.parquet", receipts="receipts.json")
    collect_logs.run(str(key), study.study, str(root), describe(find_logs(root, study)), **made)
    load_shots.run(
        **{name: [path] for name, path in made.items()},
        **_at(out, database="loaded.duckdb", rejects_csv="rejects.csv", sources_csv="loaded_sources.csv"),
    )


def _measure(study: Any, settings: dict[str, Any], out: Path) -> None:
    air = settings["air"]
    flight = _at(out, calibration="calibration.json", tables="tables.npz")
    loaded, devices = str(out / "loaded.duckdb"), str(out / "devices.json")
    compare_devices.run(
        loaded,
        devices,
        **_at(out, table="devices.csv", sources="sources.csv"),
        reference_device=study.reference_device,
        air=air,
        seed=study.seed,
    )
    calibrate_flight.run(
        loaded,
        devices,
        **_at(out, calibration="calibration.json", table="calibrations.csv"),
        coefficients=study.flight.coefficients,
        sets=study.flight.sets,
        air=air,
        seed=study.seed,
    )
    standardise_shots.run(loaded, devices, **flight, drives=str(out / "drives.parquet"), air=air)


def _judge(study: Any, settings: dict[str, Any], out: Path) -> None:
    air, drives = settings["air"], str(out / "drives.parquet")
    fit = _at(out, model="model.json", typical="typical.parquet", replicates="replicates.npz")
    more = _at(out, coefficients="coefficients.csv", scores="scores.csv", held_out="held_out.parquet")
    fit_model.run(
        drives=drives,
        **fit,
        **more,
        **_at(out, calibration="calibration.json"),
        study=study.study,
        seed=study.seed,
        air=air,
        choices=settings["model"],
        strike=study.efficient.strike,
        own=[],
    )
    build_bands.run(
        drives=drives,
        **fit,
        **_at(
            out,
            tables="tables.npz",
            devices="devices.json",
            csv="bands.csv",
            parquet="bands.parquet",
            frontier="frontier.json",
        ),
        **_at(out, chart="chart.json", efficient_replicates="efficient_replicates.npz", efficient="efficient.npz"),
        about={"study": study.study, "air": air, "turf": study.flight.turf, "units": study.units},
        bands=settings["bands"],
        window_tolerance_yd=study.window_tolerance_yd,
        min_shots=study.flags.min_shots,
        min_golfers=study.privacy.min_golfers,
        deliveries=study.efficient.deliveries,
    )
    made = _at(out, golfers="golfers.csv", flagged="flagged.csv", changes="changes.csv")
    efficient = _at(out, frontier="frontier.json", efficient_replicates="efficient_replicates.npz")
    fitted = {name: fit[name] for name in ("model", "replicates")}
    devices = _at(out, devices="devices.json")
    assess_golfers.run(drives=drives, **fitted, **efficient, **devices, flags=settings["flags"], **made)
