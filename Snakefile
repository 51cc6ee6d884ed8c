"""From a study folder's shot logs to benchmarks, flagged golfers and the academy's page: what depends on what.

snakemake --cores 2                          the demo study
snakemake --cores 2 --config study=PATH      any other
snakemake --cores 2 --config model=ID        benchmarks, golfers and page by a kept model instead of the newest fit
"""

import json
import logging
import re
import sys
from pathlib import Path

from snakemake.exceptions import WorkflowError

from pipeline.collect.key import read_key
from pipeline.collect.partitions import describe, partitions
from pipeline.errors import UserError
from pipeline.edge.files import check_room, start_run
from pipeline.fit.kept import choose_kept, find_kept, find_parent, kept_files, model_id
from pipeline.report.figures.naming import FORMATS, figure_names
from pipeline.configuration.load import load_study
from pipeline.configuration.log_files import find_logs, find_speed_logs

# Where Snakemake's own log can't be written (a full disk), what went wrong is told on the screen, without tracebacks.
logging.raiseExceptions = False

try:
    FOLDER, STUDY = load_study(Path(config.get("study", "data_demo")))
    LOGS = find_logs(FOLDER, STUDY)
    SPEED_LOGS = find_speed_logs(FOLDER, STUDY)
    KEY = FOLDER / STUDY.privacy.key_file
    read_key(KEY, STUDY.study)
    OUT = f"results/{STUDY.study}"
    check_room(Path(OUT))
    check_room(Path(".snakemake"))  # where Snakemake keeps count of what was made
    SETTINGS = STUDY.model_dump(mode="json", by_alias=True)
    KEPT = Path(f"{OUT}/model/kept")
    find_kept(KEPT)
    # With a kept model its files stand in for the newest fit and its calibration of flight, which are not made.
    USED = choose_kept(KEPT, str(config["model"]), SETTINGS["air"]) if "model" in config else {}
except UserError as error:
    raise WorkflowError(str(error)) from None

FIGURES = figure_names(STUDY.bands.centres)
PROVING_ACADEMIES = 4  # of each world


# A rule and its step share their name: pipeline/*/<rule>.py. Paths and settings reach it as two JSON objects.
# Snakemake compares settings with those of the last run, so a changed one reruns what depends on it; it does not
# compare paths given by a function of input and output, for which it has the files themselves.
STEP = f"YARDBAND_THREADS={{threads}} {sys.executable} -m pipeline.step {{rule}} {{params.files:q}} {{params.settings:q}}"


def files(wildcards, input, output):
    paths = {**dict(input.items()), **dict(output.items())}
    return json.dumps({name: path if isinstance(path, str) else list(path) for name, path in paths.items()})


def settings(**values):
    return lambda wildcards: json.dumps(values, sort_keys=True)


# Large logs by themselves, small ones together: a job each (pipeline/collect/partitions.py).
PARTITIONS = partitions(LOGS, {log.source: (FOLDER / log.source).stat().st_size for log in LOGS})


def collected(kind):
    return [f"{OUT}/collected/{partition}.{kind}" for partition in PARTITIONS]


def told(logs):
    return logs[0].source if len(logs) == 1 else f"{len(logs)} small logs"


wildcard_constraints:
    partition="|".join(map(re.escape, PARTITIONS)),


rule all:
    input:
        f"{OUT}/summary.txt",
        f"{OUT}/shots.duckdb",
        f"{OUT}/report/lookup.html",
        f"{OUT}/golfers/sheets",
        f"{OUT}/golfers/golfers.xlsx",
        f"{OUT}/golfers/progress.csv",
        f"{OUT}/golfers/goals.csv",
        f"{OUT}/golfers/delivery.csv",
        f"{OUT}/practice/practice.csv" if SPEED_LOGS else [],
        # They are of the newest fit, which a run by a kept model doesn't make.
        [] if USED else f"{OUT}/model/diagnostics.html",


