"""What is efficient at each club speed, and intervals at the study's own level."""

from pipeline.workflow import code_of


rule build_bands:
    input:
        drives=DRIVES,
        model=MODEL["model"],
        typical=MODEL["typical"],
        replicates=MODEL["replicates"],
        tables=TABLES,
        devices=rules.compare_devices.output.devices,
    output:
        csv=f"{OUT}/benchmarks/bands.csv",
        parquet=f"{OUT}/benchmarks/bands.parquet",
        frontier=local(f"{OUT}/model/frontier.json"),  # it names the model's file beside it
        efficient_replicates=f"{OUT}/model/efficient_replicates.npz",
        chart=f"{OUT}/model/chart.json",
        # Stays until then, as the grids of flight do: under the same model it holds whatever drives there are.
        efficient=update(local(f"{OUT}/model/efficient.npz")),
    log:
        f"{LOGS_OF}/build_bands.log",
    benchmark:
        f"{LOGS_OF}/build_bands.tsv"
    priority: 4
    conda:
        ENVIRONMENT
    # Almost all that follows waits for it. A look mostly has from the last one what two threads would share.
    threads: 1 if ASKED_FOR else 2
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
            code=code_of("build_bands"),
        ),
    message:
        "Build the speed bands"
    shell:
        STEP


still_local(rules.build_bands)


rule write_intervals:
    input:
        model=MODEL["model"],
        coefficients=MODEL["coefficients"],
        frontier=rules.build_bands.output.frontier,
        # A kept model has no predictions of golfers held out.
        held_out=held_out_in_use,
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
