"""What is efficient at each club speed, and the verdict on a new fit."""

from pipeline.fit.kept import parent_files


rule build_bands:
    input:
        drives=rules.standardise_shots.output.drives,
        model=MODEL["model"],
        typical=MODEL["typical"],
        replicates=MODEL["replicates"],
        tables=rules.build_flight_table.output.tables,
        devices=rules.compare_devices.output.devices,
    output:
        csv=f"{OUT}/benchmarks/bands.csv",
        parquet=f"{OUT}/benchmarks/bands.parquet",
        frontier=f"{OUT}/benchmarks/frontier.json",
        efficient_replicates=f"{OUT}/model/efficient_replicates.npz",
        chart=f"{OUT}/benchmarks/chart.json",
    log:
        f"{LOGS_OF}/build_bands.log",
    benchmark:
        f"{LOGS_OF}/build_bands.tsv"
    conda:
        ENVIRONMENT
    threads: 2
    resources:
        **needs("build_bands"),
    params:
        **step(
            "build_bands",
            about={
                "study": STUDY.shown_name,
                "air": SETTINGS["air"],
                "turf": STUDY.flight.turf,
                "units": STUDY.units,
            },
            bands=SETTINGS["bands"],
            window_tolerance_yd=STUDY.window_tolerance_yd,
            min_shots=STUDY.flags.min_shots,
            min_golfers=STUDY.privacy.min_golfers,
            deliveries=STUDY.efficient.deliveries,
        ),
    message:
        "Build the speed bands"
    shell:
        STEP


rule write_intervals:
    input:
        model=MODEL["model"],
        coefficients=MODEL["coefficients"],
        frontier=rules.build_bands.output.frontier,
        # A kept model has no predictions of golfers held out.
        held_out=[] if USED else rules.fit_model.output.held_out,
    output:
        intervals=f"{OUT}/model/intervals.csv",
    log:
        f"{LOGS_OF}/write_intervals.log",
    benchmark:
        f"{LOGS_OF}/write_intervals.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("write_intervals"),
    params:
        **step(
            "write_intervals",
            centres=SETTINGS["bands"]["centres"],
            level=STUDY.intervals.level,
        ),
    message:
        "Write intervals at the study's level"
    shell:
        STEP


rule keep_model:
    input:
        **dict(rules.fit_model.output.items()),
        calibration=rules.calibrate_flight.output.calibration,
        calibrations=rules.calibrate_flight.output.table,
        drives=rules.standardise_shots.output.drives,
        frontier=rules.build_bands.output.frontier,
        # Those of the kept model that the newest fit is compared with; none for a first fit.
        old=lambda wildcards: parent_files(
            KEPT,
            dict(checkpoints.fit_model.get().output.items())
            | dict(rules.calibrate_flight.output.items()),
        ),
    output:
        comparison=f"{OUT}/model/comparison.md",
        verdict=f"{OUT}/model/verdict.json",
    log:
        f"{LOGS_OF}/keep_model.log",
    benchmark:
        f"{LOGS_OF}/keep_model.tsv"
    conda:
        ENVIRONMENT
    threads: 2
    resources:
        **needs("keep_model"),
    params:
        **step(
            "keep_model",
            study=STUDY.study,
            kept=str(KEPT),
            centres=SETTINGS["bands"]["centres"],
            choices=SETTINGS["model"],
            settings={
                "air": SETTINGS["air"],
                "coefficients": STUDY.flight.coefficients,
                "seed": STUDY.seed,
            },
        ),
    message:
        "Compare the fit with the kept one"
    shell:
        STEP
