"""The longer studies, each with a command of its own; their figures are committed as evidence."""

# They first note the commit that they are made on, beside their figures.
NOTE = str(Path(workflow.basedir) / "docs/make/evidence_made.py")


# The README's pictures, two figures and the first screen of the demo: a command of its own, `snakemake --cores 2
# --force readme_pictures`.
rule readme_pictures:
    input:
        figures=[
            f"{OUT}/figures/{name}.png" for name in ("carry_by_speed", "delivery_100")
        ],
        page=rules.write_report.output.page,
    output:
        figures=[
            f"docs/pictures/{name}.png" for name in ("carry_by_speed", "delivery_100")
        ],
        screen="docs/pictures/first_screen.png",
    log:
        "logs/readme_pictures.log",
    conda:
        ENVIRONMENT
    params:
        python=sys.executable,
        script=str(Path(workflow.basedir) / "docs/make/first_screen.py"),
    message:
        "Copy the README's pictures"
    shell:
        "cp {input.figures:q} docs/pictures/ 2> {log:q} &&"
        " {params.python} {params.script:q} {input.page:q} {output.screen:q} 2>> {log:q}"


# The coach's page of the study that was run, on a slow phone: a command of its own, `snakemake --cores 2 --force
# coach_page`. Its times show little unless nothing else is at work on the machine.
rule coach_page:
    input:
        page=rules.write_lookup.output.page,
    output:
        expand(
            "docs/evidence/coach_page/{name}",
            name=["measured.json", "made.json"],
        ),
    log:
        "logs/coach_page.log",
    conda:
        ENVIRONMENT
    params:
        python=sys.executable,
        note=NOTE,
        script=str(Path(workflow.basedir) / "tests/report/measure_lookup.py"),
    message:
        "Measure the coach's page on a slow phone"
    shell:
        "{params.python} {params.note:q} note docs/evidence/coach_page && {params.python} {params.script:q} {input.page:q}"
        " docs/evidence/coach_page/measured.json 2>&1 | tee {log:q}"


# The academy's page of the study that was run, with 2,000 golfers on a slow computer and a slow phone: a command of its
# own, `snakemake --cores 2 --force academy_page`. Its times show little unless nothing else is at work on the machine.
rule academy_page:
    input:
        page=rules.write_report.output.page,
    output:
        expand(
            "docs/evidence/academy_page/{name}",
            name=["measured.json", "made.json"],
        ),
    log:
        "logs/academy_page.log",
    conda:
        ENVIRONMENT
    params:
        python=sys.executable,
        note=NOTE,
        script=str(Path(workflow.basedir) / "tests/report/measure_academy.py"),
    message:
        "Measure the academy's page with 2,000 golfers"
    shell:
        "{params.python} {params.note:q} note docs/evidence/academy_page && {params.python} {params.script:q} {input.page:q}"
        " docs/evidence/academy_page/measured.json 2>&1 | tee {log:q}"


# The longer study of the flight code: a command of its own, `snakemake --cores 1 --force flight_study`. Its speeds are
# those of one core, so numpy's libraries are held to one thread.
rule flight_study:
    output:
        accuracy_csv="docs/evidence/flight/accuracy.csv",
        speed_csv="docs/evidence/flight/speed.csv",
        readme="docs/evidence/flight/README.md",
        made="docs/evidence/flight/made.json",
    log:
        "logs/flight_study.log",
    conda:
        ENVIRONMENT
    params:
        python=sys.executable,
        note=NOTE,
        script=str(Path(workflow.basedir) / "tests/flight_study/flight_study.py"),
    message:
        "Study the accuracy and speed of flight"
    shell:
        "{params.python} {params.note:q} note docs/evidence/flight && OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1"
        " {params.python} {params.script:q} docs/evidence/flight 2>&1 | tee {log:q}"


# The proving ground: invented academies whose truth is known, run through the steps (tests/proving_ground). A command
# of its own, `snakemake --cores 2 --force proving_ground`.
rule proving_ground:
    output:
        expand(
            "docs/evidence/proving_ground/{name}",
            name=[
                "targets.csv",
                "by_world.csv",
                "figures.csv",
                "worlds.csv",
                "devices.csv",
                "proving_ground.png",
                "README.md",
            ]
            + ["coach.csv", "considered.csv", "considered.md", "made.json"],
        ),
    log:
        "logs/proving_ground.log",
    conda:
        ENVIRONMENT
    threads: workflow.cores
    params:
        python=sys.executable,
        note=NOTE,
        script=str(Path(workflow.basedir) / "tests/proving_ground/prove.py"),
        academies=6,  # of each world
    message:
        "Validate the figures on academies whose true values are known"
    shell:
        "{params.python} {params.note:q} note docs/evidence/proving_ground && OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 POLARS_MAX_THREADS=1"
        " {params.python} {params.script:q}"
        " docs/evidence/proving_ground {threads} {params.academies} 2>&1 | tee {log:q}"


