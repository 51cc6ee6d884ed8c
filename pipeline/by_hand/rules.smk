"""Results by hand: the whole of a run after its logs are loaded."""


rule assess_by_hand:
    input:
        loaded=rules.load_shots.output.database,
    output:
        csv=f"{OUT}/benchmarks/bands.csv",
        parquet=f"{OUT}/benchmarks/bands.parquet",
        golfers=f"{OUT}/golfers/golfers.csv",
        flagged=f"{OUT}/golfers/flagged.csv",
        reference=f"{OUT}/golfers/reference.csv",
        sources=f"{OUT}/sources.csv",
        database=f"{OUT}/shots.duckdb",
    log:
        f"{LOGS_OF}/assess_by_hand.log",
    benchmark:
        f"{LOGS_OF}/assess_by_hand.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("assess_by_hand"),
    params:
        **step(
            "assess_by_hand",
            flags=SETTINGS["flags"],
            bands=SETTINGS["bands"],
            min_golfers=STUDY.privacy.min_golfers,
            seed=STUDY.seed,
        ),
    message:
        "Calculate carry by club speed and yards lost"
    shell:
        STEP


rule write_by_hand:
    input:
        tables=[
            rules.assess_by_hand.output.golfers,
            rules.assess_by_hand.output.csv,
            rules.assess_by_hand.output.reference,
            rules.assess_by_hand.output.sources,
        ],
    output:
        page=report(f"{OUT}/report/academy.html", category="Pages"),
        golfers_xlsx=f"{OUT}/golfers/golfers.xlsx",
        bands_xlsx=f"{OUT}/benchmarks/bands.xlsx",
        bands_md=f"{OUT}/benchmarks/bands.md",
        summary=local(f"{OUT}/summary.txt"),
    log:
        f"{LOGS_OF}/write_by_hand.log",
    benchmark:
        f"{LOGS_OF}/write_by_hand.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("write_by_hand"),
    params:
        **step(
            "write_by_hand",
            settings={
                key: SHOWN[key]
                for key in ("study", "units", "flags", "bands", "privacy")
            },
            speed_logs=len(SPEED_LOGS),
            out=OUT,
        ),
    message:
        "Write the page, the workbooks and the summary"
    shell:
        STEP
