"""A spreadsheet of results by hand from `yardband new` to the page, and what other commands say of such a study."""

import os
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import duckdb
import polars as pl
import pytest
import xlsxwriter
from hand_samples import hand_drives

from pipeline.edge.kinds_of_results import OF_FULL
from pipeline.tables.golfers import Golfers

pytestmark = pytest.mark.bench
ROOT = Path(__file__).parents[2]
MADE = {
    "benchmarks/bands.csv", "benchmarks/bands.md", "benchmarks/bands.parquet", "benchmarks/bands.xlsx",
    "golfers/flagged.csv", "golfers/golfers.csv", "golfers/golfers.xlsx", "golfers/reference.csv", "rejects.csv",
    "report/academy.html", "shots.duckdb", "sources.csv", "summary.txt",
}  # fmt: skip


def yardband(folder, *arguments):
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *arguments], cwd=folder, capture_output=True, text=True, check=False,
        env=os.environ | {"PYTHONPATH": str(ROOT)}, timeout=600,
    )  # fmt: skip


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """The folder where a study of one workbook was made and run, and what both commands said."""
    folder = tmp_path_factory.mktemp("hand")
    (folder / "hill").mkdir()
    with xlsxwriter.Workbook(folder / "hill/results.xlsx") as book:
        sheet, day = book.add_worksheet(), book.add_format({"num_format": "dd/mm/yyyy"})
        sheet.write_row(0, 0, ["Date", "Name", "Club speed (mph)", "Carry (yd)"])
        drives = hand_drives(40, own_yd=2.5, faults=(45.0,))
        for place, (golfer, on, speed, carry) in enumerate(
            drives.select("golfer", "struck_on", "club_speed_mph", "carry_measured_yd").iter_rows(), 1
        ):
            sheet.write_datetime(place, 0, datetime(on.year, on.month, on.day), day)
            sheet.write_row(place, 1, [f"Golfer {int(golfer[1:], 16)} Oakelm", round(speed), round(carry)])
        sheet.write_row(drives.height + 1, 1, ["Golfer 1 Oakelm", 95, 220])  # no day
    for name in OF_FULL:  # the study had launch and spin once
        (folder / "results/hill" / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / "results/hill" / name).write_text("{}", encoding="utf-8")
    new = yardband(folder, "new", "hill", "hill/results.xlsx", "--yes")
    return folder, new, yardband(folder, "run", "hill", "--cores", "1")


def test_it_is_drafted_and_run_without_an_editor(ran):
    folder, new, run = ran
    assert new.returncode == 0, new.stderr
    assert "It has no launch or spin: carry against speed only, and yards lost without causes." in new.stdout
    assert run.returncode == 0, run.stderr
    assessed, by_hand, where = run.stdout.splitlines()
    assert assessed.startswith("2026Q3: ")
    assert by_hand.startswith("By hand: no launch and no spin in these logs")
    assert where.startswith("Open results/hill/report/academy.html")
    results = folder / "results/hill"
    made = {path.relative_to(results).as_posix() for path in results.rglob("*") if path.is_file()}
    assert {name for name in made if not name.startswith("collected/")} == MADE


def test_every_row_is_accounted_for_and_no_name_is_anywhere(ran):
    results = ran[0] / "results/hill"
    [row] = pl.read_csv(results / "sources.csv").rows(named=True)
    assert (row["rows"], row["rejected"], row["duplicates"], row["left_out"]) == (40 * 18 + 1, 1, 0, 0)
    assert row["accepted"] == row["rows"] - 1
    assert pl.read_csv(results / "rejects.csv").select("rule", "column").rows() == [("missing", "struck_at")]
    with duckdb.connect(str(results / "shots.duckdb"), read_only=True) as database:
        tables = {name for (name,) in database.sql("SELECT table_name FROM duckdb_tables()").fetchall()}
        flight = database.sql("SELECT count(*), count(launch_deg), count(spin_rpm) FROM shots").fetchall()
    assert tables == {"shots", "rejects", "sources", "golfers", "bands"}
    assert flight == [(row["accepted"], 0, 0)]
    for path in results.rglob("*"):
        assert path.is_dir() or b"Oakelm" not in path.read_bytes()


def test_the_golfer_far_short_is_flagged(ran):
    golfers = pl.read_csv(ran[0] / "results/hill/golfers/golfers.csv", infer_schema_length=None)
    assert golfers.columns == Golfers.column_names()
    assert golfers.filter("flagged").height == 1
    assert golfers.filter(pl.col("lost_yd").is_not_null())["note"].str.contains("not the efficient carry").all()


@pytest.mark.parametrize(
    "command",
    [("lookup", "95"), ("goal", "250"), ("models", "hill", "list"), ("serve", "hill", "--phone"),
     ("lookup", "95", "--results", "results/hill")],
)  # fmt: skip
def test_what_needs_a_model_says_what_is_missing(ran, command):
    told = yardband(ran[0], *command)
    assert told.returncode == 2
    assert told.stderr.startswith("results/hill: its logs have no launch and no spin, so there is no model")
    assert len(told.stderr.splitlines()) == 1


def test_names_and_open_work_and_a_trial_is_refused(ran):
    folder = ran[0]
    assert "40 golfers." in yardband(folder, "names", "hill").stdout
    page = yardband(folder, "open", "hill").stdout.splitlines()[0]
    assert page == str(folder / "results/hill/report/academy.html")
    trial = yardband(folder, "run", "hill", "--trial", "wide")
    assert trial.returncode == 2
    assert "--config trial=...: results by hand have no launch and spin, so no model is fitted." in trial.stderr
