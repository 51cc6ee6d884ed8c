"""The libraries of the academy's page are the files of the packages that the folder's README names."""

import hashlib
import re
from importlib import resources

import pytest

from pipeline.report.page.page import LIBRARIES, LIBRARY_STYLE, vendor_text

FOLDER = resources.files("pipeline.report.page") / "vendor"
ROW = re.compile(
    r"^\| `([^`]+)` \| `([^`]+)` \| ([0-9.]+) \| `[^`]+` \| \w+ \(`([^`]+)`\) \| `([0-9a-f]{64})` \|$", re.M
)
TOLD = {row[0]: row[1:] for row in ROW.findall((FOLDER / "README.md").read_text(encoding="utf-8"))}


def test_the_readme_tells_every_file_of_the_folder():
    licenses = {row[2] for row in TOLD.values()}
    assert {*TOLD, *licenses, "README.md"} == {path.name for path in FOLDER.iterdir()}
    assert {*LIBRARIES, LIBRARY_STYLE} == set(TOLD)


@pytest.mark.parametrize("name", sorted(TOLD))
def test_a_file_is_the_one_of_its_package(name):
    assert hashlib.sha256((FOLDER / name).read_bytes()).hexdigest() == TOLD[name][3]


@pytest.mark.parametrize("name", LIBRARIES)
def test_a_library_tells_its_version_in_its_first_line(name):
    assert TOLD[name][1] in (FOLDER / name).read_text(encoding="utf-8").splitlines()[0]


@pytest.mark.parametrize("name", [*LIBRARIES, LIBRARY_STYLE])
def test_nothing_in_the_page_points_at_a_source_map(name):
    assert "sourceMappingURL" in (FOLDER / name).read_text(encoding="utf-8") or name not in (
        "tabulator.min.js",
        LIBRARY_STYLE,
    )
    assert "sourceMappingURL" not in vendor_text(name)
    assert "</script" not in vendor_text(name)
