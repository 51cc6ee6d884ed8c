"""The researcher's pages are true: every session in docs/research runs as printed, on the demo's results.

How a page is written:

- Its fenced blocks run in their order, in a folder of the page's own that holds the workflow, data_demo/ and the demo's
  results in results/twin-valleys. What a block changes there later blocks see, other pages don't.
- ```` ```pycon ```` is a session of Python (`>>>`, `...`), run by doctest with ELLIPSIS and NORMALIZE_WHITESPACE. All
  such blocks of a page share their names. A warning is an error.
- ```` ```console ```` is a session of bash. `$ COMMAND` is run with `yardband`, `snakemake` and `python` at hand; a
  command that ends in a backslash goes on in the next line. Below it stands all that it prints, errors too: a line
  `...` stands for any lines or none, `...` within a line for any text. The command must end with status 0, unless the
  last line below it says another, such as `[exit 2]`.
- A block of another language is saved to a file if the line before it says so: `<!-- file: trial/study.yaml -->`.
- A page needs a session.

Notebooks there are run whole in the same folder. They are committed without outputs, and write nothing to stderr.
"""

import doctest
import os
import re
import shutil
import subprocess
import sys
import warnings
from dataclasses import dataclass
from pathlib import Path

import nbformat
import polars as pl
import pytest
from nbclient import NotebookClient

ROOT = Path(__file__).parents[2]
PAGES, NOTEBOOKS = (sorted((ROOT / "docs/research").glob(f"*.{kind}")) for kind in ("md", "ipynb"))
NEEDED = ("Snakefile", "pipeline", "profiles", "environment.yaml", "data_demo", "tests/studies.smk", "docs")
LONGEST_S = 300

FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.DOTALL | re.MULTILINE)
NAMED = re.compile(r"<!-- file: (\S+) -->\n\Z")
ENDED = re.compile(r"\[exit (\d+)\]")
STARTED = "$ "
OPTIONS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


# --- reading a page -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Block:
    """A fenced block: its language, its text, its first line in the page (from 0), the file that it is saved to."""

    language: str
    text: str
    line: int
    file: str | None


def blocks_of(page):
    """Give the blocks of a page that do something."""
    found = []
    for match in FENCE.finditer(page):
        named = NAMED.search(page, 0, match.start())
        line = page.count("\n", 0, match.start(2))
        found.append(Block(match[1], match[2], line, named[1] if named else None))
    return [block for block in found if block.file or block.language in ("pycon", "console")]


@dataclass(frozen=True)
class Command:
    """A command of a console block, what it should print, and the status it should end with."""

    text: str
    expected: str
    status: int


def commands_of(text):
    """Split a console block into its commands."""
    commands, lines = [], text.splitlines()
    assert lines, "a console block is empty"
    assert lines[0].startswith(STARTED), f"a console block begins with `$ COMMAND`, not with {lines[0]!r}"
    while lines:
        command = lines.pop(0).removeprefix(STARTED)
        while command.endswith("\\"):
            command += "\n" + lines.pop(0)
        count = next((place for place, line in enumerate(lines) if line.startswith(STARTED)), len(lines))
        printed, lines = lines[:count], lines[count:]
        ended = ENDED.fullmatch(printed[-1]) if printed else None
        expected = "\n".join(printed[:-1] if ended else printed)
        commands.append(Command(command, expected, int(ended[1]) if ended else 0))
    return commands


def is_like(printed, expected):
    """Say whether a command printed what was expected; spaces at the ends of lines don't count."""
    parts = []
    for line in expected.rstrip().splitlines():
        within = ".*".join(re.escape(part) for part in line.rstrip().split("..."))
        parts.append("(?:.*\n)*" if line.strip() == "..." else f"{within}[ \t]*\n")
    return re.fullmatch("".join(parts), f"{printed.rstrip()}\n" if printed.strip() else "") is not None


# --- running it -----------------------------------------------------------------------------------------------------


