"""CI sees to what the tests need, or says what is missing; a test that is skipped there fails."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
README = "<!-- test command -->\n```sh\necho the tests ran with CI=$CI\n```\n"
RAN = "the tests ran with CI=true"
REAL = ("awk", "bash", "chmod", "dirname", "env", "mkdir", "mktemp", "rmdir", "timeout")
FAILS = "exit 1"

# --- .ci/run ------------------------------------------------------------------------------------------------------


class Machine:
    """A clone on a machine whose commands are stubs: all that the tests need is there, and everything succeeds."""

    def __init__(self, folder):
        self.folder, self.commands = folder, folder / "commands"
        self.commands.mkdir()
        (folder / ".ci").mkdir()
        shutil.copy(ROOT / ".ci/run", folder / ".ci/run")
        (folder / "README.md").write_text(README, encoding="utf-8")
        for name in REAL:
            (self.commands / name).symlink_to(shutil.which(name))
        self.has(id="echo 0", mount="", umount="", chromium="")
        # Makes an environment in which Playwright can install its browser.
        self.has(python3='[ "$2" != venv ] || { mkdir -p .venv/bin; for c in pip playwright; do '
                 'echo "echo $c \\$* >> log" > .venv/bin/$c; chmod +x .venv/bin/$c; done; }')  # fmt: skip

    def has(self, **scripts):
        """Put commands on the machine; what they are called with goes into a log."""
        for name, script in scripts.items():
            stub = self.commands / name
            stub.write_text(f'#!/usr/bin/env bash\necho {name} "$@" >> log\n{script}\n', encoding="utf-8")
            stub.chmod(0o755)

    def lacks(self, *names):
        for name in names:
            (self.commands / name).unlink()

    def run(self):
        return subprocess.run(
            [str(self.commands / "bash"), ".ci/run"],
            cwd=self.folder, env={"PATH": str(self.commands), "TMPDIR": str(self.folder)},
            capture_output=True, text=True, check=False,
        )  # fmt: skip

    @property
    def log(self):
        return (self.folder / "log").read_text(encoding="utf-8")


@pytest.fixture
def machine(tmp_path):
    return Machine(tmp_path)


def apt_get(machine):
    """Give a script that installs Chromium."""
    return f'[ "$1" = update ] || {{ echo > "{machine.commands}/chromium"; chmod +x "{machine.commands}/chromium"; }}'


def test_where_all_is_there_nothing_is_installed(machine):
    machine.has(**{"apt-get": FAILS})
    done = machine.run()
    assert (done.returncode, done.stdout.splitlines()[-1], done.stderr) == (0, RAN, "")
    assert "apt-get" not in machine.log
    assert "venv" not in machine.log
    assert "python3 docs/make/evidence_made.py\n" in machine.log


def test_a_browser_is_installed_by_apt_get(machine):
    machine.lacks("chromium")
    machine.has(**{"apt-get": apt_get(machine)})
    done = machine.run()
    assert (done.returncode, done.stdout.splitlines()[-1], done.stderr) == (0, RAN, "")
    assert "venv" not in machine.log


@pytest.mark.parametrize("apt", [{}, {"apt-get": FAILS}, {"apt-get": ""}, {"apt-get": "exit 0", "id": "echo 1000"}])
def test_else_by_playwright(machine, apt):
    machine.lacks("chromium")
    machine.has(**apt)
    done = machine.run()
    assert (done.returncode, done.stdout.splitlines()[-1]) == (0, RAN)
    assert "pip install -q playwright\nplaywright install chromium\n" in machine.log
    assert ("apt-get" in machine.log) == ("apt-get" in apt and "id" not in apt)


def test_a_browser_that_cannot_be_had_is_named(machine):
    machine.lacks("chromium")
    machine.has(**{"apt-get": FAILS, "python3": '[ "$2" != venv ]'})
    done = machine.run()
    assert done.returncode == 1
    assert ".ci/run: Chromium is missing, and neither apt-get nor Playwright could install it." in done.stderr
    assert RAN not in done.stdout


def test_whoever_may_not_mount_runs_the_tests_in_a_namespace(machine):
    machine.has(mount='[ -n "${ROOT_HERE:-}" ]', unshare='shift 2; ROOT_HERE=1 "$@"')
    done = machine.run()
    assert (done.returncode, done.stdout.splitlines()[-1]) == (0, RAN)
    assert "unshare --map-root-user --mount bash -euo pipefail -c echo the tests ran" in machine.log


@pytest.mark.parametrize("unshare", [{}, {"unshare": FAILS}])
def test_a_machine_that_lets_nobody_mount_is_named(machine, unshare):
    machine.has(mount=FAILS, **unshare)
    done = machine.run()
    assert done.returncode == 1
    assert ".ci/run: mounting isn't allowed here, and the tests of full disks can't run without it." in done.stderr
    assert RAN not in done.stdout


def test_a_python_without_venv_is_named(machine):
    machine.has(**{"python3": FAILS, "apt-get": FAILS})
    done = machine.run()
    assert done.returncode == 1
    assert ".ci/run: Python's venv is missing and couldn't be installed." in done.stderr
    assert "install -y -qq" not in machine.log  # no list of packages, nothing to install


def test_tests_that_fail_make_it_fail(machine):
    (machine.folder / "README.md").write_text(README.replace("echo", "false &&"), encoding="utf-8")
    assert machine.run().returncode == 1


# --- skips ----------------------------------------------------------------------------------------------------------

SKIPS = """
import pytest
@pytest.fixture
def browser():
    pytest.skip("no browser here")
