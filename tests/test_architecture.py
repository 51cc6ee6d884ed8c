"""The architecture is held by tools: imports go one way, computing touches no file, steps are short."""

import ast
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from steps import steps

from pipeline.errors import UserError
from pipeline.run_step import module_of

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "pipeline"
LONGEST_RUN = 39  # lines of a step's `run`, signature and docstring too

# --- what may touch files

# In serve/, report_files reads what is served and network has the sockets; what is answered is computed without either.
EDGES = re.compile(
    r"pipeline/(edge/\w+|configuration/(load|log_files|yaml_file)|collect/(read|reader|foreign|key)|fit/(kept|own_files)|(.+/)?\w+_command"
    r"|serve/(network|report_files)|research/library/study|running/(start|forked_steps)"
    r"|__main__|cli|step|run_step|workflow|ending|handover)\.py"
)
# Computing modules that touch what others may not, each with its reason.
EXCEPTIONS = {
    "pipeline/collect/workbook.py": "opens parts of a workbook that collect/reader.py has opened",
    "pipeline/collect/plain_text.py": "unpacks and decodes a text log for collect/read.py, which would be too long",
    "pipeline/collect/pseudonym.py": "takes DuckDB in memory for SHA-256 of whole columns; opens no file",
    "pipeline/collect/demo_logs.py": "reads its own list of sums, a part of the package",
    "pipeline/texts/catalogue.py": "reads its own catalogue, a part of the package",
    "pipeline/running/run_words.py": "takes exit statuses and the sentence on memory from pipeline.ending",
    "pipeline/running/snakemake_lines.py": "takes from pipeline.ending how libraries say that memory ran out",
    "pipeline/threads.py": "asks for a second process; neither touches a file",
    "pipeline/report/figures/look.py": "draws a figure to bytes in memory",
}

_MODULES = {"duckdb", "glob", "pathlib", "shutil", "socket", "tempfile", "waitress"}
_CALLS = re.compile(
    r"open|glob|rglob|mkdir|unlink|(read|write)_(text|bytes)|savefig|savez\w*|scan_\w+|sink_\w+"
    r"|read_(avro|csv|database|delta|excel|ipc|json|ndjson|parquet)"
)
_WRITES = re.compile(r"write_(avro|csv|database|delta|excel|ipc|json|ndjson|parquet)")  # without a file it gives text
_OF = {"json": {"load"}, "np": {"load", "save"}, "numpy": {"load", "save"}}


def name_of(path, package=PACKAGE):
    """Give a module's path as the lists here write it."""
    return path.relative_to(package.parent).as_posix()


def modules(package=PACKAGE):
    return sorted(path for path in package.rglob("*.py") if path.name != "__init__.py")


def is_edge(name):
    return bool(EDGES.fullmatch(name)) or Path(name).stem in steps()


def touched(source, edges):
    """Say what a module's code touches that computing may not: imports, and calls that read or write.

    `edges` are the modules, dotted, that touch files themselves.
    """
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import | ast.ImportFrom):
            found |= {f"imports {name}" for name in imported(node) if name in edges or name.split(".")[0] in _MODULES}
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        if isinstance(called, ast.Name) and called.id == "open":
            found.add("calls open")
        if isinstance(called, ast.Attribute):
            of = called.value.id if isinstance(called.value, ast.Name) else ""
            writes = _WRITES.fullmatch(called.attr) and (node.args or any(each.arg == "file" for each in node.keywords))
            if _CALLS.fullmatch(called.attr) or called.attr in _OF.get(of, ()) or writes:
                found.add(f"calls {called.attr}")
    return sorted(found)


def imported(node):
    """List every module that an import may mean: `from a import b` takes a, and a.b if that is a module."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    base = node.module or ""
    return [base, *(f"{base}.{alias.name}" for alias in node.names)]


def impure(package=PACKAGE):
    """List the computing modules that touch files, with what they touch."""
    edges = {
        name_of(path, package)[:-3].replace("/", ".") for path in modules(package) if is_edge(name_of(path, package))
    }
    found = {name_of(path, package): touched(path.read_text(encoding="utf-8"), edges) for path in modules(package)}
    return {name: what for name, what in found.items() if what and not is_edge(name)}


def run_lengths(package=PACKAGE):
    """Give the lines of every step's `run`."""
    found = {}
    for path in modules(package):
        if path.stem in steps():
            tree = ast.parse(path.read_text(encoding="utf-8"))
            [run] = [one for one in tree.body if isinstance(one, ast.FunctionDef) and one.name == "run"]
            found[name_of(path, package)] = run.end_lineno - run.lineno + 1
    return found


