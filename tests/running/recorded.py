"""Lines of Snakemake 9.27 as it wrote them on the demo, shortened where a step repeats."""

BEGUN = """\
Using workflow specific profile /clone/profiles/default for setting default command line arguments.
Building DAG of jobs...
Provided cores: 2
Job stats:
job                    count
-------------------  -------
collect_logs               2
fit_model                  1
write_report               1
all                        1
total                      5

Select jobs to execute...
Execute 2 jobs...

[Sun Nov 29 11:57:54 2026]
Job 6: Collect 6 small logs
Reason: Missing output files: results/twin-valleys/collected/small/1-of-1.shots.parquet
[Sun Nov 29 11:57:54 2026]
Job 2: Collect a large log
Reason: Missing output files: results/twin-valleys/practice/sources.csv
"""

GOES_ON = """\
[Sun Nov 29 11:57:56 2026]
Finished jobid: 6 (Rule: collect_logs)
1 of 5 steps (20%) done
[Sun Nov 29 11:57:56 2026]
Finished jobid: 2 (Rule: collect_logs)
2 of 5 steps (40%) done
Execute 1 jobs...

[Sun Nov 29 11:59:49 2026]
Job 9: Fit the candidate models and choose one
Reason: Missing output files: results/twin-valleys/model/model.json
DAG of jobs will be updated after completion.
"""

ENDED = """\
[Sun Nov 29 11:59:59 2026]
Finished jobid: 9 (Rule: fit_model)
3 of 5 steps (60%) done
Updating checkpoint dependencies.
[Sun Nov 29 11:59:59 2026]
Job 3: Write the academy's page
Reason: Missing output files: results/twin-valleys/report/academy.html
[Sun Nov 29 12:00:00 2026]
Finished jobid: 3 (Rule: write_report)
4 of 5 steps (80%) done
[Sun Nov 29 12:00:00 2026]
localrule all:
    input: results/twin-valleys/summary.txt
    jobid: 0
    reason: Input files updated by another job: results/twin-valleys/summary.txt
    resources: tmpdir=/tmp
[Sun Nov 29 12:00:00 2026]
Finished jobid: 0 (Rule: all)
5 of 5 steps (100%) done
"""

SENTENCE = "The study has 0 usable drives of 0 golfers; a fit needs at least 20 drives of 6 golfers: add logs."

FAILED = f"""\
{SENTENCE}
RuleException:
CalledProcessError in file "/clone/pipeline/fit/rules.smk", line 71:
Command 'set -euo pipefail;  YARDBAND_LOG=logs/twin-valleys/fit_model.log YARDBAND_THREADS=2 python -m pipeline.step \
fit_model '{{"drives": "drives.parquet"}}' '{{"seed": 1}}'' returned non-zero exit status 2.
[Sun Nov 29 11:59:50 2026]
Error in rule fit_model:
    message: None
    jobid: 9
    input: results/twin-valleys/collected/drives.parquet
    output: results/twin-valleys/model/model.json
    log: logs/twin-valleys/fit_model.log (check log file(s) for error details)
    shell:
        YARDBAND_LOG=logs/twin-valleys/fit_model.log YARDBAND_THREADS=2 python -m pipeline.step fit_model '{{}}'
        (command exited with non-zero exit code)
Shutting down, this might take some time.
Exiting because a job execution failed. Look above for error messages
Complete log(s): /clone/.snakemake/log/2026-11-29T115939.362096.snakemake.log
Elapsed time: 0:00:11.394059
WorkflowError:
At least one job did not complete successfully.
See logs/twin-valleys/fit_model.log for what went wrong.
"""

KILLED = FAILED.replace(f"{SENTENCE}\n", "").replace(
    "returned non-zero exit status 2.", "died with <Signals.SIGKILL: 9>."
)

REFUSED = """\
WorkflowError in file "/clone/Snakefile", line 126:
results/twin-valleys: another run is at work on this study; wait until it has ended, then start again.
  File "/clone/Snakefile", line 126, in __onstart
"""

NOTHING = """\
Building DAG of jobs...
Updating checkpoint dependencies.
Nothing to be done (all requested files are present and up to date).
"""

SUMMARY = """

Logs: 5 used, 1 refused. Rows: 9,579 = 9,435 accepted + 42 rejected + 102 duplicates.
  refused: logs/bay_2026q1.csv: it has no column struck_at
Model: flight, rms error 3.2 yd on golfers held out of the fit.
2026Q3: 78 of 82 golfers assessed, 43 flagged, 1,113 yd lost by them together (1,113 yd with luck taken out).
Progress: 77 golfers compared with an earlier quarter; carry better for 8, worse for 0.
Goals: 78 of 78 golfers have one, 78 not reached yet, median gap 18 yd.
Open results/twin-valleys/report/academy.html: the quarter.
"""
