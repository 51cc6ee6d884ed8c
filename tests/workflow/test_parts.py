"""A whole study whose golfers are cut into parts: the same results, and nothing of the parts is left."""

import os
import re
import subprocess
import sys

import pytest
from conftest import ROOT, run_snakemake

from pipeline.edge.drives_file import PIECE_ROWS
from pipeline.edge.result_files import digest_of
from pipeline.fit.whole_fit import PASSES

DRIVES = 3 * PIECE_ROWS  # three pieces at least


@pytest.mark.bench
def test_a_study_in_parts_has_the_same_results(tmp_path):
    make = [sys.executable, str(ROOT / "tests/speed/make_study.py"), str(DRIVES), str(DRIVES // 50), "4"]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    subprocess.run([*make, str(tmp_path / "study")], check=True, env=environment, capture_output=True)
    made = {}
    for parts in (1, 2, 3):
        folder = tmp_path / str(parts)
        folder.mkdir()
        target = "results/speed-trial/report/academy.html"
        run = run_snakemake(folder, target, study=tmp_path / "study", parts=parts)
        assert run.returncode == 0, run.stderr
        jobs = set(
            re.findall(r"(?:Compare golfers' quarters|Make a fit's pass \d over the drives), part \S+", run.stderr)
        )
        assert len(jobs) == (parts * (1 + PASSES) if parts > 1 else 0)
        made[parts] = {
            path.relative_to(folder): digest_of(path)
            for path in sorted((folder / "results").rglob("*"))
            if path.suffix in (".csv", ".html", ".npz", ".parquet", ".png")
        }
    assert made[1] == made[2] == made[3]
    for left in ("*.compared.parquet", "*.answers", "*.asked", "*.pooled"):
        assert not list(tmp_path.rglob(left))
    progress = (tmp_path / "2/results/speed-trial/golfers/progress.csv").read_text(encoding="utf-8")
    assert progress.count("\n") > 1000
