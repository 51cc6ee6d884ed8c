"""The model of carry, the verdict on it, and the one that golfers are measured with."""

from pipeline.fit.kept import FILES
from pipeline.fit.whole_fit import PASSES
from pipeline.workflow import code_of

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


FITTED_FROM = {
    **BESIDE,
    "drives": rules.standardise_shots.output.drives,
    "calibration": rules.calibrate_flight.output.calibration,
    "own": OWN_FILES,
}
FIT_CHOICES = {
    "seed": STUDY.seed,
    "air": SETTINGS["air"],
    "choices": SETTINGS["model"],
    "strike": STUDY.efficient.strike,
}
FIT_PARTS = {}


# The passes of a large study's fit over its drives are shared out, a job for each part of the golfers; most studies
# have no such rules (pipeline.workflow.parts_of). What is pooled after a pass has its number.
if len(PARTS) > 1:
    POOLED = f"{OUT}/model/passes/{{number}}.pooled"
    ANSWERS = f"{OUT}/model/passes/{{number}}.{{part}}.answers"

    wildcard_constraints:
        part="|".join(PARTS),
        number="[0-9]",

    rule sum_fit:
        input:
            **BESIDE,
            drives=rules.standardise_shots.output.drives,
            asked=lambda wildcards: f"{OUT}/model/passes/{int(wildcards.number) - 1}.asked",
        output:
            answers=temp(ANSWERS),
        log:
            f"{LOGS_OF}/sum_fit/{{number}}.{{part}}.log",
        benchmark:
            f"{LOGS_OF}/sum_fit/{{number}}.{{part}}.tsv"
        conda:
            ENVIRONMENT
        threads: THREADS
        resources:
            **needs("sum_fit"),
        params:
            **step("sum_fit", part=lambda wildcards: wildcards.part),
        message:
            "Make a fit's pass {wildcards.number} over the drives, part {wildcards.part}"
        shell:
            STEP

    rule pool_fit:
        input:
            **FITTED_FROM,
            before=lambda wildcards: expand(POOLED, number=range(int(wildcards.number))),
            answers=lambda wildcards: (
                expand(ANSWERS, number=wildcards.number, part=PARTS)
                if int(wildcards.number)
                else []
            ),
        output:
            pooled=temp(POOLED),
            asked=temp(f"{OUT}/model/passes/{{number}}.asked"),
        log:
            f"{LOGS_OF}/pool_fit/{{number}}.log",
        benchmark:
            f"{LOGS_OF}/pool_fit/{{number}}.tsv"
        conda:
            ENVIRONMENT
        resources:
            **needs("pool_fit"),
        params:
            **step("pool_fit", **FIT_CHOICES),
            sums=SUMS.all_of(list(map(Path, OWN_FILES))),
        message:
            "Pool a fit's pass {wildcards.number} over the drives"
        shell:
            STEP

    FIT_PARTS = {
        "pooled": expand(POOLED, number=range(PASSES)),
        "answers": expand(ANSWERS, number=PASSES, part=PARTS),
    }


# A checkpoint, since which kept model a fit is compared with shows when the fit is there.
checkpoint fit_model:
    input:
        **FITTED_FROM,
        **FIT_PARTS,
    output:
        **BESIDE and {"regressors": f"{OUT}/model/regressors.csv"},
        # By these the fit is named (TELLING in pipeline/fit/kept.py).
        model=local(f"{OUT}/model/model.json"),
        coefficients=local(f"{OUT}/model/coefficients.csv"),
        scores=local(f"{OUT}/model/scores.csv"),
        typical=f"{OUT}/model/typical.parquet",
        replicates=f"{OUT}/model/replicates.npz",
        held_out=f"{OUT}/model/held_out.parquet",
    log:
        f"{LOGS_OF}/fit_model.log",
    benchmark:
        f"{LOGS_OF}/fit_model.tsv"
    priority: 3
    conda:
        ENVIRONMENT
    # Where steps are forked, a second process costs nothing to start.
    threads: 2 if FORKING else THREADS
    resources:
        **needs("fit_model"),
    params:
        **step("fit_model", study=STUDY.study, **FIT_CHOICES),
        sums=SUMS.all_of(list(map(Path, OWN_FILES))),
    message:
        "Fit the candidate models and choose one"
    shell:
        STEP


still_local(rules.fit_model)


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
    priority: 2
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


FIT = {
    **dict(rules.fit_model.output.items()),
    "card": rules.write_card.output.card,
    "calibration": rules.calibrate_flight.output.calibration,
    "calibrations": rules.calibrate_flight.output.table,
}
FLIGHT = {
    "drives": rules.standardise_shots.output.drives,
    "tables": rules.standardise_shots.output.tables,
}
# What tells which model is in use.
WHICH = ASKED_FOR["record"] if ASKED_FOR else FIT["model"]


include: "in_use.smk"


# What the record of a kept model says of how it and its benchmarks were made, by the keys of study.yaml.
RECORDED = {
    key: SETTINGS[key]
    for key in (
        "air",
        "bands",
        "efficient",
        "model",
        "reference_device",
        "seed",
        "window_tolerance_yd",
    )
} | {
    "flags": {"min_shots": STUDY.flags.min_shots},
    "flight": {key: SETTINGS["flight"][key] for key in ("coefficients", "sets")},
    "privacy": {"min_golfers": STUDY.privacy.min_golfers},
}

if OWN:

    # A checkpoint, since which model is in use shows when the fit is judged.
    checkpoint keep_model:
        input:
            **{name: FIT[name] for name in FILES},
            **BESIDE,
            **FLIGHT,
            devices=rules.compare_devices.output.devices,
            # Those of the kept model that the newest fit is compared with; none for a first fit.
            old=parent,
        output:
            verdict=local(f"{OUT}/model/verdict.json"),
            scored=f"{OUT}/model/held_against.json",
            # Stay until then: the next fit is mostly compared with this one or the one that judged it.
            grids=update(local(f"{OUT}/flight/grids.npz")),
        log:
            f"{LOGS_OF}/keep_model.log",
        benchmark:
            f"{LOGS_OF}/keep_model.tsv"
        priority: 2
        conda:
            ENVIRONMENT
        resources:
            **needs("keep_model"),
        params:
            **step(
                "keep_model",
                kept=str(KEPT),
                settings=RECORDED,
                folds=STUDY.model.folds,
                golfers=STUDY.adoption.golfers,
                flight=code_of("standardise_shots"),
            ),
        message:
            "Judge the fit by the kept one"
        shell:
            STEP

    still_local(rules.keep_model)
    WHICH = rules.keep_model.output.verdict


MODEL = ASKED_FOR or FIT
DRIVES, TABLES = FLIGHT["drives"], FLIGHT["tables"]

# Where no model is kept yet, the newest fit is in use whatever its verdict, so that nothing waits for that.
if OWN and not FIRST_FIT:
    MODEL = {name: in_use(name) for name in FILES}
    DRIVES, TABLES = in_use("drives"), in_use("tables")

    use rule standardise_shots as standardise_shots_in_use with:
        input:
            loaded=rules.load_shots.output.database,
            devices=rules.compare_devices.output.devices,
            calibration=MODEL["calibration"],
        output:
            drives=f"{OUT}/collected/in_use/drives.parquet",
            tables=update(local(f"{OUT}/flight/in_use/tables.npz")),
        log:
            f"{LOGS_OF}/standardise_shots_in_use.log",
        benchmark:
            f"{LOGS_OF}/standardise_shots_in_use.tsv"
        # Other steps are due meanwhile.
        threads: THREADS
