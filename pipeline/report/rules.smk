"""Everything people open."""

import os
from dataclasses import asdict

from pipeline.configuration.log_files import layouts_used
from pipeline.report.figures.naming import CARRY, FORMATS, LOSSES, map_names

MAPS = map_names(STUDY.bands.centres)

# What the pages show of the golfers' quarters; speed practice where there is any.
QUARTER_TABLES = [
    rules.assess_golfers.output.golfers,
    rules.build_bands.output.csv,
    rules.plan_goals.output.goals,
    rules.plan_goals.output.priorities_csv,
    rules.advise_delivery.output.delivery,
    *([rules.assess_practice.output.practice] if SPEED_LOGS else []),
]
LIGHT_TOOL = (
    {"light_tool": rules.assess_practice.output.light_tool} if SPEED_LOGS else {}
)


# Of what is ready, first the longest step, then what leads to long ones: else one of them ends the run on one core.
rule draw_maps:
    input:
        golfers=rules.assess_golfers.output.golfers,
        bands=rules.build_bands.output.csv,
        chart=rules.build_bands.output.chart,
    output:
        maps=[f"{OUT}/figures/{name}.{form}" for name in MAPS for form in FORMATS],
    log:
        f"{LOGS_OF}/draw_maps.log",
    benchmark:
        f"{LOGS_OF}/draw_maps.tsv"
    priority: 4
    conda:
        ENVIRONMENT
    resources:
        **needs("draw_maps"),
    params:
        **step(
            "draw_maps",
            settings={
                key: SHOWN[key] for key in ("study", "bands", "privacy", "units")
            },
        ),
    message:
        "Draw the bands' maps"
    shell:
        STEP


rule draw_figures:
    input:
        golfers=rules.assess_golfers.output.golfers,
        bands=rules.build_bands.output.csv,
        chart=rules.build_bands.output.chart,
    output:
        figures=[
            f"{OUT}/figures/{name}.{form}"
            for name in (CARRY, LOSSES)
            for form in FORMATS
        ],
    log:
        f"{LOGS_OF}/draw_figures.log",
    benchmark:
        f"{LOGS_OF}/draw_figures.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("draw_figures"),
    params:
        **step(
            "draw_figures",
            settings={key: SHOWN[key] for key in ("study", "bands", "privacy")},
        ),
    message:
        "Draw the figures"
    shell:
        STEP


rule write_report:
    input:
        tables=[*QUARTER_TABLES, *PAGE_TABLES],
        frontier=rules.build_bands.output.frontier,
        drives=DRIVES,
        chart=rules.build_bands.output.chart,
        pictures=[f"{OUT}/figures/{name}.png" for name in MAPS],
        card=MODEL["card"],
        model=MODEL["model"],
        which=WHICH,
        calibration=MODEL["calibration"],
    output:
        page=report(f"{OUT}/report/academy.html", category="Pages"),
    log:
        f"{LOGS_OF}/write_report.log",
    benchmark:
        f"{LOGS_OF}/write_report.tsv"
    priority: 2
    conda:
        ENVIRONMENT
    resources:
        **needs("write_report"),
    params:
        **step(
            "write_report",
            settings={
                key: SHOWN[key]
                for key in (
                    "study",
                    "title",
                    "units",
                    "flags",
                    "bands",
                    "privacy",
                    "window_tolerance_yd",
                )
            },
            choice=lambda wildcards: asdict(choice(wildcards)),
        ),
    message:
        "Write the academy's page"
    shell:
        STEP


rule write_workbook:
    input:
        golfers=rules.assess_golfers.output.golfers,
        bands=rules.build_bands.output.csv,
        frontier=rules.build_bands.output.frontier,
        of_golfers=[
            rules.assess_straightness.output.straightness,
            rules.plan_goals.output.goals,
        ],
        of_bands=[rules.assess_straightness.output.straightness_bands],
    output:
        golfers_xlsx=report(f"{OUT}/golfers/golfers.xlsx", category="Workbooks"),
        bands_xlsx=report(f"{OUT}/benchmarks/bands.xlsx", category="Workbooks"),
        bands_md=f"{OUT}/benchmarks/bands.md",
    log:
        f"{LOGS_OF}/write_workbook.log",
    benchmark:
        f"{LOGS_OF}/write_workbook.tsv"
    priority: 2
    conda:
        ENVIRONMENT
    resources:
        **needs("write_workbook"),
    params:
        **step(
            "write_workbook",
            flags=SETTINGS["flags"],
            min_golfers=STUDY.privacy.min_golfers,
            title=SHOWN["study"],
        ),
    message:
        "Write the workbooks and the bands' text"
    shell:
        STEP


rule write_database:
    input:
        # Predictions on golfers held out are of the newest fit.
        held_out=held_out_in_use,
        loaded=rules.load_shots.output.database,
        tables=[
            rules.compare_devices.output.sources,
            rules.compare_devices.output.table,
            rules.assess_golfers.output.golfers,
            rules.build_bands.output.csv,
            rules.assess_straightness.output.straightness,
            rules.assess_straightness.output.straightness_bands,
        ],
        readings=rules.compare_devices.output.devices,
        drives=DRIVES,
        model=MODEL["model"],
    output:
        database=f"{OUT}/shots.duckdb",
    log:
        f"{LOGS_OF}/write_database.log",
    benchmark:
        f"{LOGS_OF}/write_database.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("write_database"),
    params:
        **step("write_database"),
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
        calibration=rules.calibrate_flight.output.calibration,
    output:
        page=report(f"{OUT}/model/diagnostics.html", category="For the researcher"),
    log:
        f"{LOGS_OF}/write_diagnostics.log",
    benchmark:
        f"{LOGS_OF}/write_diagnostics.tsv"
    priority: 1
    conda:
        ENVIRONMENT
    resources:
        **needs("write_diagnostics"),
    params:
        **step(
            "write_diagnostics",
            settings={
                key: SHOWN[key] for key in ("study", "bands", "privacy", "air", "seed")
            },
        ),
    message:
        "Write the researcher's diagnostics"
    shell:
        STEP