rule collect_logs:
    input:
        logs=lambda wildcards: [str(FOLDER / log.source) for log in PARTITIONS[wildcards.partition]],
        key=str(KEY),
    output:
        shots=f"{OUT}/collected/{{partition}}.shots.parquet",
        rejects=f"{OUT}/collected/{{partition}}.rejects.parquet",
        receipts=f"{OUT}/collected/{{partition}}.receipts.json",
    params:
        # The logs are in the settings, each path once: a command's argument must not be too long.
        files=lambda wildcards, input, output: json.dumps({"key": input.key, **dict(output.items())}),
        settings=lambda wildcards: json.dumps(
            {"study": STUDY.study, "folder": str(FOLDER), "partition": describe(PARTITIONS[wildcards.partition])}
        ),
        what=lambda wildcards: told(PARTITIONS[wildcards.partition]),
    message:
        "Collect {params.what}"
    shell:
        STEP


rule load_shots:
    input:
        shots=collected("shots.parquet"),
        rejects=collected("rejects.parquet"),
        receipts=collected("receipts.json"),
    output:
        database=f"{OUT}/collected/loaded.duckdb",
        rejects_csv=f"{OUT}/rejects.csv",
        sources_csv=f"{OUT}/sources.csv",
    params:
        files=files,
        settings=settings(),
    message:
        "Load the collected logs into DuckDB"
    shell:
        STEP


rule calibrate_flight:
    input:
        database=rules.load_shots.output.database,
    output:
        calibration=f"{OUT}/flight/calibration.json",
        table=f"{OUT}/flight/calibrations.csv",
    threads: 2
    params:
        files=files,
        settings=settings(coefficients=STUDY.flight.coefficients, air=SETTINGS["air"], seed=STUDY.seed),
    message:
        "Fit ball flight to the study's drives"
    shell:
        STEP


CALIBRATION = USED or {
    "calibration": rules.calibrate_flight.output.calibration,
    "calibrations": rules.calibrate_flight.output.table,
}


rule build_flight_table:
    input:
        database=rules.load_shots.output.database,
        calibration=CALIBRATION["calibration"],
    output:
        tables=f"{OUT}/flight/tables.npz",
    threads: 2
    params:
        files=files,
        settings=settings(air=SETTINGS["air"]),
    message:
        "Fly the grids of the flight table"
    shell:
        STEP


rule standardise_shots:
    input:
        loaded=rules.load_shots.output.database,
        calibration=CALIBRATION["calibration"],
        tables=rules.build_flight_table.output.tables,
    output:
        drives=f"{OUT}/collected/drives.parquet",
    params:
        files=files,
        settings=settings(air=SETTINGS["air"]),
    message:
        "Move carry to standard conditions"
    shell:
        STEP


# A checkpoint, since which kept model a fit is held against shows when the fit is there.
checkpoint fit_model:
    input:
        drives=rules.standardise_shots.output.drives,
        calibration=rules.calibrate_flight.output.calibration,
    output:
        model=f"{OUT}/model/model.json",
        coefficients=f"{OUT}/model/coefficients.csv",
        scores=f"{OUT}/model/scores.csv",
        card=f"{OUT}/model/card.md",
        typical=f"{OUT}/model/typical.parquet",
        replicates=f"{OUT}/model/replicates.npz",
        held_out=f"{OUT}/model/held_out.parquet",
    threads: 2
    params:
        files=files,
        settings=settings(study=STUDY.study, seed=STUDY.seed, air=SETTINGS["air"]),
    message:
        "Fit the candidate models and choose one"
    shell:
        STEP


MODEL = USED or dict(rules.fit_model.output.items())


rule build_bands:
    input:
        drives=rules.standardise_shots.output.drives,
        model=MODEL["model"],
        typical=MODEL["typical"],
        replicates=MODEL["replicates"],
        tables=rules.build_flight_table.output.tables,
    output:
        csv=f"{OUT}/benchmarks/bands.csv",
        parquet=f"{OUT}/benchmarks/bands.parquet",
        frontier=f"{OUT}/benchmarks/frontier.json",
        chart=f"{OUT}/benchmarks/chart.json",
    threads: 2
    params:
        files=files,
        settings=settings(
            study=STUDY.study,
            bands=SETTINGS["bands"],
            window_tolerance_yd=STUDY.window_tolerance_yd,
            min_shots=STUDY.flags.min_shots,
            min_golfers=STUDY.privacy.min_golfers,
            turf=STUDY.flight.turf,
            air=SETTINGS["air"],
        ),
    message:
        "Build the speed bands"
    shell:
        STEP


