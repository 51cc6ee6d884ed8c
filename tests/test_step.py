import os
import subprocess
import sys

PROBE = """
import sys, types
import pipeline.step

def run():
    import polars
    print(polars.thread_pool_size())

sys.modules["probe"] = types.SimpleNamespace(run=run)
pipeline.step.module_of = lambda step: step
sys.exit(pipeline.step.main(["probe", "{}"]))
"""


def test_a_step_runs_on_one_thread_so_that_sums_come_out_the_same_anywhere():
    environment = os.environ | {"POLARS_MAX_THREADS": "2"}
    done = subprocess.run([sys.executable, "-c", PROBE], capture_output=True, text=True, check=True, env=environment)
    assert done.stdout == "1\n"