def command_line(folder):
    """Give the environment of a command in a folder."""
    own = Path(sys.executable).parent
    return os.environ | {"PATH": f"{own}{os.pathsep}{os.environ['PATH']}", "PYTHONPATH": str(folder)}


def run_command(command, folder):
    done = subprocess.run(
        ["bash", "-c", command.text],
        cwd=folder,
        env=command_line(folder),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
        timeout=LONGEST_S,
    )
    said = f"$ {command.text}\n{done.stdout}"
    assert done.returncode == command.status, f"{said}[exit {done.returncode}], not {command.status}"
    assert is_like(done.stdout, command.expected), f"{said}--- expected:\n{command.expected}"


def run_python(block, names, page):
    test = doctest.DocTestParser().get_doctest(block.text, names, page.stem, str(page), block.line)
    assert test.examples, f"{page.name}, line {block.line}: a pycon block has no `>>>`"
    told = []
    runner = doctest.DocTestRunner(optionflags=OPTIONS)
    # Told in the end: some libraries say themselves which of their warnings are no errors.
    with warnings.catch_warnings(record=True) as warned:
        warnings.simplefilter("always")
        failed = runner.run(test, out=told.append, clear_globs=False).failed
    names.update(test.globs)  # doctest works on a copy
    assert not failed, "".join(told)
    assert not warned, "\n".join(f"{page.name}: {one.category.__name__}: {one.message}" for one in warned)


def run_page(page, folder):
    """Run a page's blocks in a folder, which is the working one."""
    blocks = blocks_of(page.read_text(encoding="utf-8"))
    assert any(block.file is None for block in blocks), f"{page.name} has no session"
    names = {"__name__": "__main__"}
    with pl.Config():  # how a page prints tables is its own affair
        for block in blocks:
            run_block(block, names, page, folder)


def run_block(block, names, page, folder):
    if block.file:
        file = folder / block.file
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(block.text, encoding="utf-8")
    elif block.language == "pycon":
        run_python(block, names, page)
    else:
        for command in commands_of(block.text):
            run_command(command, folder)


@pytest.fixture(scope="session")
def finished(tmp_path_factory):
    """A copy of the workflow with the demo run in it, as a user has it after the first command of the README."""
    folder = tmp_path_factory.mktemp("finished")
    for name in NEEDED:
        (folder / name).parent.mkdir(exist_ok=True)
        copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy2
        copy(ROOT / name, folder / name)
    run_command(Command("snakemake --cores 2", "...", 0), folder)
    return folder


@pytest.fixture
def folder(finished, tmp_path, monkeypatch):
    """The same for one page, times and all, so that Snakemake knows what is made; the working folder."""
    place = tmp_path / "yardband"
    shutil.copytree(finished, place)
    monkeypatch.chdir(place)
    monkeypatch.setenv("PATH", command_line(place)["PATH"])  # what a page's Python calls `yardband` is this one
    return place


@pytest.mark.bench
@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_the_sessions_of_a_page_run_as_printed(page, folder):
    run_page(page, folder)


# --- notebooks ------------------------------------------------------------------------------------------------------


def run_notebook(path, folder):
    """Run a notebook in a folder and give what it printed and its number of pictures."""
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=LONGEST_S, resources={"metadata": {"path": str(folder)}}).execute()
    outputs = [output for cell in notebook.cells for output in cell.get("outputs", [])]
    assert [output.text for output in outputs if output.get("name") == "stderr"] == []
    printed = "".join(output.text for output in outputs if output.output_type == "stream")
    return printed, sum("image/png" in output.get("data", {}) for output in outputs)


@pytest.fixture
def kernel(folder, tmp_path, monkeypatch):
    """Let kernels be of this environment, tell all warnings, and write their own files elsewhere."""
    changes = {
        "PYTHONWARNINGS": "default",
        "JUPYTER_RUNTIME_DIR": str(tmp_path / "runtime"),
        "IPYTHONDIR": str(tmp_path),
    }
    for name, value in (command_line(folder) | changes).items():
        monkeypatch.setenv(name, value)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_is_committed_without_outputs(path):
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert code
    assert [cell.id for cell in code if cell.outputs or cell.execution_count is not None] == []


