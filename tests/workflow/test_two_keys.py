"""Another key for the same logs gives the same figures to the last digit; only pseudonyms differ."""

import json
import re

import polars as pl
import pytest

PSEUDONYM = re.compile(r"(?<![0-9a-z])g[0-9a-f]{16}(?![0-9a-z])")
# The beginning of one, as the academy's page names golfers.
SHORT = re.compile(r"(?<![0-9A-Za-z#])g[0-9a-f]{5,8}(?![0-9A-Za-z])")
TEXTS = {".csv", ".md", ".txt", ".html", ".json", ".svg"}
# A picture on the page, the same in svg: it names the flagged by the beginnings of their pseudonyms.
NAMED_PICTURE = "figures/losses.svg"
EMBEDDED = re.compile(r"data:image/png;base64,[^\"]*")


@pytest.fixture(scope="module")
def renamed(demo, rekeyed):
    """Put the demo's pseudonyms in place of the other key's."""
    known = {}
    for name in ("drives", "swings"):
        one, other = (
            pl.read_parquet(results / f"collected/{name}.parquet") for results in (demo.results, rekeyed.results)
        )
        same = one.join(other, on=["source", "row"], validate="1:1")
        assert same.height == one.height == other.height
        known |= dict(same.select("golfer_right", "golfer").unique().rows())
    assert len(known) == len(set(known.values())) == 83
    assert not set(known) & set(known.values())

    def of_short(found):
        whole = [code for code in known if code.startswith(found.group())]
        return known[whole[0]][: len(found.group())] if len(whole) == 1 else found.group()

    return lambda text: SHORT.sub(of_short, PSEUDONYM.sub(lambda found: known[found.group()], text))


def texts(results, rename):
    """Give the words of every file of text, by its path."""
    found = {}
    for path in sorted(p for p in results.rglob("*") if p.suffix in TEXTS):
        if path.name.endswith(".names.json"):
            continue  # names in digests under the key
        text = rename(path.read_text(encoding="utf-8"))
        if path.name == "record.json":
            # The digest of a fit's drives holds their pseudonyms.
            text = json.loads(text)
            assert len(text["data"].pop("fingerprint")) == 64
        if path.name == "run.json":
            # So do digests of files with pseudonyms; and this tells the keys apart.
            text = json.loads(text)
            assert len(text.pop("key")) == 16
            assert len(text.pop("made")) > 50
            assert text.pop("folder")
        found[rename(path.relative_to(results).as_posix())] = EMBEDDED.sub("", text) if path.suffix == ".html" else text
    assert len(found.pop(NAMED_PICTURE)) > 10_000
    return found


def test_every_table_and_page_is_the_same(demo, rekeyed, renamed):
    one, other = texts(demo.results, str), texts(rekeyed.results, renamed)
    assert {"golfers/golfers.csv", "benchmarks/bands.csv", "model/scores.csv", "report/academy.html"} <= set(one)
    assert set(other) == set(one)
    assert [name for name in one if other[name] != one[name]] == []


@pytest.mark.parametrize("name", ["collected/drives", "practice/swings", "model/typical", "model/held_out"])
def test_every_row_is_the_same_and_in_the_same_place(demo, rekeyed, renamed, name):
    one, other = (pl.read_parquet(results / f"{name}.parquet") for results in (demo.results, rekeyed.results))
    if "golfer" in one.columns:
        other = other.with_columns(pl.Series("golfer", map(renamed, other["golfer"])))
    assert other.equals(one)


def test_every_picture_without_pseudonyms_is_the_same(demo, rekeyed):
    pictures = sorted(p.name for p in (demo.results / "figures").glob("*.png") if p.stem not in NAMED_PICTURE)
    assert len(pictures) == 11
    assert all(
        (demo.results / "figures" / name).read_bytes() == (rekeyed.results / "figures" / name).read_bytes()
        for name in pictures
    )
