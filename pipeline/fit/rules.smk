"""The model of carry."""


# A checkpoint, since which kept model a fit is compared with shows when the fit is there.
checkpoint fit_model:
    input:
        drives=rules.standardise_shots.output.drives,
        calibration=rules.calibrate_flight.output.calibration,
        own=OWN,
    output:
        model=f"{OUT}/model/model.json",
        coefficients=f"{OUT}/model/coefficients.csv",
        scores=f"{OUT}/model/scores.csv",
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


rule write_card:
    input:
        drives=rules.standardise_shots.output.drives,
        model=rules.fit_model.output.model,
        coefficients=rules.fit_model.output.coefficients,
        scores=rules.fit_model.output.scores,
        held_out=rules.fit_model.output.held_out,
        replicates=rules.fit_model.output.replicates,
        calibration=rules.calibrate_flight.output.calibration,
    output:
        card=f"{OUT}/model/card.md",
    log:
        f"{LOGS_OF}/write_card.log",
    benchmark:
        f"{LOGS_OF}/write_card.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("write_card"),
    params:
        **step(
            "write_card",
            settings={
                key: SETTINGS[key]
                for key in ("air", "seed", "model", "efficient", "intervals")
            },
        ),
    message:
        "Write the model's card"
    shell:
        STEP


MODEL = USED or {
    **dict(rules.fit_model.output.items()),
    "card": rules.write_card.output.card,
}