# The proving ground's worlds whose drives curve, with and without the columns that show it: a command of its own,
# `snakemake --cores 2 --force curving_worlds`.
rule curving_worlds:
    output:
        expand(
            "docs/evidence/curving/{name}",
            name=["straightness.csv", "by_world.csv", "targets.csv", "README.md"]
            + ["made.json"],
        ),
    log:
        "logs/curving_worlds.log",
    conda:
        ENVIRONMENT
    threads: workflow.cores
    params:
        python=sys.executable,
        note=NOTE,
        script=str(Path(workflow.basedir) / "tests/proving_ground/prove.py"),
        academies=6,  # of each world
        worlds="curving cross-wind curving-calculated curving-unsaid",
    message:
        "Validate straightness and yards lost where drives curve"
    shell:
        "{params.python} {params.note:q} note docs/evidence/curving && OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 POLARS_MAX_THREADS=1"
        " {params.python} {params.script:q}"
        " docs/evidence/curving {threads} {params.academies} {params.worlds} 2>&1 | tee {log:q}"


# How often regressors are said to matter, rightly and wrongly (tests/regressor_study): a command of its own,
# `snakemake --cores 1 --force regressor_study`.
rule regressor_study:
    output:
        expand(
            "docs/evidence/regressors/{name}",
            name=["rates.csv", "made.json", "README.md"],
        ),
    log:
        "logs/regressor_study.log",
    conda:
        ENVIRONMENT
    params:
        python=sys.executable,
        note=NOTE,
        script=str(Path(workflow.basedir) / "tests/regressor_study/regressor_study.py"),
    message:
        "Study how often regressors are said to matter"
    shell:
        "{params.python} {params.note:q} note docs/evidence/regressors && OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1"
        " {params.python} {params.script:q} docs/evidence/regressors 2>&1 | tee {log:q}"


# Speed and scale, on invented studies of up to ten million drives (tests/speed). A command of its own,
# `snakemake --cores 2 --force speed_benchmark`. It shows little unless nothing else is at work on the machine.
rule speed_benchmark:
    output:
        expand(
            "docs/evidence/speed/{name}",
            name=["speed.csv", "steps.csv", "machine.json", "made.json", "README.md"],
        ),
    log:
        "logs/speed_benchmark.log",
    conda:
        ENVIRONMENT
    threads: workflow.cores
    params:
        python=sys.executable,
        note=NOTE,
        script=str(Path(workflow.basedir) / "tests/speed/speed_benchmark.py"),
    message:
        "Measure speed and scale"
    shell:
        "{params.python} {params.note:q} note docs/evidence/speed && {params.python} {params.script:q} docs/evidence/speed"
        " --cores {threads} 2>&1 | tee {log:q}"


# This code beside an earlier commit's, in turn (tests/speed): a command of its own,
# `snakemake --cores 2 --force side_by_side`. It shows little unless nothing else is at work on the machine.
rule side_by_side:
    output:
        expand(
            "docs/evidence/side_by_side/{name}",
            name=["side_by_side.csv", "side_by_side.md", "made.json"],
        ),
    log:
        "logs/side_by_side.log",
    conda:
        ENVIRONMENT
    threads: workflow.cores
    params:
        python=sys.executable,
        note=NOTE,
        script=str(Path(workflow.basedir) / "tests/speed/side_by_side.py"),
    message:
        "Time this code beside an earlier commit's"
    shell:
        "{params.python} {params.note:q} note docs/evidence/side_by_side && {params.python} {params.script:q}"
        " docs/evidence/side_by_side 4e30e6e --pairs 1 --drives 1000000 --cores {threads} 2>&1 | tee {log:q}"


# Golfers cut into parts, on a million invented drives whose golfers are copied tenfold (tests/speed): a command of its
# own, `snakemake --cores 1 --force parts_benchmark`. Its times show little unless nothing else is at work.
rule parts_benchmark:
    output:
        expand(
            "docs/evidence/parts/{name}",
            name=["parts.csv", "machine.json", "made.json", "README.md"],
        ),
    log:
        "logs/parts_benchmark.log",
    conda:
        ENVIRONMENT
    params:
        python=sys.executable,
        note=NOTE,
        script=str(Path(workflow.basedir) / "tests/speed/parts_benchmark.py"),
    message:
        "Measure golfers cut into parts"
    shell:
        "{params.python} {params.note:q} note docs/evidence/parts && {params.python} {params.script:q} docs/evidence/parts"
        " --drives 1000000 --copies 10"
        " 2>&1 | tee {log:q}"


# What became of 500 damaged logs, layouts, studies and keys (tests/collect/test_damaged_inputs.py): a command of its
# own, `snakemake --cores 1 --force damaged_inputs`.
rule damaged_inputs:
    output:
        expand(
            "docs/evidence/damaged/{name}",
            name=["inputs.csv", "made.json"],
        ),
    log:
        "logs/damaged_inputs.log",
    conda:
        ENVIRONMENT
    params:
        python=sys.executable,
        note=NOTE,
        tests=str(Path(workflow.basedir) / "tests/collect/test_damaged_inputs.py"),
    message:
        "Check 500 damaged inputs"
    shell:
        "{params.python} {params.note:q} note docs/evidence/damaged && {params.python} -m pytest -q -s -m long"
        " --renew-golden {params.tests:q} 2>&1 | tee {log:q}"
