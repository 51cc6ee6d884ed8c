"""Draw the workflow's rules and what they take from each other: `python docs/make/workflow_page.py > docs/workflow.md`.

The drawing is mermaid, which repository pages and most editors show as a picture.
"""

import re
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
# A study of results by hand, which the demo isn't, has these in the place of all later ones.
BY_HAND = [("assess_by_hand", "write_by_hand"), ("load_shots", "assess_by_hand")]
TARGETS = ("all", "sensitivity")  # rules that make nothing themselves
HEAD = """\
# The workflow

Each box is a step, named like its rule and its module. An arrow shows that a step takes what another made. The frames
are the stages, in the order in which data flow. This page follows from the rules in `pipeline/*/rules.smk`; after a
change there, make it again:

```sh
python docs/make/workflow_page.py > docs/workflow.md
```

A study of results by hand, without launch and spin, goes from `load_shots` to `assess_by_hand` and has no other steps.
A study without speed logs has neither `collect_swings` nor `assess_practice`. A first run is drawn. Later runs build
bands once `keep_model` has judged the fit. With a kept model in use, `standardise_shots_in_use` moves drives by its
calibration of flight. A run leaves `assess_sensitivity` and `write_sensitivity` out, unless it is asked for the target
`sensitivity`. Only a study whose golfers are cut into parts ([cluster](cluster.md)) has `sum_fit`, `pool_fit`,
`sum_progress`, `pool_progress` and `compare_progress`; in others `fit_model` and `assess_progress` do their work.
`sum_fit` and `pool_fit` take turns.
"""


def edges() -> list[tuple[str, str]]:
    """Ask Snakemake for the rules of the demo and of every target; give pairs of rules, the taking one last."""
    pairs = {*BY_HAND}
    for parts in (1, 2):
        with tempfile.TemporaryDirectory() as folder:  # results that are there would leave rules out
            where = ["-s", str(ROOT / "Snakefile"), "--directory", folder]
            config = ["--config", f"study={ROOT / 'data_demo'}", f"parts={parts}"]
            command = [sys.executable, "-m", "snakemake", *TARGETS, "--rulegraph", "mermaid-js", *where, *config]
            drawn = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        names = dict(re.findall(r"^\s*(id\d+)\[(\w+)\]$", drawn, flags=re.MULTILINE))
        found = re.findall(r"^\s*(id\d+) --> (id\d+)$", drawn, flags=re.MULTILINE)
        pairs |= {(names[one], names[other]) for one, other in found if names[other] not in TARGETS}
    return sorted(pairs)


def stages() -> dict[str, list[str]]:
    """Give the rules of each stage, in the order of the Snakefile."""
    order = re.findall(r'^ *include: "pipeline/(\w+)/rules\.smk"$', (ROOT / "Snakefile").read_text("utf-8"), flags=re.M)
    texts = {stage: (ROOT / "pipeline" / stage / "rules.smk").read_text("utf-8") for stage in order}
    rules = {stage: re.findall(r"^ *(?:rule|checkpoint) (\w+):$", text, flags=re.M) for stage, text in texts.items()}
    return {stage: [rule for rule in found if rule not in TARGETS] for stage, found in rules.items()}


def document() -> str:
    """Write the page."""
    frames = []
    for stage, rules in stages().items():
        frames += [f"    subgraph {stage}\n", *(f"        {rule}\n" for rule in rules), "    end\n"]
    arrows = [f"    {one} --> {other}\n" for one, other in edges()]
    return f"{HEAD}\n```mermaid\nflowchart TB\n{''.join(frames)}{''.join(arrows)}```\n"


if __name__ == "__main__":
    sys.stdout.write(document())
