import os
from pathlib import Path

import pytest
from served import ACADEMY, LOOKUP, make_study

from pipeline.errors import UserError
from pipeline.serve import report_files
from pipeline.serve.report_files import Report, academy_page, content_of, find_report, read_page
from pipeline.serve.shell import SHELL


@pytest.fixture
def report(tmp_path):
    return make_study(tmp_path)


def test_the_pages_are_read(report):
    assert read_page(report, "academy.html") == ACADEMY.encode()
    assert read_page(report, "lookup.html") == LOOKUP.encode()


HIDDEN = [
    ".hidden.html", "data.csv", "sub/page.html", "sub", "../outside.html", "link.html", "linked/outside.html",
    "pipe.html", "", ".", "..", "/etc/hostname", "academy.html/", "./academy.html", "ACADEMY.HTML", "academy.html\0",
    "con.html", "nul",
]  # fmt: skip


@pytest.mark.parametrize("name", HIDDEN)
def test_nothing_else_is_read(report, name):
    assert read_page(report, name) is None


def test_an_absolute_path_is_not_read(report):
    assert read_page(report, str(report / "academy.html")) is None
    assert read_page(report, str(report.parent / "outside.html")) is None


@pytest.mark.parametrize("kind", ["link", "pipe", "folder", "gone"])
def test_a_file_that_is_swapped_in_between_is_not_read(report, monkeypatch, kind):
    opened = os.open
    page = report / "academy.html"

    def swapped(path, flags, *more):
        page.unlink()
        if kind == "link":
            page.symlink_to("../outside.html")
        if kind == "pipe":
            os.mkfifo(page)
        if kind == "folder":
            page.mkdir()
        return opened(path, flags, *more)

    monkeypatch.setattr(report_files.os, "open", swapped)
    handles = set(Path("/proc/self/fd").iterdir())
    assert read_page(report, "academy.html") is None
    assert set(Path("/proc/self/fd").iterdir()) == handles


def test_what_a_new_run_wrote_is_read(report):
    content = content_of(Report("hill-school", "Hill School", report))
    before = {name: content(name) for name in SHELL}
    (report / "lookup.html").write_text("another", encoding="utf-8")
    changed = {name for name in SHELL if content(name) != before[name]}
    assert changed == {"lookup.html", "lookup_worker.js"}


def test_without_the_coachs_page_its_shell_is_not_there(report):
    (report / "lookup.html").unlink()
    content = content_of(Report("hill-school", "Hill School", report))
    assert [content(name) for name in SHELL] == [None] * len(SHELL)
    assert content("academy.html") == ACADEMY.encode()


def test_a_package_file_is_never_taken_from_the_report_folder(report):
    (report / "lookup_worker.js").write_text("planted", encoding="utf-8")
    assert b"planted" not in content_of(Report("hill-school", "Hill School", report))("lookup_worker.js")


def test_a_study_without_results_is_told_what_to_run(report, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert find_report(tmp_path / "study", "academy.html").folder.resolve() == report
    assert find_report(tmp_path / "study", "academy.html").title == "hill-school"
    with (tmp_path / "study/study.yaml").open("a", encoding="utf-8") as file:
        file.write("title: Hill School\n")
    titled = find_report(tmp_path / "study", "lookup.html")
    assert (titled.study, titled.title) == ("hill-school", "Hill School")
    assert b'"name": "Hill School: how far should this drive go?"' in content_of(titled)("lookup.webmanifest")
    (report / "academy.html").unlink()
    told = (
        "results/hill-school/report/academy.html: not made yet; run snakemake --cores 2 --config study=.*study first."
    )
    with pytest.raises(UserError, match=f"^{told}$"):
        find_report(tmp_path / "study", "academy.html")


def test_the_pages_of_a_trial_are_found_by_its_folder(report, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    trial = report.parent / "trials/few"
    (trial / "report").mkdir(parents=True)
    (trial / "report/academy.html").write_text("trial", encoding="utf-8")
    assert find_report(tmp_path / "study", "academy.html", trial).folder == trial / "report"
    assert academy_page(tmp_path / "study", trial) == trial / "report/academy.html"
    with pytest.raises(
        UserError, match=r"few/report/lookup\.html: not made yet; give a folder of results, such as one"
    ):
        find_report(tmp_path / "study", "lookup.html", trial)
