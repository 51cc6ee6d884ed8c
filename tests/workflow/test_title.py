"""A study's title and units reach what people see; its name stays that of its folder."""

import json
import os
import re
import shlex
import shutil
from pathlib import Path

import forked

from pipeline.collect.key import make_key

ROOT = Path(__file__).parents[2]
SHOW = {"build_bands", "draw_maps", "draw_figures", "write_diagnostics"}
LATE = "<TBD>"  # by Snakemake: the setting follows from a checkpoint


def test_steps_get_the_title_and_the_units(tmp_path):
    (tmp_path / "own/logs").mkdir(parents=True)
    shutil.copy(ROOT / "data_demo/logs/bay_2026q1.csv", tmp_path / "own/logs")
    text = "study: own\ntitle: Hill & Dale {School}\nunits: metres\nlogs: [{files: logs/*.csv}]\n"
    (tmp_path / "own/study.yaml").write_text(text, encoding="utf-8")
    make_key(tmp_path / "own/private/pseudonym.key")
    where = ["-s", str(ROOT / "Snakefile"), "--directory", str(tmp_path), "--config", f"study={tmp_path / 'own'}"]
    command = ["-m", "snakemake", *where, "-n", "-p", "--cores", "1"]
    done = forked.run(command, ROOT, os.environ | {"PYTHONPATH": str(ROOT)})
    assert done.returncode == 0, done.stderr
    found = {}
    for line in re.findall(r"-m pipeline\.step (.*)", done.stdout):
        name, files, settings = shlex.split(line)
        # What tells the model in use is known when the fit is judged.
        found[name] = {LATE: True} if settings == LATE else json.loads(settings)
        paths = json.loads(files).values()
        assert not any("Hill" in path for each in paths for path in ([each] if isinstance(each, str) else each))
    titled = {
        name: settings.get("settings", settings.get("about", {})).get("study") for name, settings in found.items()
    }
    assert {name for name, title in titled.items() if title == "Hill & Dale {School}"} == SHOW
    assert {name for name, settings in found.items() if LATE in settings} == {
        "write_report", "write_methods", "summarise_run",
    }  # fmt: skip
    assert found["build_bands"]["about"]["units"] == "metres"
    assert found["compare_models"]["study"] == "own"
