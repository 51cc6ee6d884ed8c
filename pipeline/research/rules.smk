"""What a researcher asks: what the newest fit changes."""

if OWN:

    rule compare_models:
        input:
            **{name: FIT[name] for name in FILES},
            **FLIGHT,
            devices=rules.compare_devices.output.devices,
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
        threads: 2
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
            ),
        message:
            "Compare the fit with the kept one"
        shell:
            STEP
