"""What two codes in turn are told by: the new log, the ratios with their targets, and the longest chain."""

from pathlib import Path

import polars as pl
from chain import chain_lines, durations_of, longest_chain
from measure import Seen, Used
from side_by_side import MORE, SCHEMA, document, prepare, ratios, rows_of

ROOT = Path(__file__).parents[2]


def test_the_rows_that_are_held_back_are_the_new_log_and_the_key_is_no_demos(tmp_path):
    more = prepare(ROOT / "data_demo", tmp_path / "study", every=4).splitlines()
    left = (tmp_path / "study/logs" / f"{MORE}.csv").read_text(encoding="utf-8").splitlines()
    header, *rows = (ROOT / "data_demo/logs" / f"{MORE}.csv").read_text(encoding="utf-8").splitlines()
    assert left[0] == more[0] == header
    assert [*left[1:], *more[1:]] == rows[::4]
    assert 0.05 < len(more) / len(left) < 0.2
    key = (tmp_path / "study/private/pseudonym.key").read_text(encoding="utf-8")
    assert key != (ROOT / "data_demo/private/pseudonym.key").read_text(encoding="utf-8")


def used(wall_s, cpu_s):
    return Used(0, wall_s, cpu_s, 100.0, 90.0, [Seen("bash", 0.0, 1.0), Seen("fit_model", 0.0, 1.0)])


def test_each_pair_has_its_ratio_and_a_missed_target_is_told():
    rows = []
    for pair, (before, now) in enumerate([(10.0, 5.0), (30.0, 10.0), (8.0, 4.0)]):
        rows += rows_of({"first run": [used(before, 6.0)]}, "before", pair)
        rows += rows_of({"first run": [used(now, 2.0)]}, "now", pair)
    table = pl.DataFrame(rows, schema=SCHEMA)
    (row,) = ratios(table).iter_rows(named=True)
    assert (row["wall_s"], row["wall_s_now"], row["wall_s_times"], row["cpu_s_times"]) == (10, 5, 2, 3)
    assert (row["processes"], row["processes_now"], row["pairs"]) == (1, 1, 3)  # a shell is no process of ours
    machine = {"cores": 2, "processor": "one", "load_before": 0.1}
    text = document(table, "4e30e6e", machine, ["## Chain"])
    line = "| first run | 3 | 10.00 | 5.00 | 2.0 (**MISSED**: at least 2.5) | 6.00 | 2.00 | 3.0 (met: at least 2) |"
    assert line in text
    assert text.endswith("## Chain\n")


def test_the_longest_chain_is_found_by_time_not_by_steps(tmp_path):
    logs = tmp_path / "logs/hill"
    (logs / "collect_logs").mkdir(parents=True)
    times = {"collect_logs/a": 1, "collect_logs/b": 3, "load_shots": 1, "fit": 9, "one": 2, "two": 2, "page": 1}
    for name, seconds in times.items():
        (logs / f"{name}.tsv").write_text(f"s\th:m:s\n{seconds}\t-\n", encoding="utf-8")
    spent = durations_of(tmp_path)
    assert spent["collect_logs"] == 3
    edges = [("collect_logs", "load_shots"), ("load_shots", "fit"), ("load_shots", "one"), ("one", "two")]
    edges += [("two", "page"), ("fit", "page"), ("page", "all")]
    chain = longest_chain(spent, edges)
    assert chain == ["collect_logs", "load_shots", "fit", "page"]
    assert "The longest chain takes 14.0 s, all steps one after the other 18.0 s." in chain_lines(chain, spent)
