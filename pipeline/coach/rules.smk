"""What coach and golfer ask next."""


rule advise_delivery:
    input:
        drives=DRIVES,
        model=MODEL["model"],
        replicates=MODEL["replicates"],
        frontier=rules.build_bands.output.frontier,
        golfers=rules.assess_golfers.output.golfers,
    output:
        slopes=f"{OUT}/model/delivery_slopes.csv",
        delivery=f"{OUT}/golfers/delivery.csv",
    log:
        f"{LOGS_OF}/advise_delivery.log",
    benchmark:
        f"{LOGS_OF}/advise_delivery.tsv"
    priority: 2
    conda:
        ENVIRONMENT
    resources:
        **needs("advise_delivery"),
    params:
        **step("advise_delivery", min_shots=STUDY.flags.min_shots),
    message:
        "Estimate what a change of loft or attack might give"
    shell:
        STEP


rule plan_goals:
    input:
        drives=DRIVES,
        golfers=rules.assess_golfers.output.golfers,
        changes=rules.assess_golfers.output.changes,
        frontier=rules.build_bands.output.frontier,
        model=MODEL["model"],
        replicates=MODEL["replicates"],
        tables=TABLES,
    output:
        goals=f"{OUT}/golfers/goals.csv",
        priorities_csv=f"{OUT}/golfers/priorities.csv",
        pace=f"{OUT}/golfers/pace.json",
        reaching=f"{OUT}/golfers/reaching.npz",
        usual_reaching=f"{OUT}/golfers/usual_reaching.json",
    log:
        f"{LOGS_OF}/plan_goals.log",
    benchmark:
        f"{LOGS_OF}/plan_goals.tsv"
    priority: 5
    conda:
        ENVIRONMENT
    resources:
        **needs("plan_goals"),
    params:
        **step(
            "plan_goals",
            bands=SETTINGS["bands"],
            wanted=SETTINGS["goals"],
            turf=STUDY.flight.turf,
        ),
    message:
        "Plan the golfers' goals"
    shell:
        STEP


rule assess_straightness:
    input:
        drives=DRIVES,
        calibration=MODEL["calibration"],
    output:
        straightness=f"{OUT}/golfers/straightness.csv",
        straightness_bands=f"{OUT}/benchmarks/straightness_bands.csv",
    log:
        f"{LOGS_OF}/assess_straightness.log",
    benchmark:
        f"{LOGS_OF}/assess_straightness.tsv"
    priority: 3
    conda:
        ENVIRONMENT
    resources:
        **needs("assess_straightness"),
    params:
        **step(
            "assess_straightness",
            air=SETTINGS["air"],
            bands=SETTINGS["bands"],
            corridor_yd=STUDY.straightness.corridor_yd,
            min_shots=STUDY.flags.min_shots,
            min_golfers=STUDY.privacy.min_golfers,
        ),
    message:
        "Say how straight golfers drive"
    shell:
        STEP


rule assess_landing:
    input:
        bands=rules.build_bands.output.csv,
        golfers=rules.assess_golfers.output.golfers,
        frontier=rules.build_bands.output.frontier,
        model=MODEL["model"],
        calibration=MODEL["calibration"],
    output:
        landing=f"{OUT}/golfers/landing.csv",
        landing_bands_csv=f"{OUT}/benchmarks/landing_bands.csv",
    log:
        f"{LOGS_OF}/assess_landing.log",
    benchmark:
        f"{LOGS_OF}/assess_landing.tsv"
    priority: 1
    conda:
        ENVIRONMENT
    resources:
        **needs("assess_landing"),
    params:
        **step("assess_landing"),
    message:
        "Say how drives land and run on each turf"
    shell:
        STEP


# What quarters are measured with, and what golfers' own errors are asked of.
YARDSTICK = {
    "model": MODEL["model"],
    "frontier": rules.build_bands.output.frontier,
    "replicates": MODEL["replicates"],
    "efficient_replicates": rules.build_bands.output.efficient_replicates,
    "devices": rules.compare_devices.output.devices,
}
TESTED = {
    "changes": rules.assess_golfers.output.changes,
    "straightness": rules.assess_straightness.output.straightness,
}


