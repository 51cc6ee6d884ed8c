"""What a researcher asks. Nothing here belongs to `all`: name a target."""


rule assess_sensitivity:
    input:
        drives=rules.standardise_shots.output.drives,
        model=rules.fit_model.output.model,
        scores=rules.fit_model.output.scores,
        frontier=rules.build_bands.output.frontier,
        replicates=rules.fit_model.output.replicates,
        efficient_replicates=rules.build_bands.output.efficient_replicates,
        devices=rules.compare_devices.output.devices,
        calibration=rules.calibrate_flight.output.calibration,
        calibrations=rules.calibrate_flight.output.table,
    output:
        sensitivity=f"{OUT}/model/sensitivity.csv",
    log:
        f"{LOGS_OF}/assess_sensitivity.log",
    benchmark:
        f"{LOGS_OF}/assess_sensitivity.tsv"
    conda:
        ENVIRONMENT
    threads: 2
    resources:
        **needs("assess_sensitivity"),
    params:
        **step(
            "assess_sensitivity",
            settings={
                key: SETTINGS[key]
                for key in (
                    "bands",
                    "privacy",
                    "flags",
                    "air",
                    "seed",
                    "flight",
                    "model",
                    "efficient",
                )
            },
        ),
    message:
        "See what moves when a choice is made otherwise"
    shell:
        STEP


# How far the figures move with the choices that they rest on: snakemake --cores 2 sensitivity
rule sensitivity:
    input:
        f"{OUT}/model/sensitivity.csv",
        f"{OUT}/model/sensitivity.html",
