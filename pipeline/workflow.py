"""What the workflow's rules share: the study, how a step is called, and the code that it runs (an edge module)."""

import csv
import hashlib
import json
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from difflib import get_close_matches
from functools import cache
from importlib.machinery import SourceFileLoader
from math import ceil
from modulefinder import ModuleFinder
from pathlib import Path
from shlex import quote
from types import CodeType
from typing import Any

from pipeline.configuration.study import folder_name
from pipeline.edge.files import write_json
from pipeline.errors import UserError
from pipeline.handover import SECOND
from pipeline.run_step import module_of

PACKAGE = Path(__file__).parent
BESIDE = ("templates/*", "vendor/*", "*.toml")  # what modules read that lies beside them, texts among it
CONFIG = ("study", "model", "trial", "parts")  # what --config may name
DIGESTS = Path(".snakemake/yardband/code.json")  # of steps' code, below the working folder
MEASURED = PACKAGE.parent / "docs" / "evidence" / "speed" / "steps.csv"  # by the speed study

# Logs of a study that gains by threads, all together: about 100,000 drives, of a hundred bytes each as text. Fewer are
# a single piece (`pipeline.edge.drives_file`), and two threads take turns at the rest. A large fit has two processes,
# each with half of the pieces (`pipeline.fit.sum_fit`). The other steps gain less, and leave the second core to one
# another, but for `standardise_shots` and `build_bands`, half of whose grids and draws go to a second process.
LARGE_BYTES = 10_000_000

# Logs of one part of a study's golfers: with more, steps that grow with golfers are cut into a job for each part. It is
# about 25 million drives, whose part takes some 3.7 GB by docs/evidence/parts: less than profiles/slurm asks for.
PART_BYTES = 2_000_000_000
MOST_PARTS = 1000

# Of a drive in the speed study's logs, whose steps' memory and time are known. Logs with more columns have more bytes a
# drive, so their steps ask for more than they need.
DRIVE_BYTES = 80
# Steps that share their work out with a second process, and how the speed study lists that.
IN_TWO = ("standardise_shots", "fit_model", "build_bands")
BY_LOG = ("collect_logs", "collect_swings")  # a job for a log or a few: a study with more logs has more jobs instead

# Paths and settings reach a step as two JSON objects. Snakemake compares settings and code with those of the last run,
# so a changed one reruns what depends on it; it does not compare paths given by a function of input and output, for
# which it has the files themselves.
CALL = (
    "YARDBAND_LOG={{log:q}} YARDBAND_THREADS={{threads}} {python} -m pipeline.step {{params.step}}"
    " {{params.files:q}} {{params.settings:q}}"
)


def step_command(in_environment: bool) -> str:
    """Give the shell command of a rule that runs a step.

    Parameters
    ----------
    in_environment : bool
        Whether Snakemake makes an environment for each rule (`--sdm`): then its Python runs the step, with this code.
        Else the Python that Snakemake runs in does.
    """
    root = str(PACKAGE.parent).replace("{", "{{").replace("}", "}}")
    return CALL.format(python=f"PYTHONPATH={quote(root)} python" if in_environment else sys.executable)


def check_config(given: Mapping[str, Any]) -> None:
    """Refuse what --config may not name, and a trial that can't have a folder.

    Raises
    ------
    UserError
        With the nearest key that there is.
    """
    for name in given:
        if name not in CONFIG:
            near = get_close_matches(str(name), CONFIG, n=1)
            hint = f"did you mean {near[0]}?" if near else f"it takes {', '.join(CONFIG[:-1])} and {CONFIG[-1]}."
            raise UserError(f"--config {name}=...: there is no such key; {hint}")
    if "model" in given and "trial" in given:
        raise UserError("--config model=... trial=...: a trial makes a fit of its own; leave one of the two out.")
    parts = given.get("parts", 1)
    if not isinstance(parts, int) or isinstance(parts, bool) or not 1 <= parts <= MOST_PARTS:
        raise UserError(f"--config parts={parts}: isn't a number of parts; give a whole number from 1 to {MOST_PARTS}.")
    if "trial" in given:
        if not isinstance(given["trial"], str):
            raise UserError(f"--config trial={given['trial']}: isn't read as text; begin the name with a letter.")
        try:
            folder_name(given["trial"])
        except ValueError as error:
            raise UserError(f"--config trial: {error}.") from None


def folder_of(study: str, given: Mapping[str, Any]) -> str:
    """Give a run's folder below results/ and logs/: the study's own, or one in it for a look or a trial.

    Parameters
    ----------
    study : str
        The study's name.
    given : mapping
        What --config names; see `check_config`.
    """
    if "model" in given:
        return f"{study}/by-model/{given['model']}"
    return f"{study}/trials/{given['trial']}" if "trial" in given else study


