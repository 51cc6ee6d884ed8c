"""The first study as the README prints it: ten logs, each of another shape, to the page, without an editor."""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest
from drafting.ten_logs import DRIVES_EACH, NAMES, make_logs

from pipeline.collect.key import read_key
from pipeline.collect.pseudonym import pseudonym

ROOT = Path(__file__).parents[2]
DRIVES = len(NAMES) * DRIVES_EACH
PAPERS = ("README.md", "docs/own-study.md")
COMMANDS = [
    ["yardband", "new", "hill", "hill/logs"],
    ["yardband", "run", "hill"],
    ["yardband", "open", "hill"],
]


def printed(paper):
    """Give the commands under the comment that marks the first study, in words."""
    text = (ROOT / paper).read_text(encoding="utf-8")
    [block] = re.findall(r"<!-- first study -->\n *```sh\n(.*?)```", text, flags=re.DOTALL)
    return [shlex.split(line.strip().removeprefix(".venv/bin/")) for line in block.splitlines() if line.strip()]


@pytest.mark.parametrize("paper", PAPERS)
def test_both_papers_print_the_same_way(paper):
    assert printed(paper) == COMMANDS


def typed(words, folder):
    """Type a command where nobody answers and a browser takes every page."""
    environment = os.environ | {"PYTHONPATH": str(ROOT), "BROWSER": "true"}
    command = [sys.executable, "-m", "pipeline", *words[1:]]
    done = subprocess.run(
        command, cwd=folder, env=environment, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-3000:]
    return done


@pytest.mark.bench
def test_the_way_as_printed_leads_ten_logs_to_the_page(tmp_path):
    left_out = make_logs(tmp_path / "hill/logs")
    new, run, opened = (typed(words, tmp_path) for words in printed("README.md"))

    # Each command says how to go on.
    assert (new.stderr, new.stdout.splitlines()[-1]) == ("", "Next, type: yardband run hill")
    results = tmp_path / "results/hill"
    page = results / "report/academy.html"
    assessed, *_, where = run.stdout.splitlines()
    assert where.startswith("Open results/hill/report/academy.html, or type: yardband open hill.")
    assert opened.stdout == f"{page}\n"

    # Every drive of every log came in, and no other club's.
    sources = pl.read_csv(results / "sources.csv")
    assert {Path(row["source"]).name: row["left_out"] for row in sources.to_dicts()} == left_out
    assert sources["status"].to_list() == ["used"] * 10
    assert sources["rows"].to_list() == sources["accepted"].to_list() == [DRIVES] * 10
    rows = f"{10 * DRIVES:,} = {10 * DRIVES:,} accepted + 0 rejected + 0 duplicates."
    assert rows in (results / "summary.txt").read_text(encoding="utf-8")

    # The golfers of the logs, each once whatever the log's encoding, stand in the table and on the page.
    key = read_key(tmp_path / "hill/private/pseudonym.key", "hill")
    golfers = pl.read_csv(results / "golfers/golfers.csv", infer_schema_length=None)
    codes = {pseudonym(name, key, "golfer") for name in NAMES}
    assert set(golfers["golfer"]) == codes
    assert golfers.filter(quarter="2026Q3")["shots"].sum() == 10 * DRIVES
    # Benchmarks of so few golfers don't reach the fastest and the slowest.
    count = golfers.filter(pl.col("status") != "not_assessed").height
    assert count > 0
    assert assessed.startswith(f"2026Q3: {count} of {len(NAMES)} golfers assessed")
    text = page.read_text(encoding="utf-8")
    assert all(code in text for code in codes)
    assert not any(name in text for name in NAMES)

    again = typed(["yardband", "run", "hill"], tmp_path)
    assert again.stdout == run.stdout
    assert again.stderr.endswith("Nothing has changed since the last run, so nothing was done again.\n")
