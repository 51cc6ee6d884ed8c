import polars as pl
import pytest

from pipeline.benchmark.chart import Chart
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.tables_file import read_table
from pipeline.errors import UserError
from pipeline.report.figures.naming import map_names, match_paths
from pipeline.statistics.arrays import plain_values
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import Sources


def test_table_comes_back_as_it_was_written(study_files, golfers, bands, sources):
    assert read_table(study_files["golfers"], Golfers).equals(golfers)
    assert read_table(study_files["bands"], BandTable).equals(bands)
    assert read_table(study_files["sources"], Sources).equals(sources)  # a hash of digits alone is text, not a number


def test_empty_table_keeps_its_types(tmp_path):
    path = tmp_path / "golfers.csv"
    Golfers.create_empty().write_csv(path)

    table = read_table(path, Golfers)

    assert table.height == 0
    assert table.schema["lost_contact_yd"] == pl.Float64


def test_missing_table_is_told_plainly(tmp_path):
    with pytest.raises(UserError, match=r"golfers\.csv: the file is missing"):
        read_table(tmp_path / "golfers.csv", Golfers)


@pytest.mark.parametrize("text", ["", "golfer,quarter\nAnna Example,2026Q3\n", "a\n1,2,3\n"])
def test_broken_table_is_told_without_its_content(tmp_path, text):
    path = tmp_path / "golfers.csv"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(UserError, match="is not a valid Golfers table") as caught:
        read_table(path, Golfers)

    assert "Anna" not in str(caught.value)


def test_table_that_breaks_a_rule_is_refused(tmp_path, golfers):
    path = tmp_path / "golfers.csv"
    golfers.with_columns(pl.col("lost_yd") + 1).write_csv(path)

    with pytest.raises(UserError, match="is not a valid Golfers table"):
        read_table(path, Golfers)


@pytest.mark.parametrize(
    ("text", "said"),
    [("{", "can't be read as JSON"), ('{"study": "s", "quarter": "2026Q3"}', "isn't what the workflow writes there")],
)
def test_broken_chart_is_reported_plainly(tmp_path, text, said):
    path = tmp_path / "chart.json"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(UserError, match=said):
        read_artefact(path, Chart)


def test_chart_comes_back_as_it_was_written(study_files, chart):
    assert plain_values(read_artefact(study_files["chart"], Chart)) == plain_values(chart)


def test_maps_follow_from_the_bands():
    assert map_names([100, 92.5, 90.0]) == [
        "delivery_90", "delivery_90_dark", "delivery_92p5", "delivery_92p5_dark", "delivery_100", "delivery_100_dark",
    ]  # fmt: skip


def test_figure_that_the_workflow_does_not_name_is_told():
    with pytest.raises(UserError, match=r"losses\.svg is not among"):
        match_paths(["f/losses.png"], ["losses"], ["png", "svg"])
