"""What is efficient at each club speed, and what the newest fit changes."""


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
        ),
    message:
        "Build the speed bands"
    shell:
        STEP


if OWN:

    rule compare_models:
        input:
            **{name: FIT[name] for name in FILES},
            drives=FLIGHT["drives"],
            frontier=rules.build_bands.output.frontier,
            verdict=rules.keep_model.output.verdict,
            scored=rules.keep_model.output.scored,
            # Those of the kept model that the newest fit was judged by; none for a first fit.
            old=lambda wildcards: parent_files(
                KEPT, DECISIONS, FIT | dict(checkpoints.fit_model.get().output.items())
            ),
        output:
            comparison=f"{OUT}/model/comparison.md",
        log:
            f"{LOGS_OF}/compare_models.log",
        benchmark:
            f"{LOGS_OF}/compare_models.tsv"
        conda:
            ENVIRONMENT
        resources:
            **needs("compare_models"),
        params:
            **step(
                "compare_models",
                study=STUDY.study,
                centres=SETTINGS["bands"]["centres"],
                settings={"air": SETTINGS["air"], "seed": STUDY.seed},
                golfers=STUDY.adoption.golfers,
            ),
        message:
            "Compare the fit with the kept one"
        shell:
            STEP
