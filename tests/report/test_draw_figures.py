import struct
from pathlib import Path

import pytest

from pipeline.errors import UserError
from pipeline.report.figures import draw_figures


def draw(study_files, figure_paths, settings):
    draw_figures.run(
        golfers=study_files["golfers"],
        bands=study_files["bands"],
        chart=study_files["chart"],
        figures=figure_paths,
        settings=settings,
    )
    return {Path(path).name: Path(path).read_bytes() for path in figure_paths}


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


def test_figures_that_do_not_follow_from_the_bands_are_refused(study_files, figure_paths, settings):
    settings["bands"]["centres"] = [70, 85]

    with pytest.raises(UserError, match=r"delivery_85\.png is not among"):
        draw(study_files, figure_paths, settings)