def step(name: str, **settings: Any) -> dict[str, Any]:
    """Give the params of a rule that runs a step.

    Parameters
    ----------
    name : str
        The step's and the rule's name.
    **settings
        Keywords of the step's `run` besides its paths. A function is called with the wildcards when the rule is due.
    """

    # A function, since Snakemake would take a text with braces for wildcards.
    def text(wildcards: Any) -> str:
        known = {key: value(wildcards) if callable(value) else value for key, value in settings.items()}
        return json.dumps(known, sort_keys=True)

    return {"step": name, "code": code_of(name), "files": paths_of, "settings": text}


def steps_of(rules: Iterable[Any]) -> list[str]:
    """Name the steps that rules run, in their order."""
    return [rule.params["step"] for rule in rules if "step" in rule.params.keys()]  # noqa: SIM118 - not a mapping


def paths_of(wildcards: Any, input: Any, output: Any) -> str:  # noqa: ARG001 - Snakemake's names
    """Give the paths of a rule's inputs and outputs as JSON."""
    paths = {**dict(input.items()), **dict(output.items())}
    return json.dumps({name: path if isinstance(path, str) else list(path) for name, path in paths.items()})


_FINDER = ModuleFinder()  # of imports in compiled code


@cache
def code_of(name: str) -> str:
    """Digest the code that a step runs: its module, all of ours that it imports, and the templates beside them.

    Comments and layout don't count. While nothing of ours has changed since the last run, its digests are taken, see
    `keep_digests`.
    """
    return _known_digests().get(name) or _digest_of_step(name)


def keep_digests(steps: Iterable[str]) -> None:
    """Write the digests of steps' code for the next run: to read all that code takes longer than most steps.

    Raises
    ------
    UserError
        If they can't be written.
    """
    digests = _known_digests() | {name: code_of(name) for name in steps}
    write_json(DIGESTS, {"state": _state(), "digests": digests})


@cache
def _known_digests() -> dict[str, str]:
    state = _state()  # before any code is read: what is changed meanwhile is another state
    try:
        found = json.loads(DIGESTS.read_text(encoding="utf-8"))
        return dict(found["digests"]) if found["state"] == state else {}
    except (OSError, ValueError, KeyError, TypeError):
        return {}


@cache
def _state() -> str:
    """Digest when and how all files of the package were last touched, which no program can set back, and Python's."""
    digest = hashlib.sha256(sys.version.encode())
    for folder, below, files in os.walk(PACKAGE):
        below[:] = sorted(set(below) - {"__pycache__"})
        for file in sorted(files):
            path = Path(folder, file)
            state = path.stat()
            mark = (str(path), state.st_size, state.st_mtime_ns, state.st_ctime_ns, state.st_ino)
            digest.update(repr(mark).encode())
    return digest.hexdigest()


def _digest_of_step(name: str) -> str:
    digest = hashlib.sha256()
    for module in sorted(modules_of(module_of(name))):
        path = _path(module)
        digest.update(module.encode())
        digest.update(_digest(path))
        for template in _beside(path.parent):
            digest.update(template)
    return digest.hexdigest()[:16]


def modules_of(module: str) -> set[str]:
    """Give a module of ours and all of ours that it imports, however far."""
    found: set[str] = set()
    left = [module]
    while left:
        one = left.pop()
        if one not in found:
            found.add(one)
            left += _imported(one)
    return found


@cache
def _imported(module: str) -> list[str]:
    if module == "pipeline.tables.registry":  # it finds the tables by their folder
        return [f"pipeline.tables.{path.stem}" for path in PACKAGE.glob("tables/*.py") if path.stem != "__init__"]
    names: set[str] = set()
    for code in _nested(_code(_path(module))):
        if any(name.startswith("pipeline.") for name in code.co_names):
            for what, found in _FINDER.scan_opcodes(code):
                if what == "absolute_import":
                    taken, of = found
                    names |= {of, *(f"{of}.{name}" for name in taken or ())}
    return sorted(filter(_is_ours, names))


@cache
def _is_ours(name: str) -> bool:
    return name.startswith("pipeline.") and _path(name).is_file()


def _path(module: str) -> Path:
    return PACKAGE.parent.joinpath(*module.split(".")).with_suffix(".py")


@cache
def _code(path: Path) -> CodeType:
    """Give a module's code as Python runs it: from `__pycache__`, which the steps read too; parsing takes 4 s."""
    code = SourceFileLoader(path.stem, str(path)).get_code(path.stem)
    assert code is not None  # there is a source
    return code


def _nested(code: CodeType) -> Iterator[CodeType]:
    yield code
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _nested(constant)