def parent_files(wildcards):
    # Those of the kept model that the newest fit is held against; none for a first fit.
    fit = checkpoints.fit_model.get().output
    found = {**dict(fit.items()), "calibration": rules.calibrate_flight.output.calibration}
    parent = find_parent(KEPT, model_id(found))
    return sorted(kept_files(KEPT, parent).values()) if parent else []


rule keep_model:
    input:
        **dict(rules.fit_model.output.items()),
        calibration=rules.calibrate_flight.output.calibration,
        calibrations=rules.calibrate_flight.output.table,
        drives=rules.standardise_shots.output.drives,
        frontier=rules.build_bands.output.frontier,
        old=parent_files,
    output:
        comparison=f"{OUT}/model/comparison.md",
        verdict=f"{OUT}/model/verdict.json",
    threads: 2
    params:
        files=files,
        settings=settings(
            study=STUDY.study,
            kept=str(KEPT),
            centres=SETTINGS["bands"]["centres"],
            settings={"air": SETTINGS["air"], "coefficients": STUDY.flight.coefficients, "seed": STUDY.seed},
        ),
    message:
        "Compare the fit with the kept one"
    shell:
        STEP


rule assess_golfers:
    input:
        drives=rules.standardise_shots.output.drives,
        model=MODEL["model"],
        frontier=rules.build_bands.output.frontier,
    output:
        golfers=f"{OUT}/golfers/golfers.csv",
        flagged=f"{OUT}/golfers/flagged.csv",
        changes=f"{OUT}/golfers/changes.csv",
    threads: 2
    params:
        files=files,
        settings=settings(flags=SETTINGS["flags"]),
    message:
        "Calculate yards lost and flag golfers"
    shell:
        STEP


rule advise_delivery:
    input:
        drives=rules.standardise_shots.output.drives,
        model=MODEL["model"],
        replicates=MODEL["replicates"],
        frontier=rules.build_bands.output.frontier,
        golfers=rules.assess_golfers.output.golfers,
    output:
        slopes=f"{OUT}/model/delivery_slopes.csv",
        delivery=f"{OUT}/golfers/delivery.csv",
    params:
        files=files,
        settings=settings(min_shots=STUDY.flags.min_shots),
    message:
        "Estimate what a change of loft or attack might give"
    shell:
        STEP


rule plan_goals:
    input:
        drives=rules.standardise_shots.output.drives,
        golfers=rules.assess_golfers.output.golfers,
        changes=rules.assess_golfers.output.changes,
        frontier=rules.build_bands.output.frontier,
        model=MODEL["model"],
        replicates=MODEL["replicates"],
    output:
        goals=f"{OUT}/golfers/goals.csv",
        priorities_csv=f"{OUT}/golfers/priorities.csv",
    params:
        files=files,
        settings=settings(bands=SETTINGS["bands"], wanted=SETTINGS["goals"]),
    message:
        "Plan the golfers' goals"
    shell:
        STEP


rule assess_progress:
    input:
        drives=rules.standardise_shots.output.drives,
        model=MODEL["model"],
        frontier=rules.build_bands.output.frontier,
        golfers=rules.assess_golfers.output.golfers,
    output:
        progress=f"{OUT}/golfers/progress.csv",
        cohorts=f"{OUT}/golfers/cohorts.csv",
    threads: 2
    params:
        files=files,
        settings=settings(
            false_discovery_rate=STUDY.flags.false_discovery_rate,
            min_golfers=STUDY.privacy.min_golfers,
        ),
    message:
        "Compare golfers' quarters"
    shell:
        STEP


# Swings without a ball: a study without speed logs has no such rules.
if SPEED_LOGS:

    rule collect_swings:
        input:
            logs=[str(FOLDER / log.source) for log in SPEED_LOGS],
            key=str(KEY),
        output:
            swings=f"{OUT}/collected/swings.parquet",
            rejects=f"{OUT}/practice/rejects.csv",
            sources=f"{OUT}/practice/sources.csv",
        params:
            files=files,
            settings=settings(
                study=STUDY.study, log_files=[log.model_dump(mode="json", by_alias=True) for log in SPEED_LOGS]
            ),
        message:
            "Collect the swings without a ball"
        shell:
            STEP

    rule assess_practice:
        input:
            swings=rules.collect_swings.output.swings,
            drives=rules.standardise_shots.output.drives,
        output:
            marked=f"{OUT}/practice/swings.parquet",
            sessions=f"{OUT}/practice/sessions.csv",
            paired=f"{OUT}/practice/paired.csv",
            light_tool=f"{OUT}/practice/light_tool.json",
            practice=f"{OUT}/practice/practice.csv",
        params:
            files=files,
            settings=settings(bands=SETTINGS["bands"]),
        message:
            "Estimate what speed practice did"
        shell:
            STEP


