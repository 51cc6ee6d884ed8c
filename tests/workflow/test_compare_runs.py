"""The comparison of two runs finds what it should: a comparison that can't fail would prove nothing."""

import json
import shutil

import numpy as np
import polars as pl
import pytest
from compare_runs import differences
from matplotlib.image import imread, imsave

FILES = (
    *("golfers/golfers.csv", "golfers/changes.csv", "benchmarks/bands.csv", "benchmarks/bands.parquet"),
    *("benchmarks/bands.xlsx", "model/frontier.json", "figures/losses.png", "report/academy.html"),
)


@pytest.fixture
def runs(tmp_path, demo):
    """Give some of the demo's results and a copy of them, to plant a change in."""
    for file in FILES:
        (tmp_path / "old" / file).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(demo.folder / "results" / "twin-valleys" / file, tmp_path / "old" / file)
    return tmp_path / "old", shutil.copytree(tmp_path / "old", tmp_path / "new")


def change_csv(folder, file, **columns):
    path = folder / file
    pl.read_csv(path).with_columns(**columns).write_csv(path)


def test_a_run_is_the_same_as_itself(runs):
    assert list(differences(*runs)) == []


@pytest.mark.parametrize(
    ("file", "columns", "found"),
    [
        ("golfers/golfers.csv", {"lost_yd": pl.col("lost_yd") + 1e-6}, "column lost_yd"),
        ("golfers/golfers.csv", {"lost_lo90_yd": pl.col("lost_lo90_yd") + 0.02}, "column lost_lo90_yd"),
        ("golfers/golfers.csv", {"flagged": ~pl.col("flagged")}, "column flagged"),
        ("benchmarks/bands.csv", {"golfers": pl.col("golfers") + 1}, "column golfers"),
        ("golfers/golfers.csv", {"lost_lo90_yd": pl.col("lost_lo90_yd") + 0.009}, None),
    ],
)
def test_a_changed_cell_is_found(runs, file, columns, found):
    change_csv(runs[1], file, **columns)
    lines = list(differences(*runs))
    assert [line.split(":")[0] for line in lines] == ([file] if found else [])
    assert found is None or found in lines[0]


def test_a_missing_file_row_or_column_is_found(runs):
    (runs[1] / "golfers/changes.csv").unlink()
    bands = pl.read_csv(runs[1] / "benchmarks/bands.csv")
    bands.drop("shots").write_csv(runs[1] / "benchmarks/bands.csv")
    bands.head(3).write_parquet(runs[1] / "benchmarks/bands.parquet")
    assert list(differences(*runs)) == [
        "benchmarks/bands.csv: column shots is missing",
        f"benchmarks/bands.parquet: {bands.height} rows, now 3",
        "golfers/changes.csv: missing",
    ]


def test_a_changed_number_of_any_other_file_is_found(runs):
    frontier = json.loads((runs[1] / "model/frontier.json").read_text("utf-8"))
    frontier["carry_yd"][3] += 1e-4
    (runs[1] / "model/frontier.json").write_text(json.dumps(frontier), encoding="utf-8")
    page = runs[1] / "report/academy.html"
    page.write_text(page.read_text("utf-8").replace("</main>", "<p>7 golfers</p></main>"), encoding="utf-8")
    picture = runs[1] / "figures/losses.png"
    imsave(picture, np.where(imread(picture) > 0.5, 1.0, 0.0))
    bands = pl.read_excel(runs[1] / "benchmarks/bands.xlsx", sheet_name="bands")
    bands.with_columns(pl.nth(2) + 1).write_excel(runs[1] / "benchmarks/bands.xlsx", worksheet="bands")
    assert {line.split(":")[0] for line in differences(*runs)} == {
        "benchmarks/bands.xlsx", "model/frontier.json", "figures/losses.png", "report/academy.html",
    }  # fmt: skip
