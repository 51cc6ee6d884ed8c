from pathlib import Path

import pytest
from columns_page import document

from pipeline.tables.logs import LOG_COLUMNS, StudiedDrives
from pipeline.tables.practice import SWING_COLUMNS
from pipeline.tables.registry import by_file

DOCS = Path(__file__).parents[2] / "docs" / "columns.md"


def section(heading):
    return document().split(f"{heading}\n")[1].split("\n#")[0]


def row_of(text, column):
    line = next(line for line in text.splitlines() if line.startswith(f"| `{column}` |"))
    return [cell.strip() for cell in line.strip("|").split("|")]


def test_the_page_is_not_stale():
    assert DOCS.read_text(encoding="utf-8") == document(), (
        "a column changed: make the page again by python docs/make/columns_page.py > docs/columns.md"
    )


@pytest.mark.parametrize("file", by_file())
def test_every_file_and_column_of_results_is_on_the_page(file):
    lines = [line for line in document().splitlines() if line.startswith("### ") and ", view " not in line]
    [heading] = [line for line in lines if f"`{file}`" in line]
    text = section(heading)

    for column in by_file()[file].column_names():
        assert row_of(text, column)[6].endswith("."), column


def test_the_view_of_drives_is_on_the_page():
    text = section("### `shots.duckdb`, view `drives`")

    assert [name for name in StudiedDrives.column_names() if not row_of(text, name)[6].endswith(".")] == []
    assert text.strip().split("\n\n")[0].endswith("One row per accepted drive.")


def test_columns_of_logs_say_whether_they_are_needed_their_unit_and_bounds():
    shots, swings = section("## Shot logs"), section("## Speed logs")

    assert [name for name in LOG_COLUMNS if row_of(shots, name)[2] == "required"] == [
        "golfer", "struck_at", "club_speed_mph", "launch_deg", "spin_rpm", "carry_yd",
    ]  # fmt: skip
    assert row_of(shots, "ball_speed_mph")[1:5] == ["Ball speed", "wanted", "mph", "30 to 245"]
    assert row_of(shots, "pressure_hpa")[2:5] == ["optional", "hPa", "500 to 1,100"]
    assert [row_of(swings, name)[2] for name in SWING_COLUMNS] == ["required"] * 3 + ["optional"] * 2


def test_figures_are_described_as_they_are_stored():
    bands = section("### `benchmarks/bands.csv`, `benchmarks/bands.parquet`")

    assert row_of(bands, "in_window_share")[:6] == [
        "`in_window_share`", "Golfers in window", "number", "", "0 to 1", "may be",
    ]  # fmt: skip
    assert row_of(bands, "band_mph")[2:6] == ["number", "mph", "", ""]


def test_units_of_logs_are_on_the_page():
    assert "| yd | m | 1.093613298 | 0 |" in section("## Units of logs")
    assert "| degC | degF | 0.5555555556 | -17.77777778 |" in section("## Units of logs")