# What the pages show of the golfers' quarters; speed practice where there is any.
QUARTER_TABLES = [
    rules.assess_golfers.output.golfers,
    rules.build_bands.output.csv,
    rules.plan_goals.output.goals,
    rules.plan_goals.output.priorities_csv,
    rules.advise_delivery.output.delivery,
    *([rules.assess_practice.output.practice] if SPEED_LOGS else []),
]
LIGHT_TOOL = {"light_tool": rules.assess_practice.output.light_tool} if SPEED_LOGS else {}


rule draw_figures:
    input:
        golfers=rules.assess_golfers.output.golfers,
        bands=rules.build_bands.output.csv,
        chart=rules.build_bands.output.chart,
    output:
        figures=[f"{OUT}/figures/{name}.{form}" for name in FIGURES for form in FORMATS],
    params:
        files=files,
        settings=settings(settings={key: SETTINGS[key] for key in ("bands", "privacy", "window_tolerance_yd")}),
    message:
        "Draw the figures"
    shell:
        STEP


rule write_report:
    input:
        tables=[
            *QUARTER_TABLES,
            rules.assess_golfers.output.changes,
            rules.assess_progress.output.cohorts,
            rules.advise_delivery.output.slopes,
            rules.load_shots.output.sources_csv,
            rules.load_shots.output.rejects_csv,
            MODEL["scores"],
            CALIBRATION["calibrations"],
        ],
        figures=[f"{OUT}/figures/{name}.png" for name in FIGURES],
        card=MODEL["card"],
        model=MODEL["model"],
        which=USED["record"] if USED else rules.keep_model.output.verdict,
        **LIGHT_TOOL,
    output:
        page=f"{OUT}/report/academy.html",
    params:
        files=files,
        settings=settings(
            settings={
                key: SETTINGS[key]
                for key in ("study", "flags", "bands", "privacy", "window_tolerance_yd", "flight", "report")
            },
            kept=bool(USED),
        ),
    message:
        "Write the academy's page"
    shell:
        STEP


rule write_sheets:
    input:
        tables=[*QUARTER_TABLES, rules.assess_progress.output.progress],
        frontier=rules.build_bands.output.frontier,
        drives=rules.standardise_shots.output.drives,
        model=MODEL["model"],
        flight_tables=rules.build_flight_table.output.tables,
    output:
        sheets=directory(f"{OUT}/golfers/sheets"),
    params:
        files=files,
        settings=settings(
            settings={
                key: SETTINGS[key]
                for key in ("study", "flags", "bands", "privacy", "window_tolerance_yd", "flight", "report")
            }
        ),
    message:
        "Write the golfers' sheets"
    shell:
        STEP


rule write_workbook:
    input:
        golfers=rules.assess_golfers.output.golfers,
        bands=rules.build_bands.output.csv,
    output:
        golfers_xlsx=f"{OUT}/golfers/golfers.xlsx",
        bands_xlsx=f"{OUT}/benchmarks/bands.xlsx",
        bands_md=f"{OUT}/benchmarks/bands.md",
    params:
        files=files,
        settings=settings(flags=SETTINGS["flags"], min_golfers=STUDY.privacy.min_golfers),
    message:
        "Write the workbooks and the bands' text"
    shell:
        STEP


rule write_database:
    input:
        loaded=rules.load_shots.output.database,
        drives=rules.standardise_shots.output.drives,
        model=MODEL["model"],
    output:
        database=f"{OUT}/shots.duckdb",
    params:
        files=files,
        settings=settings(),
    message:
        "Write the database"
    shell:
        STEP


rule write_diagnostics:
    input:
        drives=rules.standardise_shots.output.drives,
        model=rules.fit_model.output.model,
        held_out=rules.fit_model.output.held_out,
        scores=rules.fit_model.output.scores,
        frontier=rules.build_bands.output.frontier,
    output:
        page=f"{OUT}/model/diagnostics.html",
    params:
        files=files,
        settings=settings(settings={key: SETTINGS[key] for key in ("study", "bands", "privacy")}),
    message:
        "Write the researcher's diagnostics"
    shell:
        STEP


