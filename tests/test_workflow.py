"""What the rules share: the code of a step among its parameters, what it may ask for, its log, and --config."""

import os
import shutil
import subprocess
import sys
import time
from types import SimpleNamespace

import pytest
from steps import ROOT, imported_names, steps

from pipeline import workflow
from pipeline.edge.run_logs import failed_logs
from pipeline.errors import UserError
from pipeline.run_step import DONE


@pytest.fixture
def copy(tmp_path, monkeypatch):
    """A copy of the package, to change code in; the functions of `pipeline.workflow` read it."""
    shutil.copytree(ROOT / "pipeline", tmp_path / "pipeline", ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(workflow, "PACKAGE", tmp_path / "pipeline")
    forget()
    yield tmp_path / "pipeline"
    forget()


def forget():
    for cached in (
        workflow.code_of,
        workflow._known_digests,
        workflow._state,
        workflow._imported,
        workflow._is_ours,
        workflow._code,
        workflow._digest,
        workflow._beside,
    ):
        cached.cache_clear()


def changed(copy, file, old, new):
    """Name the steps whose code differs after a change of a file."""
    before = {name: workflow.code_of(name) for name in steps()}
    text = (copy / file).read_text(encoding="utf-8")
    assert old in text
    (copy / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    forget()
    return {name for name, code in before.items() if workflow.code_of(name) != code}


def test_a_comment_changes_no_code(copy):
    assert changed(copy, "golfers/flags.py", '"""', '# A remark.\n"""') == set()


def test_neither_layout_nor_the_seed_of_hashes_changes_code(copy):
    assert changed(copy, "workflow.py", '"model", "trial", ', '"model",\n\n    "trial", ') == set()
    assert changed(copy, "golfers/flags.py", "\n\n\ndef", "\n\n\n\n\ndef") == set()
    codes = "from pipeline.workflow import code_of; print(code_of('write_report'), code_of('fit_model'))"
    told = {
        subprocess.run(
            [sys.executable, "-c", codes], cwd=ROOT, env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True
        ).stdout
        for seed in ("1", "2", "3")
    }
    assert len(told) == 1
    assert len(told.pop().split()) == 2


def test_imports_are_found_as_the_syntax_tree_has_them():
    for path in sorted((ROOT / "pipeline").rglob("*.py")):
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        if module == "pipeline.tables.registry":  # it finds the tables by their folder
            continue
        names = imported_names(path)
        ours = {name for name in names if name.startswith("pipeline.") and workflow._path(name).is_file()}
        assert set(workflow._imported(module)) == ours, module


def test_a_changed_constant_changes_the_steps_that_use_it(copy):
    using = {name for name, module in steps().items() if "pipeline.flight.calibrate" in workflow.modules_of(module)}
    assert {"calibrate_flight"} < using < set(steps())
    assert changed(copy, "flight/calibrate.py", "MOST_DRIVES = 2000", "MOST_DRIVES = 1999") == using


def test_a_constant_that_one_step_uses_changes_that_step_alone(copy):
    assert changed(copy, "report/diagnostics/write_diagnostics.py", "MOST_GOLFERS = 5000", "MOST_GOLFERS = 4999") == {
        "write_diagnostics"
    }


def test_a_template_is_code_of_the_steps_that_fill_it(copy):
    found = changed(copy, "report/lookup/templates/lookup.css", "{", "{ ")
    assert found == {"write_lookup"}
    assert changed(copy, "report/page/vendor/d3.min.js", "d3js", "d3-js") == {"write_report"}


def test_a_script_that_pages_share_is_code_of_both(copy):
    found = changed(copy, "report/shared/templates/lookup_shown.js", "How figures", "So figures")
    assert found == {"write_lookup", "write_report"}


def test_the_texts_are_code_of_the_steps_that_say_them(copy):
    found = changed(copy, "texts/english.toml", "Coach's lookup", "Lookup of the coach")
    assert {"write_report", "write_lookup"} <= found < set(steps())


def test_tables_that_are_found_by_their_file_are_code_of_the_step_that_reads_them(copy):
    assert "write_report" in changed(copy, "tables/progress.py", "suppressed", "suppressed_too")


def test_digests_of_the_last_run_are_taken_until_a_file_is_touched(copy, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    digested = []
    whole = workflow._digest_of_step
    monkeypatch.setattr(workflow, "_digest_of_step", lambda name: digested.append(name) or whole(name))
    first = workflow.code_of("calibrate_flight")
    workflow.keep_digests(["calibrate_flight", "write_lookup"])
    assert digested == ["calibrate_flight", "write_lookup"]
    forget()
    assert workflow.code_of("calibrate_flight") == first
    assert digested == ["calibrate_flight", "write_lookup"]
    forget()
    workflow.keep_digests(["write_report"])  # of another study, whose steps are others
    forget()
    assert workflow.code_of("calibrate_flight") == first
    assert digested == ["calibrate_flight", "write_lookup", "write_report"]

    file = copy / "flight/calibrate.py"
    text = file.read_text(encoding="utf-8")
    assert "MOST_DRIVES = 2000" in text
    file.write_text(text.replace("MOST_DRIVES = 2000", "MOST_DRIVES = 1999"), encoding="utf-8")
    forget()
    assert workflow.code_of("calibrate_flight") != first
    assert digested[-1] == "calibrate_flight"


@pytest.mark.usefixtures("copy")
@pytest.mark.parametrize("damage", ["", "[]", '{"state": 1}', '{"state": "other", "digests": {"fit_model": "x"}}'])
def test_digests_that_cannot_be_read_are_made_again(tmp_path, monkeypatch, damage):
    monkeypatch.chdir(tmp_path)
    workflow.DIGESTS.parent.mkdir(parents=True)
    workflow.DIGESTS.write_text(damage, encoding="utf-8")
    assert len(workflow.code_of("fit_model")) == 16


@pytest.mark.parametrize("parts", [0, 1001, 2.5, "two", True])
def test_a_number_of_parts_that_is_none_is_refused(parts):
    workflow.check_config({"parts": 1000})
    with pytest.raises(UserError, match=r"isn't a number of parts; give a whole number from 1 to 1000\.$"):
        workflow.check_config({"parts": parts})


def test_golfers_are_cut_where_logs_are_very_large():
    size = workflow.PART_BYTES
    assert workflow.parts_of([], {}) == workflow.parts_of([size // 2, size // 2], {}) == ["1-of-1"]
    assert workflow.parts_of([size, 1], {}) == ["1-of-2", "2-of-2"]
    assert workflow.parts_of([size, 1], {"parts": 1}) == ["1-of-1"]
    assert workflow.parts_of([], {"parts": 3}) == ["1-of-3", "2-of-3", "3-of-3"]


def test_an_unknown_key_of_config_is_refused_with_the_nearest():
    workflow.check_config({"study": "a", "model": "b"})
    with pytest.raises(UserError, match=r"^--config stduy=\.\.\.: there is no such key; did you mean study\?$"):
        workflow.check_config({"stduy": "a"})
    with pytest.raises(UserError, match=r"^--config x=.*no such key; it takes study, model, trial and parts\.$"):
        workflow.check_config({"x": "a"})


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"model": "k1", "trial": "a"}, "a trial makes a fit of its own; leave one of the two out"),
        ({"trial": 7}, "trial=7: isn't read as text; begin the name with a letter"),
        ({"trial": "a/b"}, "trial: can't be 'a/b'; use letters, digits"),
        ({"trial": "con"}, "trial: can't be 'con', a name that results/ or the system has taken"),
    ],
)
def test_a_trial_that_can_not_be_made_is_refused(given, told):
    with pytest.raises(UserError, match=told):
        workflow.check_config(given)


def test_a_look_and_a_trial_have_folders_of_their_own():
    assert workflow.folder_of("hill", {"study": "x"}) == "hill"
    assert workflow.folder_of("hill", {"model": "k1"}) == "hill/by-model/k1"
    assert workflow.folder_of("hill", {"trial": "few"}) == "hill/trials/few"


def test_a_setting_may_be_a_function_of_the_wildcards():
    settings = workflow.step("fit_model", seed=1, whom=lambda wildcards: wildcards["a"])["settings"]
    assert settings({"a": "b{c}"}) == '{"seed": 1, "whom": "b{c}"}'


def logs_of(drives):
    return [drives * workflow.DRIVE_BYTES]


def test_a_step_asks_for_what_the_speed_study_measured_and_room():
    needs = workflow.needs_of(logs_of(10_000_000))
    assert needs("fit_model") == {"mem_mb": 2300, "runtime": 7}  # of 858 and 669 MB, and 102 s
    assert needs("collect_logs")["runtime"] == 2  # of a job, not of all 200 logs
    assert needs("not_measured") == {}


@pytest.fixture
def _steps_measured(tmp_path, monkeypatch):
    rows = [(100, 1, 60, 1000), (100, 2, 60, 400), (200, 1, 240, 3000), (400, 1, 120, 5000)]
    lines = [f"run,{drives},{step},{jobs},{wall_s},0,{mb}"
             for step in ("fit_model", "collect_logs") for drives, jobs, wall_s, mb in rows]  # fmt: skip
    path = tmp_path / "steps.csv"
    path.write_text("run,drives,step,processes,wall_s,cpu_s,peak_mb\n" + "\n".join(lines))
    monkeypatch.setattr(workflow, "MEASURED", path)
    workflow._measured.cache_clear()
    yield
    workflow._measured.cache_clear()


@pytest.mark.parametrize(
    ("drives", "mem_mb", "runtime"),
    [
        (10, 1500, 4),  # no less than the smallest took
        (100, 1500, 4),
        (150, 3000, 9),  # half way from 1,000 to 3,000 MB, from 60 to 240 s
        (200, 4500, 13),
        (400, 7500, 13),
        (600, 10500, 13),  # 10 MB a drive more; time never falls
    ],
)
@pytest.mark.usefixtures("_steps_measured")
def test_needs_grow_in_line_with_the_drives(drives, mem_mb, runtime):
    assert workflow.needs_of(logs_of(drives))("fit_model") == {"mem_mb": mem_mb, "runtime": runtime}


@pytest.mark.usefixtures("_steps_measured")
@pytest.mark.usefixtures("_steps_measured")
def test_a_step_with_a_second_process_needs_the_memory_of_both():
    with workflow.MEASURED.open("a", encoding="utf-8") as file:
        file.write("\nrun,400,second_process,2,60,0,1000")
    assert workflow.needs_of(logs_of(400))("fit_model") == {"mem_mb": 9000, "runtime": 13}
    assert workflow.needs_of(logs_of(400))("collect_logs")["mem_mb"] == 7500


@pytest.mark.usefixtures("_steps_measured")
def test_a_job_of_a_log_needs_no_more_in_a_study_larger_than_any_measured():
    needs = [workflow.needs_of(logs_of(drives))("collect_logs") for drives in (400, 4000)]
    assert needs[0] == needs[1]


def test_only_large_studies_share_the_work_of_a_step_out():
    assert workflow.threads_for([900_000, 25_000]) == 1
    assert workflow.threads_for([workflow.LARGE_BYTES - 1]) == 1
    assert workflow.threads_for([workflow.LARGE_BYTES - 1, 1]) == 2


def test_logs_of_steps_that_failed_are_found(tmp_path):
    logs = {"old": "", "good": f"Fitted.\n{DONE}\n", "failed": "Fitting ...\n", "small/bad": "x: is empty.\n"}
    for name, text in logs.items():
        (tmp_path / f"{name}.log").parent.mkdir(exist_ok=True)
        (tmp_path / f"{name}.log").write_text(text, encoding="utf-8")
        if name == "old":
            time.sleep(0.05)
            since = time.time()
            time.sleep(0.05)
    assert failed_logs(tmp_path, since) == [tmp_path / "failed.log", tmp_path / "small/bad.log"]


def test_steps_are_named_by_the_rules_that_run_them():
    rules = [SimpleNamespace(params=params) for params in ({"step": "load_shots", "code": "1"}, {"note": "a study's"})]
    assert workflow.steps_of(rules) == ["load_shots"]