@cache
def _digest(path: Path) -> bytes:
    """Digest what a module does: its code without lines' numbers."""
    digest = hashlib.sha256()
    for code in _nested(_code(path)):
        constants = [_text(constant) for constant in code.co_consts if not isinstance(constant, CodeType)]
        words = (code.co_name, code.co_names, code.co_varnames, code.co_freevars, code.co_cellvars, constants)
        counts = (code.co_flags, code.co_argcount, code.co_posonlyargcount, code.co_kwonlyargcount)
        digest.update(repr((words, counts, code.co_code, code.co_exceptiontable)).encode())
    return digest.digest()


def _text(constant: Any) -> str:
    if isinstance(constant, tuple):
        return repr([_text(one) for one in constant])
    # A set of constants has no order of its own.
    return repr(sorted(map(repr, constant))) if isinstance(constant, frozenset) else repr(constant)


@cache
def _beside(folder: Path) -> list[bytes]:
    return [path.read_bytes() for path in sorted(file for kind in BESIDE for file in folder.glob(kind))]


def threads_for(log_bytes: Iterable[int]) -> int:
    """Give the threads of a step that shares its work out: one for a small study, whose jobs run side by side instead.

    Figures are the same with any number.

    Parameters
    ----------
    log_bytes : iterable of int
        Sizes of the study's shot logs.
    """
    return 2 if sum(log_bytes) >= LARGE_BYTES else 1


def parts_of(log_bytes: Iterable[int], given: Mapping[str, Any]) -> list[str]:
    """Name the parts that a study's golfers are cut into, such as 1-of-2: one unless its logs are very large.

    Figures are the same bytes with any number (`pipeline.edge.drives_file.Part`).

    Parameters
    ----------
    log_bytes : iterable of int
        Sizes of the study's shot logs.
    given : mapping
        What --config names: parts, where another number is wanted.
    """
    count = int(given.get("parts", max(ceil(sum(log_bytes) / PART_BYTES), 1)))
    return [f"{number}-of-{count}" for number in range(1, count + 1)]


def needs_of(log_bytes: Iterable[int]) -> Callable[[str], dict[str, int]]:
    """Give what says the memory and time that a step of a study of this size may ask a cluster for.

    Between the sizes that the speed study measured, and beyond them, needs are taken to grow in line with the drives.
    A study smaller than the smallest asks for what that took.

    Parameters
    ----------
    log_bytes : iterable of int
        Sizes of the study's shot logs.

    Returns
    -------
    callable
        From a step's name to mem_mb, half more than its processes took together, and runtime in minutes, three times
        and one more. A step that wasn't measured gets the profile's own.
    """
    drives = sum(log_bytes) / DRIVE_BYTES

    def needs(name: str) -> dict[str, int]:
        if name not in _measured():
            return {}
        longest_s, peak_mb = _taken(name, drives)
        if name in IN_TWO:
            peak_mb += _taken(SECOND, drives)[1]
        return {"mem_mb": ceil(1.5 * peak_mb / 100) * 100, "runtime": ceil(3 * longest_s / 60) + 1}

    return needs


@cache
def _measured() -> dict[str, dict[int, tuple[float, float]]]:
    """Read by step and drives what the run of that size that took most did: seconds of a job, and MB."""
    found: dict[str, dict[int, tuple[float, float]]] = {}
    with MEASURED.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            sizes, drives = found.setdefault(row["step"], {}), int(row["drives"])
            longest_s, peak_mb = sizes.get(drives, (0.0, 0.0))
            one_s = float(row["wall_s"]) / int(row["processes"])
            sizes[drives] = (max(longest_s, one_s), max(peak_mb, float(row["peak_mb"])))
    return found


def _taken(name: str, drives: float) -> tuple[float, float]:
    """Give the seconds and MB that a process takes for so many drives; nil of one that wasn't measured."""
    measured = _measured().get(name, {0: (0.0, 0.0)})
    sizes = sorted(measured)
    here = min(drives, sizes[-1]) if name in BY_LOG else drives
    longest_s, peak_mb = (_in_line(here, sizes, [measured[size][at] for size in sizes]) for at in (0, 1))
    return longest_s, peak_mb


def _in_line(drives: float, sizes: Sequence[int], taken: Sequence[float]) -> float:
    """Read a figure off the line through what was measured, which goes on beyond the largest size but never falls."""
    if drives <= sizes[0]:
        return taken[0]
    at = next((at for at, size in enumerate(sizes) if size >= drives), len(sizes) - 1)
    if at == 0:
        return taken[0]
    (before, after), (less, more) = sizes[at - 1 : at + 1], taken[at - 1 : at + 1]
    return less + max(more - less, 0.0) * (drives - before) / (after - before)
