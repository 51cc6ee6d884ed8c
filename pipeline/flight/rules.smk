"""Flight of the study's balls, and carry at standard conditions."""

from pipeline.workflow import code_of


rule compare_devices:
    input:
        database=rules.load_shots.output.database,
    output:
        devices=f"{OUT}/flight/devices.json",
        table=f"{OUT}/flight/devices.csv",
        sources=f"{OUT}/sources.csv",
    log:
        f"{LOGS_OF}/compare_devices.log",
    benchmark:
        f"{LOGS_OF}/compare_devices.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("compare_devices"),
    params:
        **step(
            "compare_devices",
            reference_device=STUDY.reference_device,
            air=SETTINGS["air"],
            seed=STUDY.seed,
        ),
    message:
        "Compare the readings of the study's devices"
    shell:
        STEP


PAGE_TABLES += [
    rules.compare_devices.output.sources,
    rules.compare_devices.output.table,
]


rule calibrate_flight:
    input:
        database=rules.load_shots.output.database,
        devices=rules.compare_devices.output.devices,
    output:
        calibration=local(f"{OUT}/flight/calibration.json"),
        table=f"{OUT}/flight/calibrations.csv",
    log:
        f"{LOGS_OF}/calibrate_flight.log",
    benchmark:
        f"{LOGS_OF}/calibrate_flight.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("calibrate_flight"),
    params:
        **step(
            "calibrate_flight",
            coefficients=STUDY.flight.coefficients,
            sets=SETTINGS["flight"]["sets"],
            air=SETTINGS["air"],
            seed=STUDY.seed,
        ),
    message:
        "Fit ball flight to the study's drives"
    shell:
        STEP


still_local(rules.calibrate_flight)


# The one that the rules below take; that of the model in use may be another.
CALIBRATION = ASKED_FOR or {
    "calibration": rules.calibrate_flight.output.calibration,
    "calibrations": rules.calibrate_flight.output.table,
}


rule standardise_shots:
    input:
        loaded=rules.load_shots.output.database,
        devices=rules.compare_devices.output.devices,
        calibration=CALIBRATION["calibration"],
    output:
        drives=f"{OUT}/collected/drives.parquet",
        # Those of the last run stay until then: what it flew for the same ball and air isn't flown again.
        tables=update(local(f"{OUT}/flight/tables.npz")),
    log:
        f"{LOGS_OF}/standardise_shots.log",
    benchmark:
        f"{LOGS_OF}/standardise_shots.tsv"
    conda:
        ENVIRONMENT
    # All that follows waits for it, so that the second core has nothing else to do.
    threads: 2
    resources:
        **needs("standardise_shots"),
    params:
        **step(
            "standardise_shots",
            air=SETTINGS["air"],
            code=code_of("standardise_shots"),
        ),
    message:
        "Move carry to standard conditions"
    shell:
        STEP


still_local(rules.standardise_shots)
