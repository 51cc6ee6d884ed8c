"""Yards lost, and who is flagged."""


rule assess_golfers:
    input:
        drives=DRIVES,
        model=MODEL["model"],
        replicates=MODEL["replicates"],
        frontier=rules.build_bands.output.frontier,
        efficient_replicates=rules.build_bands.output.efficient_replicates,
        devices=rules.compare_devices.output.devices,
    output:
        golfers=f"{OUT}/golfers/golfers.csv",
        flagged=f"{OUT}/golfers/flagged.csv",
        changes=f"{OUT}/golfers/changes.csv",
    log:
        f"{LOGS_OF}/assess_golfers.log",
    benchmark:
        f"{LOGS_OF}/assess_golfers.tsv"
    priority: 2
    conda:
        ENVIRONMENT
    resources:
        **needs("assess_golfers"),
    params:
        **step("assess_golfers", flags=SETTINGS["flags"]),
    message:
        "Calculate yards lost and flag golfers"
    shell:
        STEP
