"""The model of carry."""


# A checkpoint, since which kept model a fit is compared with shows when the fit is there.
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
    log:
        f"{LOGS_OF}/fit_model.log",
    benchmark:
        f"{LOGS_OF}/fit_model.tsv"
    conda:
        ENVIRONMENT
    threads: 2
    resources:
        **needs("fit_model"),
    params:
        **step(
            "fit_model",
            study=STUDY.study,
            seed=STUDY.seed,
            air=SETTINGS["air"],
            choices=SETTINGS["model"],
            strike=STUDY.efficient.strike,
        ),
    message:
        "Fit the candidate models and choose one"
    shell:
        STEP


MODEL = USED or dict(rules.fit_model.output.items())
