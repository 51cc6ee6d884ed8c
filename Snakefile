"""From a study folder's shot logs to benchmarks, flagged golfers and the academy's page: what depends on what.

snakemake --cores 2                          the demo study
snakemake --cores 2 --config study=PATH      any other
snakemake --cores 2 --config model=ID        a look at the study by a kept model, in results/STUDY/by-model/ID
snakemake --cores 2 --config trial=NAME      a fit that enters no lineage, in results/STUDY/trials/NAME
snakemake --cores 2 --config parts=N         golfers cut into so many jobs, with the same results (docs/cluster.md)

Each stage's rules stand beside its code, in pipeline/*/rules.smk. A rule and its step share their name.
"""

import atexit
import logging
import os
import sys
import time
from pathlib import Path

from snakemake.exceptions import WorkflowError

from pipeline.edge.files import lock_of, start_run, take_whole_seconds
from pipeline.edge.kinds_of_results import remove_other_kind
from pipeline.edge.run_logs import failed_logs
from pipeline.errors import UserError
from pipeline.lean import start_quickly
from pipeline.running import forked_steps
from pipeline.running.start import read_start
from pipeline.run_step import OWNER_ALONE
from pipeline.workflow import (
    keep_digests,
    needs_of,
    parts_of,
    step,
    step_command,
    steps_of,
    threads_for,
)

# Where Snakemake's own log can't be written (a full disk), what went wrong is told on the screen, without tracebacks.
logging.raiseExceptions = False

start_quickly()
os.umask(OWNER_ALONE)
IN_ENVIRONMENT = bool(workflow.deployment_settings.deployment_method)
# At once, so that it loads libraries beside this process. Which steps are due is only known at the run's start.
FORKING = (
    None
    if IN_ENVIRONMENT
    or not workflow.is_main_process
    or forked_steps.only_looks(sys.argv)
    else forked_steps.start(forked_steps.FIRST)
)
try:
    START = read_start(config)
except UserError as error:
    raise WorkflowError(str(error)) from None

FOLDER, STUDY, BY_HAND = START.folder, START.study, START.by_hand
LOGS, SPEED_LOGS = START.logs, START.speed_logs
# What is local stays here where results go to a bucket (docs/cluster.md): the study, and what is read to tell which
# model is in use.
OWN_FILES, KEY = local(START.own_files), local(str(START.key))
KEY_SUM = START.key_sum
SUMS = START.sums
HOME, OUT, LOGS_OF = START.home, START.out, START.logs_of
SETTINGS = START.settings
SHOWN = SETTINGS | {"study": STUDY.shown_name}  # as pages print it
KEPT, DECISIONS = START.kept, START.decisions
ASKED_FOR = {name: local(path) for name, path in START.asked_for.items()}
OWN, FIRST_FIT = START.own, START.first_fit

STEP = step_command(IN_ENVIRONMENT)
ENVIRONMENT = str(Path(workflow.basedir) / "environment.yaml")
LOG_BYTES = [(FOLDER / log.source).stat().st_size for log in LOGS]
THREADS, PARTS = threads_for(LOG_BYTES), parts_of(LOG_BYTES, config)
needs = needs_of(LOG_BYTES)  # of a cluster
STARTED = time.time()
PAGE_TABLES = []  # what the academy's page shows; each stage's rules add theirs


include: "pipeline/still_local.smk"


FULL = [
    local(f"{OUT}/summary.txt"),
    f"{OUT}/shots.duckdb",
    f"{OUT}/model/methods.md",
    f"{OUT}/report/lookup.html",
    f"{OUT}/model/intervals.csv",
    f"{OUT}/golfers/golfers.xlsx",
    f"{OUT}/golfers/progress.csv",
    f"{OUT}/golfers/goals.csv",
    f"{OUT}/golfers/delivery.csv",
    f"{OUT}/practice/practice.csv" if SPEED_LOGS else [],
    f"{OUT}/practice/plan.csv" if SPEED_LOGS else [],
    f"{OUT}/model/comparison.md" if OWN else [],
    # They are of a fit, which a look by a kept model doesn't make.
    [] if ASKED_FOR else f"{OUT}/model/diagnostics.html",
]
# Of results by hand; all else needs launch and spin.
SHORT = [local(f"{OUT}/summary.txt"), f"{OUT}/shots.duckdb"]


rule all:
    input:
        SHORT if BY_HAND else FULL,


include: "pipeline/collect/rules.smk"


if not BY_HAND:

    include: "pipeline/flight/rules.smk"
    include: "pipeline/fit/rules.smk"
    include: "pipeline/benchmark/rules.smk"
    include: "pipeline/golfers/rules.smk"
    include: "pipeline/coach/rules.smk"
    include: "pipeline/research/rules.smk"
    include: "pipeline/report/rules.smk"
    include: "tests/studies.smk"

else:

    include: "pipeline/by_hand/rules.smk"


# Snakemake's own lock outlives a killed run; this one doesn't (profiles/default turns the other off).
onstart:
    try:
        start_run(Path(HOME), lock_of(STUDY.study))
        remove_other_kind(Path(OUT), by_hand=BY_HAND)
        SUMS.keep()
        keep_digests(steps_of(workflow.rules))
        due = set()
        if workflow.local_exec:
            # A cluster is asked for so many jobs a second. Here Snakemake would look again a second after each job
            # for whether it may start another, and a run would end a second after its last.
            workflow.scheduler.job_rate_limiter = None
            due |= set(steps_of(job.rule for job in workflow.dag.needrun_jobs()))
        if due and not IN_ENVIRONMENT:
            forked_steps.load(
                FORKING or forked_steps.start(forked_steps.FIRST),
                [name for name in steps_of(workflow.rules) if name in due],
            )
        else:
            forked_steps.stop(FORKING)
    except UserError as error:
        raise WorkflowError(str(error)) from None


onsuccess:
    if workflow.storage_settings.default_storage_provider is not None:
        take_whole_seconds(Path(HOME))
    summary = Path(f"{OUT}/summary.txt")
    if summary.exists():
        print(summary.read_text(encoding="utf-8"), file=sys.stderr)


onerror:
    # Beside the copies that Snakemake works on where results go to a bucket.
    for path in failed_logs(Path(rules.load_shots.log[0]).parent, STARTED):
        # At the very end, after what Snakemake has to say.
        atexit.register(print, f"See {path} for what went wrong.", file=sys.stderr)
