"""The step that writes the academy's page, from the workflow's files to one file."""

import base64
import json
from pathlib import Path

import polars as pl
import pytest
from band_cases import FRONTIER, drives_with_gaps
from many_golfers import payload_of_page
from rows import table_of
from small_academy import FLIGHT
from straight_cases import straight

from pipeline.edge.artefacts import write_artefact
from pipeline.errors import UserError
from pipeline.report.page import write_report
from pipeline.tables.straightness import Straightness

CHOICE = {"id": "k0123456789ab", "why": "newest", "newest": "k0123456789ab", "because": None, "trial": None}


@pytest.fixture
def inputs(tmp_path, study_files, figure_paths, golfers):
    """Write what a study without speed logs has; each picture holds its own name."""
    (tmp_path / "figures").mkdir()
    pictures = [path for path in figure_paths if "delivery_" in path and path.endswith(".png")]
    for path in pictures:
        Path(path).write_bytes(Path(path).name.encode())
    drives_with_gaps(golfers).write_parquet(tmp_path / "drives.parquet")
    write_artefact(tmp_path / "frontier.json", FRONTIER)
    write_artefact(tmp_path / "calibration.json", FLIGHT)
    tables = [path for name, path in study_files.items() if path.endswith(".csv") and name != "practice"]
    return {
        "tables": tables, "frontier": str(tmp_path / "frontier.json"), "drives": str(tmp_path / "drives.parquet"),
        "chart": study_files["chart"], "card": study_files["card"], "pictures": pictures,
        "model": study_files["model"], "which": study_files["which"], "calibration": str(tmp_path / "calibration.json"),
    }  # fmt: skip


def write(inputs, settings, target, **changed):
    write_report.run(**{**inputs, **changed}, page=str(target), settings=settings, choice=CHOICE)
    return target.read_text(encoding="utf-8")


def test_the_page_holds_what_the_files_hold(inputs, settings, tmp_path, golfers):
    text = write(inputs, settings | {"title": "Glen & Fell"}, tmp_path / "report" / "academy.html")

    payload = payload_of_page(text)
    assert payload["study"]["title"] == "Glen & Fell"
    assert {row[0] for row in payload["golfers"]["rows"]} == set(golfers["golfer"])
    assert set(payload["stories"]) == set(golfers["golfer"])
    assert base64.b64decode(payload["pictures"]["90"]["dark"]) == b"delivery_90_dark.png"
    in_use, title = payload["card"][:2]
    assert in_use == ["p", "In use: k0123456789ab, the newest fit: 3,000 drives of 60 golfers, 2026Q2, 2026Q3."]
    assert title == ["h1", "Model card"]
    assert "Fitted on" in json.dumps(payload["card"])
    assert text.startswith("<!DOCTYPE html>\n<html lang")


def test_the_same_files_give_the_same_page(inputs, settings, tmp_path):
    once, again = (write(inputs, settings, tmp_path / name) for name in ("once.html", "again.html"))
    assert once == again


def test_speed_practice_is_in_the_page_where_there_are_speed_logs(inputs, settings, tmp_path, study_files):
    without = payload_of_page(write(inputs, settings, tmp_path / "without.html"))
    practiced = [*inputs["tables"], study_files["practice"]]
    with_some = payload_of_page(write(inputs, settings, tmp_path / "with.html", tables=practiced))

    def practicing(payload):
        place = payload["golfers"]["columns"].index("practice")
        return sum(row[place] for row in payload["golfers"]["rows"])

    assert practicing(without) == 0
    assert practicing(with_some) > 0


def test_drives_are_drawn_where_they_came_down_in_a_study_that_says_it(inputs, settings, tmp_path, golfers):
    without = payload_of_page(write(inputs, settings, tmp_path / "without.html"))["stories"]
    assert {story["straight"] for story in without.values()} == {None}
    newest = golfers.filter(pl.col("quarter") == "2026Q3")
    rows = newest.select("golfer", "quarter", status=pl.lit("not_assessed"), note=pl.lit("few")).to_dicts()
    rows[0] = straight("1") | {"golfer": rows[0]["golfer"]}
    [table] = [path for path in inputs["tables"] if path.endswith("/straightness.csv")]
    table_of(Straightness, rows).write_csv(table)
    drives = pl.read_parquet(inputs["drives"]).with_columns(offline_yd=pl.lit(7.5))
    drives.write_parquet(tmp_path / "told.parquet")
    page = write(inputs, settings, tmp_path / "academy.html", drives=str(tmp_path / "told.parquet"))
    stories = payload_of_page(page)["stories"]
    first = stories[rows[0]["golfer"]]["straight"]
    assert [offline for offline, _ in first["drives"]] == [7.5] * 4
    assert stories[rows[1]["golfer"]]["straight"] == {"known": False, "why": "offline"}


def test_a_missing_picture_is_told_plainly(inputs, settings, tmp_path):
    Path(inputs["pictures"][0]).unlink()
    with pytest.raises(UserError, match=r"delivery_70.*\.png: the file is missing"):
        write(inputs, settings, tmp_path / "academy.html")