rule write_lookup:
    input:
        model=MODEL["model"],
        frontier=rules.build_bands.output.frontier,
        calibration=CALIBRATION["calibration"],
    output:
        page=f"{OUT}/report/lookup.html",
    params:
        files=files,
        settings=settings(window_tolerance_yd=STUDY.window_tolerance_yd),
    message:
        "Write the coach's page"
    shell:
        STEP


rule summarise_run:
    input:
        tables=[
            *QUARTER_TABLES,
            rules.assess_progress.output.cohorts,
            rules.load_shots.output.sources_csv,
            MODEL["scores"],
        ],
        page=rules.write_report.output.page,
        lookup=rules.write_lookup.output.page,
        sheets=rules.write_sheets.output.sheets,
        drives=rules.standardise_shots.output.drives,
        model=MODEL["model"],
        which=USED["record"] if USED else rules.keep_model.output.verdict,
    output:
        record=f"{OUT}/run.json",
        summary=f"{OUT}/summary.txt",
    params:
        files=files,
        settings=settings(settings=SETTINGS, kept=bool(USED)),
    message:
        "Sum up the run"
    shell:
        STEP


# The README's pictures, two figures of the demo: a command of its own, `snakemake --cores 2 --force readme_pictures`.
rule readme_pictures:
    input:
        [f"{OUT}/figures/{name}.png" for name in ("carry_by_speed", "delivery_100")],
    output:
        [f"results/pictures/{name}.png" for name in ("carry_by_speed", "delivery_100")],
    message:
        "Copy the README's pictures"
    shell:
        "cp {input:q} results/pictures/"


# The longer study of the flight code: a command of its own, `snakemake --cores 1 --force flight_study`. Its speeds are
# those of one core, so numpy's libraries are held to one thread.
rule flight_study:
    output:
        accuracy_csv="results/flight/accuracy.csv",
        speed_csv="results/flight/speed.csv",
        readme="results/flight/README.md",
    params:
        script=str(Path(workflow.basedir) / "tests/flight_study/flight_study.py"),
    message:
        "Study the accuracy and speed of flight"
    shell:
        "OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 {sys.executable} {params.script:q} results/flight"


# The proving ground: invented academies whose truth is known, run through the steps (tests/proving_ground). A command
# of its own, `snakemake --cores 2 --force proving_ground`.
rule proving_ground:
    output:
        expand(
            "results/proving_ground/{name}",
            name=["targets.csv", "figures.csv", "worlds.csv", "devices.csv", "proving_ground.png", "README.md"]
            + ["coach.csv", "considered.csv", "considered.md"],
        ),
    params:
        script=str(Path(workflow.basedir) / "tests/proving_ground/prove.py"),
        academies=PROVING_ACADEMIES,
    threads: workflow.cores
    message:
        "Validate the figures on academies whose true values are known"
    shell:
        "OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 POLARS_MAX_THREADS=1 {sys.executable} {params.script:q}"
        " results/proving_ground {threads} {params.academies}"


# Speed and scale, on invented studies of up to ten million drives (tests/speed). A command of its own,
# `snakemake --cores 2 --force speed_benchmark`. It shows little unless nothing else is at work on the machine.
rule speed_benchmark:
    output:
        expand("results/speed/{name}", name=["speed.csv", "steps.csv", "machine.json", "README.md"]),
    params:
        script=str(Path(workflow.basedir) / "tests/speed/speed_benchmark.py"),
    threads: workflow.cores
    message:
        "Measure speed and scale"
    shell:
        "{sys.executable} {params.script:q} results/speed --cores {threads}"


# Snakemake's own lock outlives a killed run; this one doesn't (profiles/default turns the other off).
onstart:
    try:
        start_run(Path(OUT), Path(f".snakemake/yardband/{STUDY.study}.lock"))
    except UserError as error:
        raise WorkflowError(str(error)) from None


onsuccess:
    summary = Path(f"{OUT}/summary.txt")
    if summary.exists():
        print(summary.read_text(encoding="utf-8"), file=sys.stderr)
