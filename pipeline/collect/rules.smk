"""Logs to loaded shots and swings."""

import json
import re

from pipeline.collect.partitions import describe, name_of, partitions
from pipeline.workflow import code_of

# Large logs by themselves, small ones together: a job each (pipeline/collect/partitions.py). All runs of a study share
# what is collected.
PARTITIONS = partitions(
    LOGS, {log.source: (FOLDER / log.source).stat().st_size for log in LOGS}
)

# Columns of the logs that the study names as regressors, beyond the standard ones. Without any, nothing is made of them.
FURTHER = (
    {"further": STUDY.model.further_columns} if STUDY.model.further_columns else {}
)
# Results by hand have tables of their own, without launch and spin.
SHOTS = f"{HOME}/collected/{{partition}}.{'by_hand' if BY_HAND else 'shots'}.parquet"
READINGS = f"{HOME}/collected/{{partition}}.readings.parquet"


wildcard_constraints:
    partition="|".join(map(re.escape, PARTITIONS)),


rule collect_logs:
    input:
        logs=lambda wildcards: [
            local(str(FOLDER / log.source)) for log in PARTITIONS[wildcards.partition]
        ],
        key=KEY,
    output:
        **FURTHER and {"readings": READINGS},
        shots=SHOTS,
        rejects=f"{HOME}/collected/{{partition}}.rejects.parquet",
        receipts=f"{HOME}/collected/{{partition}}.receipts.json",
        names=f"{HOME}/collected/{{partition}}.names.json",
        # Of the last run it stays until then: small logs that haven't changed since aren't read again.
        known=update(local(f"{HOME}/collected/{{partition}}.known.npz")),
    log:
        f"logs/{STUDY.study}/collect_logs/{{partition}}.log",
    benchmark:
        f"logs/{STUDY.study}/collect_logs/{{partition}}.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("collect_logs"),
    params:
        # The logs are in the settings, each path once: a command's argument must not be too long.
        **step("collect_logs")
        | {
            "files": lambda wildcards, input, output: json.dumps(
                {"key": input.key, **dict(output.items())}
            ),
            "settings": lambda wildcards: json.dumps(
                {
                    "study": STUDY.study,
                    "folder": str(FOLDER),
                    "partition": describe(PARTITIONS[wildcards.partition]),
                    "code": code_of("collect_logs"),
                }
            ),
        },
        what=lambda wildcards: name_of(PARTITIONS[wildcards.partition]),
        # Not by input: Snakemake compares no params that are made from inputs.
        sums=lambda wildcards: [
            KEY_SUM,
            *SUMS.all_of(
                [FOLDER / log.source for log in PARTITIONS[wildcards.partition]]
            ),
        ],
    message:
        "Collect {params.what}"
    shell:
        STEP


rule load_shots:
    input:
        **FURTHER and {"readings": expand(READINGS, partition=PARTITIONS)},
        shots=expand(SHOTS, partition=PARTITIONS),
        rejects=expand(
            f"{HOME}/collected/{{partition}}.rejects.parquet", partition=PARTITIONS
        ),
        receipts=expand(
            f"{HOME}/collected/{{partition}}.receipts.json", partition=PARTITIONS
        ),
        names=expand(f"{HOME}/collected/{{partition}}.names.json", partition=PARTITIONS),
        key=KEY,
    output:
        database=f"{OUT}/collected/{'by_hand' if BY_HAND else 'loaded'}.duckdb",
        rejects_csv=f"{OUT}/rejects.csv",
        # With the same log files as sources.csv, which adds what was found of their devices.
        sources_csv=f"{OUT}/collected/sources.csv",
    log:
        f"{LOGS_OF}/load_shots.log",
    benchmark:
        f"{LOGS_OF}/load_shots.tsv"
    conda:
        ENVIRONMENT
    resources:
        **needs("load_shots"),
    params:
        **step(
            "load_shots",
            study=STUDY.study,
            **FURTHER,
            **({"by_hand": True} if BY_HAND else {}),
        ),
    message:
        "Load the collected logs into DuckDB"
    shell:
        STEP


PAGE_TABLES += [rules.load_shots.output.rejects_csv]


# Swings without a ball: a study without speed logs has no such rule.
if SPEED_LOGS and not BY_HAND:

    rule collect_swings:
        input:
            logs=[local(str(FOLDER / log.source)) for log in SPEED_LOGS],
            key=KEY,
        output:
            swings=f"{OUT}/collected/swings.parquet",
            rejects=f"{OUT}/practice/rejects.csv",
            sources=f"{OUT}/practice/sources.csv",
        log:
            f"{LOGS_OF}/collect_swings.log",
        benchmark:
            f"{LOGS_OF}/collect_swings.tsv"
        conda:
            ENVIRONMENT
        resources:
            **needs("collect_swings"),
        params:
            **step(
                "collect_swings",
                study=STUDY.study,
                log_files=[
                    log.model_dump(mode="json", by_alias=True) for log in SPEED_LOGS
                ],
            ),
            sums=[
                KEY_SUM,
                *SUMS.all_of([FOLDER / log.source for log in SPEED_LOGS]),
            ],
        message:
            "Collect the swings without a ball"
        shell:
            STEP
