import struct
from collections import Counter
from pathlib import Path

import pytest
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine

from pipeline.errors import UserError
from pipeline.report.figures import draw_figures, draw_maps
from pipeline.report.figures.band_map import plot_band_map
from pipeline.report.figures.look import figure_bytes
from pipeline.report.figures.plots import plot_losses
from pipeline.report.palette import DARK
from pipeline.shown import Units


def draw(study_files, figure_paths, settings):
    shown = {name: study_files[name] for name in ("golfers", "bands", "chart")}
    maps = [path for path in figure_paths if "delivery_" in path]
    draw_maps.run(**shown, maps=maps, settings=settings)
    draw_figures.run(**shown, figures=[path for path in figure_paths if path not in maps], settings=settings)
    return {Path(path).name: Path(path).read_bytes() for path in figure_paths}


def counting(function, name, counted):
    def called(*arguments, **keywords):
        counted[name] += 1
        return function(*arguments, **keywords)

    return called


def png_size(content):
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    return struct.unpack(">II", content[16:24])


def test_every_figure_is_made_in_its_size_and_again_in_the_same_bytes(study_files, figure_paths, settings):
    first = draw(study_files, figure_paths, settings)
    second = draw(study_files, figure_paths, settings)

    assert first == second
    assert png_size(first["carry_by_speed.png"]) == (1500, 1050)
    assert png_size(first["delivery_70.png"]) == png_size(first["delivery_110.png"]) == (735, 765)
    assert png_size(first["losses.png"]) == (1500, 888)  # 11 flagged golfers: 150 (2.4 + 0.32 x 11)
    assert first["losses.svg"].startswith(b"<?xml")
    assert not any(stamp in first["losses.svg"] for stamp in (b"dc:date", b"Matplotlib v"))
    assert b"Software" not in first["losses.png"]


def test_each_figure_is_drawn_once_for_each_format_and_laid_out_once_for_both_papers(
    study_files, figure_paths, settings, monkeypatch
):
    counted = Counter()
    for kind, name in ((ConstrainedLayoutEngine, "execute"), (Figure, "draw")):
        monkeypatch.setattr(kind, name, counting(getattr(kind, name), name, counted))

    draw(study_files, figure_paths, settings)

    dark = [path for path in figure_paths if path.endswith("_dark.png")]
    assert counted == {"execute": len(figure_paths) // 2 - len(dark), "draw": len(figure_paths)}
    assert dark


def test_what_is_laid_out_as_another_is_the_same_as_laid_out_by_itself(study_files, settings):
    shown = draw_figures.read_drawn(study_files["golfers"], study_files["bands"], study_files["chart"], settings)
    alike = draw_maps.draw_maps(shown, settings)["delivery_90_dark"]
    by_itself = plot_band_map(
        shown.golfers,
        shown.bands,
        shown.chart,
        shown.speed_bands,
        band_mph=90,
        min_golfers=settings["privacy"]["min_golfers"],
        scheme=DARK,
        units=Units(settings["units"], "mph"),
    )
    assert [figure_bytes(alike, kind) for kind in ("svg", "png")] == [
        figure_bytes(by_itself, kind) for kind in ("svg", "png")
    ]


def test_a_picture_shows_the_same_whichever_format_is_drawn_first(golfers, chart):
    first, second = (plot_losses(golfers, chart) for _ in range(2))

    svg, png = figure_bytes(first, "svg"), figure_bytes(first, "png")

    assert (figure_bytes(second, "png"), figure_bytes(second, "svg")) == (png, svg)


def test_figures_that_do_not_follow_from_the_bands_are_refused(study_files, figure_paths, settings):
    settings["bands"]["centres"] = [70, 85]

    with pytest.raises(UserError, match=r"delivery_85\.png is not among"):
        draw(study_files, figure_paths, settings)