# A large study's golfers are cut into parts, a job each; most studies have no such rules (pipeline.workflow.parts_of).
if len(PARTS) > 1:
    OF_PART = f"{OUT}/golfers/parts/{{part}}"
    SUMS_OF_PART = {
        name: f"{OF_PART}.{name}.parquet"
        for name in ("table", "quarters", "days", "moves")
    }
    PROGRESS_FROM = {
        "parts": expand(f"{OF_PART}.compared.parquet", part=PARTS),
        "pooled": f"{OUT}/golfers/parts/pooled.json",
    }

    wildcard_constraints:
        part="|".join(PARTS),

    rule sum_progress:
        input:
            **YARDSTICK,
            drives=DRIVES,
            golfers=rules.assess_golfers.output.golfers,
        output:
            **{name: temp(path) for name, path in SUMS_OF_PART.items()},
        log:
            f"{LOGS_OF}/sum_progress/{{part}}.log",
        benchmark:
            f"{LOGS_OF}/sum_progress/{{part}}.tsv"
        conda:
            ENVIRONMENT
        resources:
            **needs("sum_progress"),
        params:
            **step("sum_progress", part=lambda wildcards: wildcards.part),
        message:
            "Sum up golfers' quarters, part {wildcards.part}"
        shell:
            STEP

    rule pool_progress:
        input:
            **{
                name: expand(SUMS_OF_PART[name], part=PARTS)
                for name in ("quarters", "days", "moves")
            },
            model=MODEL["model"],
        output:
            pooled=temp(PROGRESS_FROM["pooled"]),
        log:
            f"{LOGS_OF}/pool_progress.log",
        benchmark:
            f"{LOGS_OF}/pool_progress.tsv"
        conda:
            ENVIRONMENT
        resources:
            **needs("pool_progress"),
        params:
            **step("pool_progress"),
        message:
            "Learn how drives and days differ"
        shell:
            STEP

    rule compare_progress:
        input:
            **YARDSTICK,
            **TESTED,
            **SUMS_OF_PART,
            drives=DRIVES,
            pooled=rules.pool_progress.output.pooled,
        output:
            compared=temp(f"{OF_PART}.compared.parquet"),
        log:
            f"{LOGS_OF}/compare_progress/{{part}}.log",
        benchmark:
            f"{LOGS_OF}/compare_progress/{{part}}.tsv"
        conda:
            ENVIRONMENT
        resources:
            **needs("compare_progress"),
        params:
            **step("compare_progress", part=lambda wildcards: wildcards.part),
        message:
            "Compare golfers' quarters, part {wildcards.part}"
        shell:
            STEP

else:
    PROGRESS_FROM = {**YARDSTICK, **TESTED, "drives": DRIVES}


rule assess_progress:
    input:
        **PROGRESS_FROM,
        golfers=rules.assess_golfers.output.golfers,
    output:
        progress=f"{OUT}/golfers/progress.csv",
        cohorts=f"{OUT}/golfers/cohorts.csv",
    log:
        f"{LOGS_OF}/assess_progress.log",
    benchmark:
        f"{LOGS_OF}/assess_progress.tsv"
    priority: 3
    conda:
        ENVIRONMENT
    resources:
        **needs("assess_progress"),
    params:
        **step(
            "assess_progress",
            false_discovery_rate=STUDY.flags.false_discovery_rate,
            min_golfers=STUDY.privacy.min_golfers,
        ),
    message:
        "Compare golfers' quarters"
    shell:
        STEP


# A study without speed logs has no such rule.
if SPEED_LOGS:

    rule assess_practice:
        input:
            swings=rules.collect_swings.output.swings,
            drives=DRIVES,
        output:
            marked=f"{OUT}/practice/swings.parquet",
            sessions=f"{OUT}/practice/sessions.csv",
            paired=f"{OUT}/practice/paired.csv",
            light_tool=f"{OUT}/practice/light_tool.json",
            practice=f"{OUT}/practice/practice.csv",
            outlook=f"{OUT}/practice/outlook.npz",
        log:
            f"{LOGS_OF}/assess_practice.log",
        benchmark:
            f"{LOGS_OF}/assess_practice.tsv"
        conda:
            ENVIRONMENT
        resources:
            **needs("assess_practice"),
        params:
            **step("assess_practice", bands=SETTINGS["bands"]),
        message:
            "Estimate what speed practice did"
        shell:
            STEP

    rule plan_practice:
        input:
            practice=rules.assess_practice.output.practice,
            outlook=rules.assess_practice.output.outlook,
            goals=rules.plan_goals.output.goals,
        output:
            plan=f"{OUT}/practice/plan.csv",
            speed_goals=f"{OUT}/practice/speed_goals.csv",
        log:
            f"{LOGS_OF}/plan_practice.log",
        benchmark:
            f"{LOGS_OF}/plan_practice.tsv"
        conda:
            ENVIRONMENT
        resources:
            **needs("plan_practice"),
        params:
            **step("plan_practice"),
        message:
            "Say what the next weeks of speed practice may bring"
        shell:
            STEP

    PAGE_TABLES += [
        rules.plan_practice.output.plan,
        rules.plan_practice.output.speed_goals,
    ]


PAGE_TABLES += [
    rules.assess_straightness.output.straightness,
    rules.assess_straightness.output.straightness_bands,
    rules.assess_progress.output.progress,
    *rules.assess_landing.output,
]
