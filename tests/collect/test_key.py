import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from collect_samples import KEY_HEX

from pipeline.cli import cli
from pipeline.collect.key import (
    DEMO_MARK,
    SECRET_MARK,
    make_key,
    others_can_read,
    read_key,
    refuse_other_logs,
    rotate_key,
)
from pipeline.collect.read import sha256_of
from pipeline.configuration.study import DEMO_STUDY
from pipeline.errors import UserError

DEMO_KEY = Path(__file__).parents[2] / "data_demo" / "private" / "pseudonym.key"


def key_at(path, text, mode=0o600):
    path.write_bytes(text.encode())
    path.chmod(mode)
    return path


def test_secret_key_is_read(tmp_path):
    path = key_at(tmp_path / "k", f"{SECRET_MARK}\n{KEY_HEX}\n")

    assert read_key(path, "hill-school") == bytes.fromhex(KEY_HEX)


def test_missing_key_tells_how_to_make_one(tmp_path):
    with pytest.raises(UserError, match=r"k: there is no key file; make one with: yardband key STUDY$"):
        read_key(tmp_path / "k", "hill-school")


@pytest.mark.parametrize(
    "text",
    ["", KEY_HEX, f"# some mark\n{KEY_HEX}\n", f"{SECRET_MARK}\n{KEY_HEX[1:]}\n", f"{SECRET_MARK}\n{KEY_HEX}\nmore\n",
     f"{SECRET_MARK}\n{'g' * 64}\n"],
)  # fmt: skip
def test_malformed_key_is_refused_without_showing_it(tmp_path, text):
    path = key_at(tmp_path / "k", text)

    with pytest.raises(UserError, match="this isn't a key file; it needs a marking line") as caught:
        read_key(path, "hill-school")
    assert KEY_HEX[1:] not in str(caught.value)


def test_demo_key_serves_the_demo_alone():
    assert DEMO_KEY.read_text(encoding="utf-8").startswith(DEMO_MARK + "\n")
    assert len(read_key(DEMO_KEY, DEMO_STUDY)) == 32
    with pytest.raises(UserError, match="this is the public demo key and the study 'hill-school' is not the demo"):
        read_key(DEMO_KEY, "hill-school")


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660, 0o700 | 0o001])
def test_secret_key_that_others_can_reach_is_refused(tmp_path, mode):
    path = key_at(tmp_path / "k", f"{SECRET_MARK}\n{KEY_HEX}\n", mode)

    with pytest.raises(UserError, match=re.escape(f"fix it with: chmod 600 {path}")):
        read_key(path, "hill-school")


def test_made_key_is_new_private_and_usable(tmp_path):
    one, two = tmp_path / "a" / "b" / "k", tmp_path / "k"

    make_key(one)
    make_key(two)

    assert one.stat().st_mode & 0o777 == 0o600
    assert read_key(one, "hill-school") != read_key(two, "hill-school")


def test_made_key_never_replaces_one(tmp_path):
    path = key_at(tmp_path / "k", "precious")

    with pytest.raises(UserError, match="there is already a key, and it stays"):
        make_key(path)
    assert path.read_text(encoding="utf-8") == "precious"


def test_no_key_is_made_inside_results(tmp_path):
    with pytest.raises(UserError, match="the key would lie inside a results folder"):
        make_key(tmp_path / "results" / "x" / "k")
    assert not (tmp_path / "results").exists()


def test_rotated_key_is_new_and_the_old_one_stays_beside_it(tmp_path):
    path = key_at(tmp_path / "k", f"{SECRET_MARK}\n{KEY_HEX}\n")

    first = rotate_key(path, "hill-school")
    between = read_key(path, "hill-school")
    second = rotate_key(path, "hill-school")

    assert [first.name, second.name] == ["k.old-1", "k.old-2"]
    assert read_key(first, "hill-school") == bytes.fromhex(KEY_HEX)
    assert read_key(second, "hill-school") == between
    assert len({first.read_bytes(), second.read_bytes(), path.read_bytes()}) == 3
    assert {p.stat().st_mode & 0o777 for p in tmp_path.iterdir()} == {0o600}
    assert sorted(p.name for p in tmp_path.iterdir()) == ["k", "k.old-1", "k.old-2"]


def test_rotating_needs_a_sound_secret_key(tmp_path):
    demo = key_at(tmp_path / "demo", DEMO_KEY.read_text(encoding="utf-8"))
    open_to_all = key_at(tmp_path / "open", f"{SECRET_MARK}\n{KEY_HEX}\n", 0o644)

    with pytest.raises(UserError, match="there is no key file; make one with"):
        rotate_key(tmp_path / "none", "hill-school")
    with pytest.raises(UserError, match="the demo's key is public and stays"):
        rotate_key(demo, DEMO_STUDY)
    with pytest.raises(UserError, match="people other than its owner can read the key"):
        rotate_key(open_to_all, "hill-school")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["demo", "open"]


def test_a_key_that_cannot_be_put_in_place_leaves_the_old_one(tmp_path, monkeypatch):
    path = key_at(tmp_path / "k", f"{SECRET_MARK}\n{KEY_HEX}\n")

    def refuse(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(UserError, match=r"the key can't be written \(No space left on device\)"):
        rotate_key(path, "hill-school")
    assert read_key(path, "hill-school") == bytes.fromhex(KEY_HEX)
    assert not [p for p in tmp_path.iterdir() if ".new-" in p.name]


def test_the_demos_digits_are_no_secret_key(tmp_path):
    digits = DEMO_KEY.read_text(encoding="utf-8").split()[-1]

    for study in (DEMO_STUDY, "hill-school"):
        with pytest.raises(UserError, match="these are the digits of the public demo key, which everybody has; remove"):
            read_key(key_at(tmp_path / "k", f"{SECRET_MARK}\n{digits}\n"), study)


def test_the_demos_key_serves_the_demos_own_logs_alone(tmp_path):
    logs = sorted((DEMO_KEY.parents[1] / "logs").iterdir())
    changed = tmp_path / "x.csv"
    changed.write_bytes(logs[0].read_bytes()[:-20])

    def sums(*paths):
        return lambda: {path: sha256_of(path) for path in paths}

    refuse_other_logs(DEMO_KEY, sums(*logs))
    for other in (changed, tmp_path / "missing.csv"):
        with pytest.raises(
            UserError, match=f"this is the public demo key, and {re.escape(str(other))} is not the demo's"
        ):
            refuse_other_logs(DEMO_KEY, sums(*logs, other))
    refuse_other_logs(key_at(tmp_path / "k", f"{SECRET_MARK}\n{KEY_HEX}\n"), sums(changed))


@pytest.mark.parametrize("command", ["check", "names"])
def test_a_copy_of_the_demo_with_another_log_needs_a_key_of_its_own(tmp_path, command):
    study = tmp_path / "copy"
    shutil.copytree(DEMO_KEY.parents[1], study)
    log = study / "logs/bay_2026q1.csv"
    log.write_bytes(log.read_bytes()[:-20])

    result = CliRunner().invoke(cli, [command, str(study)])

    assert result.exit_code == 2
    assert result.stderr == (
        f"{study}/private/pseudonym.key: this is the public demo key, and {log} is not the demo's; remove the key file "
        "and make a key of your own with: yardband key STUDY\n"
    )
    assert not (study / "private/names.csv").exists()


def test_a_files_mode_says_who_can_read_it_but_on_windows():
    assert others_can_read(0o640, "posix")
    assert others_can_read(0o604, "posix")
    assert not others_can_read(0o600, "posix")
    assert not others_can_read(0o666, "nt")  # as Windows shows every file
