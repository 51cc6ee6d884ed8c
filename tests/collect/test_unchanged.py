"""Small logs that haven't changed are taken from the last run, and nobody can tell by the results."""

import os
from datetime import date

import pytest
from collect_samples import HEADER, ROW, changed, csv_text, key_file, written

from pipeline.collect import clean_log, collect_logs
from pipeline.collect.key import SECRET_MARK
from pipeline.collect.partitions import describe
from pipeline.configuration.layouts import STANDARD_LAYOUT, LogFile
from pipeline.configuration.study import LogEntry

OUTPUTS = ("shots", "rejects", "receipts", "names", "known")
WITH_DEVICE, WITH_TEMPO = f"{HEADER},device", f"{HEADER},tempo"


def many(golfer, count=30, **cells):
    """Give the text of a log of so many drives, which are judged by their flight, and a rejected row."""
    times = (f"2026-08-03T10:00:{second:02d}" for second in range(count))
    rows = (changed(golfer=golfer, struck_at=time, **cells) for time in times)
    return csv_text(*rows, changed(golfer=golfer, carry_yd="x"))


@pytest.fixture
def study(tmp_path, monkeypatch, capsys):
    """A folder of logs, and what collects them with what the last run left, or from nothing.

    Gives the bytes of all outputs and the logs that were read.
    """
    read = []
    inner = collect_logs.open_unchanged

    def seen(log, layout):
        read.append(log.name)
        return inner(log, layout)

    monkeypatch.setattr(collect_logs, "open_unchanged", seen)

    class Study:
        folder = tmp_path

        def write(self, **texts):
            for name, text in texts.items():
                written(tmp_path / f"{name}.csv", text)

        def collect(self, out="kept", code="of some code", further=(), **entry):
            names = (*OUTPUTS, "readings") if further else OUTPUTS
            paths = {name: tmp_path / out / f"{name}.out" for name in names}
            logs = [
                LogFile.of(path.name, LogEntry(files="*", **entry), STANDARD_LAYOUT, regressors=further)
                for path in sorted(tmp_path.glob("*.csv"))
            ]
            read.clear()
            collect_logs.run(
                key=str(key_file(tmp_path)),
                study="hill-school",
                folder=str(tmp_path),
                partition=describe(logs),
                code=code,
                **{name: str(path) for name, path in paths.items()},
            )
            self.told = capsys.readouterr().out
            return {name: path.read_bytes() for name, path in paths.items()}, list(read)

        def check(self, *expected, **how):
            """Collect twice, with the last run's and from nothing; only these logs are read, the bytes are the same."""
            found, names = self.collect(**how)
            told = self.told
            assert names == [f"{name}.csv" for name in expected]
            fresh, every = self.collect(out=f"fresh-{os.urandom(4).hex()}", **how)
            assert len(every) == len(list(tmp_path.glob("*.csv")))
            assert [name for name in found if found[name] != fresh[name]] == []
            first, *same = told.splitlines() if len(names) < len(every) else ["", *told.splitlines()]
            assert same == self.told.splitlines()
            return first

    study = Study()
    study.write(
        a=many("Ann Oak"),
        b=many("Bo Elm", carry_yd="206"),
        c=csv_text(*(changed(golfer="Cy Ash", spin_rpm=f"24{n}0") for n in range(9))),
        d=many("Dee Fir", count=25, carry_yd="231"),
    )  # fmt: skip
    study.collect()
    return study


def test_an_added_a_changed_and_a_removed_log(study):
    study.write(aa=many("Eve Yew", carry_yd="219"), b=many("Bo Elm", carry_yd="207"))
    (study.folder / "d.csv").unlink()

    assert study.check("aa", "b") == "Read 2 of 4 logs; the others haven't changed."
    assert study.check() == "Read 0 of 4 logs; the others haven't changed."


def test_logs_that_exchange_their_contents(study):
    one, other = (study.folder / name for name in ("a.csv", "b.csv"))
    text = one.read_text()
    study.write(a=other.read_text(), b=text)
    study.check("a", "b")


def test_a_change_that_neither_size_nor_time_tells(study):
    log = study.folder / "a.csv"
    before = log.stat()
    log.write_text(log.read_text().replace("225", "226"))
    os.utime(log, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert log.stat().st_size == before.st_size
    study.check("a")


def test_names_that_come_and_go_with_another_log(study):
    study.write(a=csv_text(f"{ROW},bay of Yew", f"{ROW},unit-A", header=WITH_DEVICE))
    study.check("a")

    study.write(e=csv_text(changed(golfer="Eve Yew")))
    study.check("e")
    assert "cells withheld, as they hold a golfer's name: 1 in device" in study.told

    study.check("a")  # what it says in full isn't kept

    (study.folder / "e.csv").unlink()
    study.check("a")
    assert "withheld" not in study.told
    study.check()


def test_a_new_log_that_names_a_golfer_of_one_that_is_kept(study):
    study.write(e=csv_text(f"{changed(golfer='Eve Yew')},Elm's", header=WITH_DEVICE))
    study.check("e")
    assert "cells withheld, as they hold a golfer's name: 1 in device" in study.told


def test_refused_logs_and_those_without_rows_are_read_again(study):
    study.write(e="", f=csv_text(), g=csv_text(ROW, header="a,b"))
    study.check("e", "f", "g")
    study.check("e", "f", "g")
    study.write(e=many("Eve Yew"))
    study.check("e", "f", "g")
    study.check("f", "g")


def test_shots_in_the_future_are_judged_again_each_day(study, monkeypatch):
    study.write(e=csv_text(ROW, changed(struck_at="2030-01-02T10:00:00")))
    study.check("e")
    study.check("e")
    monkeypatch.setattr(clean_log, "latest_day", lambda _: date(2030, 1, 3))
    monkeypatch.setattr(collect_logs, "latest_day", lambda _: date(2030, 1, 3))
    study.check("e")
    study.check()
    monkeypatch.setattr(clean_log, "latest_day", lambda _: date(2026, 8, 1))  # the clock is set back
    monkeypatch.setattr(collect_logs, "latest_day", lambda _: date(2026, 8, 1))
    study.check("a", "b", "c", "d", "e")


ALL = ("a", "b", "c", "d")


def test_another_key_another_setting_or_other_code_reads_all(study):
    study.check(*ALL, site="north")
    study.check(*ALL, site="north", code="of other code")
    study.check(site="north", code="of other code")
    study.check(*ALL, code="")
    study.check(*ALL, code="")

    key = key_file(study.folder)
    study.collect()
    key.write_text(f"{SECRET_MARK}\n{'1e' * 32}\n", encoding="utf-8")
    study.check(*ALL)


@pytest.mark.parametrize(
    "damage", [lambda _: b"", lambda old: old[: len(old) // 2], lambda old: old[:900] + b"?" + old[901:]]
)
def test_what_is_torn_is_read_again(study, damage):
    known = study.folder / "kept/known.out"
    known.write_bytes(damage(known.read_bytes()))
    study.check(*ALL)


def test_numbers_of_further_columns_lie_in_no_second_place(study):
    study.write(e=csv_text(f"{ROW},0.75", header=WITH_TEMPO))
    for _ in range(2):
        study.check(*ALL, "e", further=("tempo",))
    study.check(*ALL, "e")
    study.check()


def test_a_log_alone_keeps_nothing(study):
    for name in "bcd":
        (study.folder / f"{name}.csv").unlink()
    study.check("a")
    study.check("a")