rule write_sensitivity:
    input:
        sensitivity=rules.assess_sensitivity.output.sensitivity,
        scores=rules.fit_model.output.scores,
    output:
        page=report(f"{OUT}/model/sensitivity.html", category="For the researcher"),
    log:
        f"{LOGS_OF}/write_sensitivity.log",
    benchmark:
        f"{LOGS_OF}/write_sensitivity.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("write_sensitivity"),
    params:
        **step(
            "write_sensitivity",
            settings={key: SHOWN[key] for key in ("study", "privacy")},
        ),
    message:
        "Write the researcher's page of sensitivity"
    shell:
        STEP


rule write_lookup:
    input:
        model=MODEL["model"],
        replicates=MODEL["replicates"],
        frontier=rules.build_bands.output.frontier,
        calibration=MODEL["calibration"],
        pace=rules.plan_goals.output.pace,
        usual_reaching=rules.plan_goals.output.usual_reaching,
    output:
        page=report(f"{OUT}/report/lookup.html", category="Pages"),
    log:
        f"{LOGS_OF}/write_lookup.log",
    benchmark:
        f"{LOGS_OF}/write_lookup.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("write_lookup"),
    params:
        **step(
            "write_lookup",
            window_tolerance_yd=STUDY.window_tolerance_yd,
            min_golfers=STUDY.privacy.min_golfers,
        ),
    message:
        "Write the coach's page"
    shell:
        STEP


rule write_methods:
    input:
        tables=[
            rules.compare_devices.output.sources,
            rules.compare_devices.output.table,
            rules.assess_golfers.output.golfers,
        ],
        scores=MODEL["scores"],
        drives=DRIVES,
        model=MODEL["model"],
        replicates=MODEL["replicates"],
        frontier=rules.build_bands.output.frontier,
        calibration=MODEL["calibration"],
        which=WHICH,
    output:
        methods=f"{OUT}/model/methods.md",
    log:
        f"{LOGS_OF}/write_methods.log",
    benchmark:
        f"{LOGS_OF}/write_methods.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("write_methods"),
    params:
        **step(
            "write_methods",
            settings={
                key: SHOWN[key]
                for key in (
                    "study",
                    "air",
                    "seed",
                    "model",
                    "efficient",
                    "intervals",
                    "bands",
                    "flags",
                    "privacy",
                )
            },
            choice=lambda wildcards: asdict(choice(wildcards)),
        ),
    message:
        "Write the methods text"
    shell:
        STEP


# What a run of the same study makes again, byte for byte; run.json has a digest of each. Databases are left out: their
# rows are the same, their bytes are not promised.
MADE = sorted(
    path
    for one in (
        *([] if ASKED_FOR else [rules.fit_model, rules.calibrate_flight]),
        *([] if ASKED_FOR else [rules.write_card, rules.write_diagnostics]),
        *([rules.keep_model, rules.compare_models] if OWN else []),
        rules.compare_devices,
        rules.standardise_shots,
        rules.build_bands,
        rules.write_intervals,
        rules.assess_golfers,
        rules.assess_straightness,
        rules.assess_landing,
        rules.assess_progress,
        rules.plan_goals,
        rules.advise_delivery,
        *([rules.assess_practice, rules.plan_practice] if SPEED_LOGS else []),
        rules.draw_maps,
        rules.draw_figures,
        rules.write_report,
        rules.write_workbook,
        rules.write_lookup,
        rules.write_methods,
    )
    for path in one.output
    # What the next run may take of this one, with a stamp of the code that made it.
    if path
    not in (
        rules.standardise_shots.output.tables,
        rules.build_bands.output.efficient,
        *([rules.keep_model.output.grids] if OWN else []),
        *([rules.compare_models.output.compared] if OWN else []),
    )
)


rule summarise_run:
    input:
        **({"speed_sources": rules.collect_swings.output.sources} if SPEED_LOGS else {}),
        key=KEY,
        made=MADE,
        inputs=OWN_FILES,
        tables=[
            *QUARTER_TABLES,
            rules.assess_progress.output.cohorts,
            rules.compare_devices.output.sources,
            rules.compare_devices.output.table,
        ],
        scores=MODEL["scores"],
        page=rules.write_report.output.page,
        lookup=rules.write_lookup.output.page,
        drives=DRIVES,
        model=MODEL["model"],
        which=WHICH,
        calibration=MODEL["calibration"],
    output:
        record=local(f"{OUT}/run.json"),
        summary=local(f"{OUT}/summary.txt"),
    log:
        f"{LOGS_OF}/summarise_run.log",
    benchmark:
        f"{LOGS_OF}/summarise_run.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("summarise_run"),
    params:
        **step(
            "summarise_run",
            about={
                "folder": os.path.relpath(FOLDER),
                "config": {
                    name: str(value)
                    for name, value in config.items()
                    if name != "study"
                },
                "configuration": SETTINGS,
                "layouts": layouts_used([*LOGS, *SPEED_LOGS]),
            },
            out=OUT,
            choice=lambda wildcards: asdict(choice(wildcards)),
        ),
    message:
        "Sum up the run"
    shell:
        STEP
