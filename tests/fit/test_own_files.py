import numpy as np
import pytest

from pipeline.configuration.study import Study
from pipeline.errors import UserError
from pipeline.fit.own_files import find_own, read_written, survey_written
from pipeline.fit.tabulated import tabulate

MINE = """\
import numpy as np

NAME = "mine"
SPEED = "ball"


def terms(speed, launch, spin):
    return {"one": np.ones_like(speed), "speed": speed, "lift": launch * np.log(spin)}
"""
INPUTS = np.linspace(90, 170, 50), np.linspace(5, 20, 50), np.linspace(1500, 4500, 50)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "candidates").mkdir()
    (tmp_path / "candidates/mine.py").write_text(MINE, encoding="utf-8")
    return tmp_path


def study_of(**model):
    return Study.model_validate({"study": "hill", "logs": [{"files": "logs/*.csv"}], "model": model})


def test_a_file_of_the_study_folder_is_a_candidate(folder):
    paths = find_own(folder, study_of(own=["candidates/mine.py"], formulas={"curved": "ball * launch"}))
    assert paths == [str(folder / "candidates/mine.py")]
    formula, mine = read_written({"curved": "ball * launch"}, paths)
    assert (formula.name, formula.origin) == ("curved", "ball * launch")
    assert (mine.name, mine.speed, mine.origin) == ("mine", "ball", paths[0])
    surface, _ = tabulate(mine, INPUTS)
    assert surface.labels == ("one", "speed", "lift")
    expected = np.column_stack([np.ones(50), INPUTS[0], INPUTS[1] * np.log(INPUTS[2])])
    np.testing.assert_allclose(surface.design(*INPUTS), expected, rtol=1e-4)


def test_looking_for_candidates_runs_none(folder):
    (folder / "candidates/mine.py").write_text(MINE + "raise SystemExit(3)\n", encoding="utf-8")
    paths = find_own(folder, study_of(own=["candidates/mine.py"]))
    with pytest.raises(UserError, match=r"mine.py, line 9: SystemExit: 3; correct the file.$"):
        read_written({}, paths)


READING = [
    (MINE.replace('"mine"', '"mine'), "line 3: isn't valid Python (unterminated string literal (detected at line 3))"),
    (MINE.replace("NAME", "LABEL"), 'candidates/mine.py: has no NAME; write NAME = "curved" at its top.'),
    (MINE.replace('"mine"', "3"), 'line 3: NAME must be a text in quotes, such as NAME = "curved".'),
    (MINE.replace('"mine"', '"quadratic"'), "line 3: the name 'quadratic' is another candidate's; choose one of its"),
    (MINE.replace('"mine"', '"curved"'), "line 3: the name 'curved' is another candidate's"),
    (MINE.replace('"mine"', '"my | own"'), "line 3: the name 'my | own' can't be a candidate's; use up to 40 letters"),
    (MINE.replace("SPEED", "PACE"), 'has no SPEED; write SPEED = "ball" or SPEED = "club" at its top.'),
    (MINE.replace('"ball"', '"spin"'), 'line 4: SPEED is \'spin\'; write "ball" or "club".'),
    (MINE.replace("def terms", "def term"), "has no function terms; write def terms(speed, launch, spin)."),
    ("\0", "line 1: isn't valid Python (source code string cannot contain null bytes); correct it."),
    ("(" * 5000 + ")" * 5000, "line 1: isn't valid Python (too many nested parentheses); correct it."),
]


@pytest.mark.parametrize(("text", "found"), READING)
def test_what_is_wrong_with_a_file_is_told_before_it_runs(folder, text, found):
    (folder / "candidates/mine.py").write_text(text, encoding="utf-8")
    paths, [told] = survey_written(folder, study_of(own=["candidates/mine.py"], formulas={"curved": "ball"}))
    assert paths == []
    assert told.startswith(f"{folder / 'candidates/mine.py'}")
    assert found in told
    assert told.endswith(".")
    assert "\n" not in told


@pytest.mark.parametrize("own", ["../mine.py", "/etc/mine.py", "candidates/../../mine.py"])
def test_files_outside_the_study_folder_are_refused(folder, own):
    with pytest.raises(UserError) as caught:
        find_own(folder, study_of(own=["candidates/mine.py", own]))
    assert str(caught.value) == (
        f"{folder}/study.yaml: model.own[1]: {own!r} leaves the study folder; name files inside it."
    )


def test_every_problem_is_told_at_once(folder):
    study = study_of(own=["candidates/yours.py"], formulas={"line": "ball", "curved": "ball + club"})
    _, told = survey_written(folder, study)
    assert told == [
        "model.formulas in study.yaml: the name 'line' is another candidate's; choose one of its own.",
        "model.formulas.curved in study.yaml: uses both ball and club; a candidate goes by one speed; "
        "correct the formula.",
        f"{folder}/candidates/yours.py: there is no such file; correct model.own in study.yaml.",
    ]


def test_the_model_to_use_may_be_ones_own_and_must_be_there(folder):
    find_own(folder, study_of(own=["candidates/mine.py"], choose="mine"))
    with pytest.raises(
        UserError,
        match=r"model.choose: there is no candidate 'min' \(did you mean 'mine'\?\); there are line, flight, .*, mine",
    ):
        find_own(folder, study_of(own=["candidates/mine.py"], choose="min"))


RUNNING = [
    ("return 1 / 0", "line 8: ZeroDivisionError: division by zero"),
    ("raise ValueError('no,\\n  not so')", "line 8: ValueError: no, not so"),
    ("import no_such_module", "line 8: ModuleNotFoundError: No module named 'no_such_module'"),
    ("raise SystemExit", "line 8: SystemExit"),
    ("return [speed]", "line 7: terms must give a dict of arrays by name"),
    ("return {1: speed}", "line 7: terms must give a dict of arrays by name"),
    ("return {'a': 1.0}", "line 7: the term 'a' is a single number for 1 drives, where (1,) is due"),
    (
        "return {'a': speed[:, None]}",
        "line 7: the term 'a' is of shape (3375, 1) for 3375 drives, where (3375,) is due",
    ),
    ("return {'a': ['x'] * len(speed)}", "line 7: the term 'a' isn't an array of numbers"),
    ("return {'a': np.log(launch - 9)}", "line 7: the term 'a' must be a finite number everywhere at ball speed 82 to"),
    ("return {'a': speed - speed.mean()}", "line 7: the term 'a' depends on which drives are asked about together"),
    ("return {'a': spin - spin.mean()}", "line 7: the term 'a' depends on which drives are asked about together"),
    ("return {'a': np.random.default_rng().normal(size=len(speed))}", "depends on which drives are asked about"),
]


@pytest.mark.parametrize(("body", "found"), RUNNING)
def test_what_goes_wrong_in_a_file_is_told_with_its_line(folder, body, found):
    path = folder / "candidates/mine.py"
    path.write_text("".join(MINE.splitlines(keepends=True)[:-1]) + f"    {body}\n", encoding="utf-8")
    [mine] = read_written({}, [str(path)])
    with pytest.raises(UserError) as caught:
        tabulate(mine, INPUTS)
    told = str(caught.value)
    assert told.startswith(f"{path}, ")
    assert found.replace("1 drives", "3375 drives").replace("(1,)", "(3375,)") in told
    assert told.endswith("; correct the file.")
    assert "\n" not in told
