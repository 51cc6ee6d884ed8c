import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
PROBE = """
import sys, types
import pipeline.run_step

def run():
    import polars
    print(polars.thread_pool_size())

sys.modules["probe"] = types.SimpleNamespace(run=run)
pipeline.run_step.module_of = lambda step: step
sys.exit(pipeline.run_step.main(["probe", "{}"]))
"""


def test_a_step_runs_on_one_thread_so_that_sums_come_out_the_same_anywhere():
    environment = os.environ | {"POLARS_MAX_THREADS": "2"}
    done = subprocess.run([sys.executable, "-c", PROBE], capture_output=True, text=True, check=True, env=environment)
    assert done.stdout == "1\n"


def test_a_step_writes_what_it_prints_to_its_log_and_whether_it_ended_well(tmp_path):
    environment = os.environ | {"YARDBAND_LOG": str(tmp_path / "probe.log")}
    good = subprocess.run([sys.executable, "-c", PROBE], capture_output=True, text=True, check=True, env=environment)
    assert (tmp_path / "probe.log").read_text(encoding="utf-8") == f"{good.stdout}Done.\n"
    bad = PROBE.replace("import polars\n", 'raise pipeline.run_step.UserError("x: is empty; add rows.")\n')
    failed = subprocess.run([sys.executable, "-c", bad], capture_output=True, text=True, check=False, env=environment)
    assert (failed.returncode, failed.stderr) == (2, "x: is empty; add rows.\n")
    assert (tmp_path / "probe.log").read_text(encoding="utf-8") == failed.stderr


def test_a_log_that_cannot_be_written_stops_no_step(tmp_path):
    environment = os.environ | {"YARDBAND_LOG": str(tmp_path / "no" / "folder.log")}
    done = subprocess.run([sys.executable, "-c", PROBE], capture_output=True, text=True, check=True, env=environment)
    assert done.stdout == "1\n"


def test_who_hands_a_step_over_imports_next_to_nothing():
    code = "import sys; before = set(sys.modules); import pipeline.step; print(*sorted({*sys.modules} - before))"
    # Without site-packages, where a test environment may import things at its start.
    done = subprocess.run([sys.executable, "-S", "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    found = set(done.stdout.split())
    assert "pipeline.handover" in found
    assert not {"dataclasses", "pathlib", "typing"} & found
    assert {name for name in found if name.startswith("pipeline.")} == {"pipeline.handover", "pipeline.step"}
