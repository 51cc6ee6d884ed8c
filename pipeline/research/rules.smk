"""What a researcher asks: what the newest fit changes, and how far figures move with the choices made."""

from pipeline.workflow import code_of

if OWN:

    rule compare_models:
        input:
            **{name: FIT[name] for name in FILES},
            **BESIDE,
            **FLIGHT,
            devices=rules.compare_devices.output.devices,
            frontier=rules.build_bands.output.frontier,
            efficient=rules.build_bands.output.efficient,
            efficient_replicates=rules.build_bands.output.efficient_replicates,
            verdict=rules.keep_model.output.verdict,
            scored=rules.keep_model.output.scored,
            grids=rules.keep_model.output.grids,
            # Those of the kept model that the newest fit was judged by; none for a first fit.
            old=parent,
        output:
            comparison=f"{OUT}/model/comparison.md",
            # Stays until then: the next fit is mostly compared with one of the two models of the last comparison.
            compared=update(local(f"{OUT}/model/compared.npz")),
        log:
            f"{LOGS_OF}/compare_models.log",
        benchmark:
            f"{LOGS_OF}/compare_models.tsv"
        priority: 1
        conda:
            ENVIRONMENT
        resources:
            **needs("compare_models"),
        params:
            **step(
                "compare_models",
                study=STUDY.study,
                settings={
                    key: SETTINGS[key]
                    for key in (
                        "adoption",
                        "air",
                        "bands",
                        "efficient",
                        "flags",
                        "flight",
                        "model",
                        "privacy",
                        "seed",
                        "window_tolerance_yd",
                    )
                },
                recorded=RECORDED,
                flight=code_of("standardise_shots"),
                code=code_of("compare_models"),
            ),
        message:
            "Compare the fit with the kept one"
        shell:
            STEP

    still_local(rules.compare_models)


rule assess_sensitivity:
    input:
        **BESIDE,
        own=OWN_FILES,
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
