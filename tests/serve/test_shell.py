import json
from io import BytesIO

import icon
import numpy as np
import pytest
from matplotlib.image import imread

from pipeline.serve.report_files import read_shell
from pipeline.serve.shell import ICON_PIXELS, KEPT, SHELL, shell_file


def made(name, page=b"page", study="hill-school"):
    return shell_file(read_shell(), name, page, study)


def test_the_manifest_names_the_study_and_files_that_are_there():
    said = json.loads(made("lookup.webmanifest", study="hill-school"))
    assert said["name"].startswith("hill-school: ")
    assert {said["start_url"], said["scope"], said["id"]} == {"lookup.html"}
    assert {one["src"] for one in said["icons"]} <= set(KEPT)
    assert {one["sizes"] for one in said["icons"]} == {"any", "192x192", "512x512"}


def test_the_worker_keeps_page_manifest_and_icons_and_nothing_else():
    script = made("lookup_worker.js").decode()
    assert (
        'const KEPT = ["lookup.html", "lookup.webmanifest", "icon.svg", "icon-192.png", "icon-512.png"].map' in script
    )
    assert set(SHELL) - set(KEPT) == {"lookup_worker.js"}
    assert "VERSION_OF_THE_PAGE" not in script


def test_another_page_or_study_makes_another_worker():
    one = made("lookup_worker.js")
    assert made("lookup_worker.js") == one
    assert made("lookup_worker.js", page=b"page of a new run") != one
    assert made("lookup_worker.js", study="elsewhere") != one


def test_the_page_goes_out_as_it_is():
    assert made("lookup.html", page=b"\x00\xff") == b"\x00\xff"


@pytest.mark.parametrize(("name", "pixels"), ICON_PIXELS.items())
def test_the_icons_are_what_the_script_draws(name, pixels):
    kept = imread(BytesIO(made(name)))
    drawn = np.asarray(icon.draw(pixels).canvas.buffer_rgba()) / 255
    assert kept.shape[:2] == drawn.shape[:2] == (pixels, pixels)
    # Another matplotlib may smooth edges a little differently.
    assert np.abs(kept[..., :3] - drawn[..., :3]).mean() < 0.002
    assert made("icon.svg").decode() == icon.write_svg()


def test_a_phones_mask_cuts_nothing_off():
    kept = imread(BytesIO(made("icon-512.png")))[..., :3]
    y, x = np.nonzero(np.abs(kept - kept[0, 0]).max(axis=2) > 0.1)
    assert len(x) > 10_000
    assert np.hypot(x - 255.5, y - 255.5).max() < 0.4 * 512