def test_computing_modules_touch_no_file():
    found = {name: what for name, what in impure().items() if name not in EXCEPTIONS}
    assert found == {}


def test_every_exception_is_still_one():
    assert set(EXCEPTIONS) - set(impure()) == set()


def test_steps_are_short():
    assert {name: lines for name, lines in run_lengths().items() if lines > LONGEST_RUN} == {}


def test_a_rule_and_its_step_share_their_name():
    assert len(steps()) > 20
    for rule, module in steps().items():
        [path] = [path for path in modules() if path.stem == rule]
        assert f"{module.replace('.', '/')}.py" == name_of(path)
    with pytest.raises(UserError, match="no_such: isn't a step; call a step as its rule in the Snakefile does"):
        module_of("no_such")


@pytest.mark.parametrize(
    ("code", "what"),
    [
        ("from pathlib import Path", ["imports pathlib", "imports pathlib.Path"]),
        ("def f():\n    import duckdb as d", ["imports duckdb"]),
        ("import shutil, tempfile", ["imports shutil", "imports tempfile"]),
        ("from pipeline.edge import files", ["imports pipeline.edge.files"]),
        ("from pipeline.edge.files import whole", ["imports pipeline.edge.files"]),
        (
            "import socket\nfrom waitress.server import create_server",
            [
                "imports socket",
                "imports waitress.server",
                "imports waitress.server.create_server",
            ],
        ),
        ("open('a')", ["calls open"]),
        ("p.open('rb')", ["calls open"]),
        ("json.load(file)", ["calls load"]),
        ("np.load(p); np.savez(p, a=1)", ["calls load", "calls savez"]),
        ("pl.scan_parquet(p)", ["calls scan_parquet"]),
        ("pl.read_csv(p)", ["calls read_csv"]),
        ("frame.write_parquet(p)", ["calls write_parquet"]),
        ("p.read_text()", ["calls read_text"]),
        ("frame.write_csv(file=p)", ["calls write_csv"]),
        ("json.loads(text); frame.write_csv(include_header=False); book.write_row(1); reopen(a); 'open'", []),
        ("from pipeline.physics import ball\nimport numpy as np", []),
    ],
)
def test_what_touches_a_file_is_seen(code, what):
    assert touched(code, {"pipeline.edge.files"}) == what


@pytest.fixture
def copy(tmp_path):
    """A copy of the package, to plant faults in."""
    shutil.copytree(PACKAGE, tmp_path / "pipeline", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path / "pipeline"


def test_a_planted_read_is_found(copy):
    (copy / "flight/offsets.py").write_text("import polars as pl\npl.read_csv('a')\n", encoding="utf-8")
    (copy / "collect/rules.py").write_text("from pipeline.collect import read\n", encoding="utf-8")
    found = impure(copy)
    assert found["pipeline/flight/offsets.py"] == ["calls read_csv"]
    assert found["pipeline/collect/rules.py"] == ["imports pipeline.collect.read"]
    assert set(found) - set(impure()) == {"pipeline/flight/offsets.py", "pipeline/collect/rules.py"}


def test_a_long_run_is_found(copy):
    step = copy / "flight/standardise_shots.py"
    step.write_text("def run() -> None:\n" + "    pass\n" * LONGEST_RUN, encoding="utf-8")
    assert run_lengths(copy)["pipeline/flight/standardise_shots.py"] == LONGEST_RUN + 1


def test_rules_without_a_step_are_none_of_ours():
    assert {"all", "proving_ground"} & set(steps()) == set()
    assert {"collect_logs", "collect_swings", "fit_model"} <= set(steps())


# --- imports, by import-linter's contract in pyproject.toml


def lint(folder):
    code = "from importlinter.cli import lint_imports_command as lint; lint()"
    return subprocess.run(
        [sys.executable, "-c", code, "--no-cache"], cwd=folder, capture_output=True, text=True, check=False,
        env={"PYTHONPATH": str(folder)},
    )  # fmt: skip


def test_imports_go_one_way():
    done = lint(ROOT)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("module", "code", "told"),
    [
        ("units", "import pipeline.collect.times", "pipeline.units -> pipeline.collect.times"),
        (
            "flight/offsets",
            "def f():\n    from pipeline.fit import model",
            "pipeline.flight.offsets -> pipeline.fit.model",
        ),
        ("elsewhere", "", "elsewhere"),
    ],
)
def test_an_import_against_the_stream_is_found(copy, module, code, told):
    with (copy / f"{module}.py").open("a", encoding="utf-8") as file:
        file.write(f"\n{code}\n")
    done = lint(copy.parent)
    assert done.returncode == 1
    assert told in done.stdout