@pytest.mark.bench
@pytest.mark.usefixtures("kernel")
def test_the_question_is_answered_as_its_notebook_says(folder):
    printed, pictures = run_notebook(ROOT / "docs/research/question.ipynb", folder)
    assert pictures == 1
    interval = r"(-?[\d.]+) yd (?:more lost by launch )?\((-?[\d.]+) to (-?[\d.]+)\)\."
    more, low, high = map(float, re.search(rf"A degree steeper goes with {interval}", printed).groups())
    assert 0 < low < more < high
    rest, low, high = map(float, re.search(rf"A degree steeper falls short by {interval}", printed).groups())
    assert low < 0 < high
    assert abs(rest) < 0.1
    at = {float(deg): float(yards) for deg, yards in re.findall(r"At (-?\d) deg and 95 mph: (-?\d+) yd", printed)}
    assert at[2] <= 1
    flagged = pl.read_csv(folder / "results/twin-valleys/golfers/golfers.csv").filter("flagged")
    assert at[-3] == pytest.approx(flagged["lost_yd"].median(), abs=3)


# --- the runner itself ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("printed", "expected"),
    [
        ("a\nb\n", "a\nb"),
        ("a  \n", "a"),
        ("a\nb\nc\n", "a\n...\nc"),
        ("a\nc\n", "a\n...\nc"),
        ("took 3.2 s\n", "took ... s"),
        ("", ""),
        ("", "..."),
    ],
)
def test_what_is_printed_may_be_left_out(printed, expected):
    assert is_like(printed, expected)


@pytest.mark.parametrize(
    ("printed", "expected"),
    [
        ("a\nb\n", "a"),
        ("a\n", "a\nb"),
        ("a.b\n", "axb"),
        ("a\nb\n", "a..."),
        ("took 3.2 m\n", "took ... s"),
        ("a\n", ""),
    ],
)
def test_another_output_is_found(printed, expected):
    assert not is_like(printed, expected)


def test_commands_are_split_with_what_they_print():
    assert commands_of("$ one \\\n  two\nsaid\n$ false\n[exit 1]\n$ last\n") == [
        Command("one \\\n  two", "said", 0),
        Command("false", "", 1),
        Command("last", "", 0),
    ]


PAGE = """Words.

```sh
not run
```

<!-- file: kept/number.txt -->
```text
7
```

```pycon
>>> from pathlib import Path
>>> number = int(Path("kept/number.txt").read_text())
```

```console
$ cat kept/number.txt; ls missing
{said}
ls: ...
[exit 2]
```

```pycon
>>> number
{number}
```
"""


@pytest.mark.parametrize(("said", "number", "is_right"), [(7, 7, True), (8, 7, False), (7, 8, False)])
def test_blocks_run_in_order_and_share_names(said, number, is_right, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "page.md").write_text(PAGE.format(said=said, number=number), encoding="utf-8")
    if is_right:
        run_page(tmp_path / "page.md", tmp_path)
    else:
        with pytest.raises(AssertionError, match=r"[Ee]xpected"):
            run_page(tmp_path / "page.md", tmp_path)


@pytest.mark.parametrize(
    ("session", "said"),
    [
        ("no block", "has no session"),
        ("```pycon\n1 + 1\n```\n", "has no `>>>`"),
        ("```console\nls\n```\n", "begins with"),
        ("```console\n$ false\n```\n", r"\[exit 1\], not 0"),
        ("```pycon\n>>> import warnings\n>>> warnings.warn('old')\n```\n", "UserWarning: old"),
    ],
)
def test_a_page_that_says_nothing_sound_fails(session, said, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "page.md").write_text(session, encoding="utf-8")
    with pytest.raises(AssertionError, match=said):
        run_page(tmp_path / "page.md", tmp_path)