def test_by_a_fixture(browser): pass
def test_by_itself(): pytest.skip("no mood")
@pytest.mark.skip(reason="marked so")
def test_by_a_mark(): pass
@pytest.mark.xfail(strict=True)
def test_that_is_expected_to_fail(): assert False
def test_that_passes(): pass
"""
SKIPPED_WHOLE = "import pytest\npytest.importorskip('no_such_library')\ndef test_never_run(): pass\n"


def run_pytest(folder, test, ci):
    (folder / "test_skips.py").write_text(test, encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-q", "-rA", "-p", "no_skips", "-p", "no:cacheprovider", "test_skips.py"]
    environment = {key: value for key, value in os.environ.items() if key != "CI"}
    environment |= {"PYTHONPATH": str(ROOT / "tests"), **({"CI": ci} if ci else {})}
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)


@pytest.mark.parametrize("ci", [None, "false"])
@pytest.mark.parametrize("test", [SKIPS, SKIPPED_WHOLE])
def test_elsewhere_a_skip_is_a_skip(tmp_path, test, ci):
    done = run_pytest(tmp_path, test, ci)
    assert "skipped" in done.stdout
    assert "With CI=true" not in done.stdout
    assert done.returncode in (0, 5)  # 5: no test was run


def test_in_ci_a_skipped_test_fails_with_its_reason(tmp_path):
    done = run_pytest(tmp_path, SKIPS, "true")
    assert done.returncode == 1
    # A skip by a fixture or a mark comes in the setup, where pytest calls a failure an error.
    assert done.stdout.splitlines()[-1].startswith("1 failed, 1 passed, 1 xfailed, 2 errors in ")
    for reason in ("no browser here", "no mood", "marked so"):
        assert f"With CI=true a skipped test fails. Skipped: {reason}" in done.stdout


def test_in_ci_a_module_that_is_skipped_whole_fails_too(tmp_path):
    done = run_pytest(tmp_path, SKIPPED_WHOLE, "true")
    assert done.returncode == 2
    assert "With CI=true a skipped test fails. Skipped: could not import 'no_such_library'" in done.stdout


def test_the_projects_own_tests_take_the_plugin_in():
    command = [sys.executable, "-m", "pytest", "-q", "-n", "0", "-m", "long", "-p", "no:cacheprovider"]
    command += ["tests/workflow/test_slurm.py"]
    environment = {"CI": "true", "PYTHONPATH": str(ROOT), "PATH": ""}  # without PATH there is no Slurm
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "With CI=true a skipped test fails." in done.stdout


def test_ci_runs_the_tests_of_pages_too():
    script = (ROOT / ".ci/run").read_text(encoding="utf-8")
    last = script.rstrip().splitlines()[-1]
    assert last == '[ ! -x .venv/bin/pytest ] || .venv/bin/pytest -q -n 2 -m "pages or bench"'
    command = [sys.executable, "-m", "pytest", "-q", "-n", "0", "--collect-only", "-p", "no:cacheprovider"]
    environment = {"PYTHONPATH": str(ROOT), "PATH": ""}
    for marked, is_there in (((), False), (("-m", "pages"), True)):
        done = subprocess.run(
            [*command, *marked, "tests/report/test_golfer_view.py"],
            cwd=ROOT,
            env=environment,
            capture_output=True,
            text=True,
        )
        assert ("test_parts_add_up_as_shown" in done.stdout) == is_there
