"""From a study folder's shot logs to benchmarks, flagged golfers and the academy's page: what depends on what.

snakemake --cores 2                          the demo study
snakemake --cores 2 --config study=PATH      any other
snakemake --cores 2 --config model=ID        a look at the study by a kept model, in results/STUDY/by-model/ID
snakemake --cores 2 --config trial=NAME      a fit that enters no lineage, in results/STUDY/trials/NAME

Each stage's rules stand beside its code, in pipeline/*/rules.smk. A rule and its step share their name.
"""

import atexit
import logging
import sys
import time
from pathlib import Path

from snakemake.exceptions import WorkflowError

from pipeline.collect.key import read_key
from pipeline.configuration.load import load_study
from pipeline.configuration.log_files import find_logs, find_speed_logs
from pipeline.edge.files import check_alone, check_room, lock_of, start_run
from pipeline.edge.run_logs import failed_logs
from pipeline.errors import UserError
from pipeline.fit.kept import (
    check_kept,
    check_pinned,
    choose_kept,
    find_kept,
    read_decisions,
)
from pipeline.fit.own_files import find_own
from pipeline.workflow import (
    check_config,
    folder_of,
    needs,
    step,
    step_command,
)

# Where Snakemake's own log can't be written (a full disk), what went wrong is told on the screen, without tracebacks.
logging.raiseExceptions = False

try:
    check_config(config)
    FOLDER, STUDY = load_study(Path(config.get("study", "data_demo")))
    LOGS = find_logs(FOLDER, STUDY)
    SPEED_LOGS = find_speed_logs(FOLDER, STUDY)
    OWN_FILES = find_own(FOLDER, STUDY)
    KEY = FOLDER / STUDY.privacy.key_file
    read_key(KEY, STUDY.study)
    HOME = f"results/{STUDY.study}"  # what was collected, and the kept models
    OUT = f"results/{folder_of(STUDY.study, config)}"  # everything else
    check_room(Path(OUT))
    check_alone(Path(HOME))
    check_alone(Path(OUT))
    check_room(Path(".snakemake"))  # where Snakemake keeps count of what was made
    SETTINGS = STUDY.model_dump(mode="json", by_alias=True)
    SHOWN = SETTINGS | {"study": STUDY.shown_name}  # as pages print it
    KEPT = Path(f"{HOME}/model/kept")
    check_kept(KEPT)
    # What people decided, as it is when the run starts.
    DECISIONS = read_decisions(KEPT)
    # In a look by a kept model its files stand in for a fit and its calibration of flight, which are not made.
    ASKED_FOR = (
        choose_kept(KEPT, str(config["model"]), SETTINGS["air"])
        if "model" in config
        else {}
    )
    # The run that makes the study's own results; only its fit is judged and kept.
    OWN = not {"model", "trial"} & set(config)
    if OWN:
        check_pinned(KEPT, DECISIONS, SETTINGS["air"])
    FIRST_FIT = OWN and not find_kept(KEPT)
except UserError as error:
    raise WorkflowError(str(error)) from None

STEP = step_command(bool(workflow.deployment_settings.deployment_method))
LOGS_OF = f"logs/{folder_of(STUDY.study, config)}"  # what each step printed, and how long it took
ENVIRONMENT = str(Path(workflow.basedir) / "environment.yaml")
STARTED = time.time()
PAGE_TABLES = []  # what the academy's page shows; each stage's rules add theirs


rule all:
    input:
        f"{OUT}/summary.txt",
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


include: "pipeline/collect/rules.smk"
include: "pipeline/flight/rules.smk"
include: "pipeline/fit/rules.smk"
include: "pipeline/benchmark/rules.smk"
include: "pipeline/golfers/rules.smk"
include: "pipeline/coach/rules.smk"
include: "pipeline/research/rules.smk"
include: "pipeline/report/rules.smk"
include: "tests/studies.smk"


# Snakemake's own lock outlives a killed run; this one doesn't (profiles/default turns the other off).
onstart:
    try:
        start_run(Path(HOME), lock_of(STUDY.study))
    except UserError as error:
        raise WorkflowError(str(error)) from None


onsuccess:
    summary = Path(f"{OUT}/summary.txt")
    if summary.exists():
        print(summary.read_text(encoding="utf-8"), file=sys.stderr)


onerror:
    for path in failed_logs(Path(LOGS_OF), STARTED):
        # At the very end, after what Snakemake has to say.
        atexit.register(print, f"See {path} for what went wrong.", file=sys.stderr)
