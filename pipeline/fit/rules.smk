"""The model of carry."""

# Columns that the study names as regressors: without any, none of this is made.
BESIDE = {}
if STUDY.model.regressors:

    rule gather_regressors:
        input:
            loaded=rules.load_shots.output.database,
            receipts=rules.load_shots.input.receipts,
            drives=rules.standardise_shots.output.drives,
        output:
            beside=f"{OUT}/collected/regressors.parquet",
        log:
            f"{LOGS_OF}/gather_regressors.log",
        benchmark:
            f"{LOGS_OF}/gather_regressors.tsv"
        conda:
            ENVIRONMENT
        resources:
            **needs("gather_regressors"),
        params:
            **step("gather_regressors", regressors=STUDY.model.regressors),
        message:
            "Gather the regressors"
        shell:
            STEP

    BESIDE = {"beside": rules.gather_regressors.output.beside}


# A checkpoint, since which kept model a fit is compared with shows when the fit is there.
checkpoint fit_model:
    input:
        **BESIDE,
        drives=rules.standardise_shots.output.drives,
        calibration=rules.calibrate_flight.output.calibration,
    output:
        **BESIDE and {"regressors": f"{OUT}/model/regressors.csv"},
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
