import os

import polars as pl
import pytest

from pipeline.edge.files import check_alone, path_of_result, take_whole_seconds, write_csv, write_texts
from pipeline.errors import UserError


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20"])
def test_text_like_a_formula_gets_an_apostrophe(tmp_path, start):
    path = tmp_path / "t.csv"

    write_csv(path, pl.DataFrame({"source": [f"{start}1+1", f"a{start}1"], "x": [-1.5, None]}))

    assert pl.read_csv(path).rows() == [(f"'{start}1+1", -1.5), (f"a{start}1", None)]


def test_numbers_and_other_texts_are_written_as_they_are(tmp_path):
    path = tmp_path / "t.csv"

    write_csv(path, pl.DataFrame({"a": ["x", "'y", "", None], "b": [-1, 2, None, 3]}))

    assert path.read_text(encoding="utf-8") == 'a,b\nx,-1\n\'y,2\n"",\n,3\n'


def test_texts_are_written_as_they_are_made_and_not_at_all_if_one_can_not_be(tmp_path):
    path = tmp_path / "t.html"
    write_texts(path, (text for text in ("a\n", "", "\u00e9")))
    assert path.read_bytes() == b"a\n\xc3\xa9"

    def broken():
        yield "b"
        raise ValueError

    with pytest.raises(ValueError):  # noqa: PT011 - its own
        write_texts(path, broken())
    assert path.read_bytes() == b"a\n\xc3\xa9"
    assert [one.name for one in tmp_path.iterdir()] == ["t.html"]


def test_results_beside_others_pass_and_those_that_differ_by_capitals_alone_do_not(tmp_path):
    check_alone(tmp_path / "results" / "hill")
    for name in ("hill", "hill-2", "README.md"):
        (tmp_path / "results" / name).mkdir(parents=True)
    check_alone(tmp_path / "results" / "hill")

    with pytest.raises(UserError, match=r"results/Hill: \S+results/hill differs from it by capitals alone, and some"):
        check_alone(tmp_path / "results" / "Hill")


def test_a_result_is_told_by_its_own_path_wherever_its_copy_is():
    out = "results/hill/trials/one"
    copy = f".snakemake/storage/s3/academy/{out}/{out}/report/academy.html"  # a prefix may be named so too
    assert path_of_result(copy, out) == "results/hill/trials/one/report/academy.html"
    assert path_of_result(f"{out}/run.json", out) == "results/hill/trials/one/run.json"
    # A kept model isn't among a trial's results.
    assert path_of_result("results/hill/model/kept/k1/model.json", out) == "results/hill/model/kept/k1/model.json"


def test_results_get_the_whole_second_that_they_were_made_in(tmp_path):
    (tmp_path / "model").mkdir()
    for path in (tmp_path / "summary.txt", tmp_path / "model/model.json"):
        path.touch()
        os.utime(path, (1_700_000_000.9, 1_700_000_000.9))
    take_whole_seconds(tmp_path)
    assert (tmp_path / "summary.txt").stat().st_mtime == 1_700_000_000
    assert (tmp_path / "model/model.json").stat().st_mtime == 1_700_000_000
