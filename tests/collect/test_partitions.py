import json

import pytest

from pipeline.collect.partitions import LARGE_BYTES, MOST_TEXT, TOGETHER_BYTES, describe, described, partitions
from pipeline.configuration.layouts import STANDARD_LAYOUT, Layout, LogFile
from pipeline.configuration.study import LogAir, LogEntry

OTHER = Layout.model_validate({"delimiter": ";", "columns": {"golfer": {"from": "Name"}, "spin_rpm": {"from": "S"}}})


def log(source, layout=STANDARD_LAYOUT, **entry):
    entry.setdefault("layout", None if layout is STANDARD_LAYOUT else "other.yaml")
    return LogFile(source=source, entry=LogEntry(files="logs/*.csv", **entry), layout=layout)


def small(count):
    return [log(f"logs/day_{number:04d}.csv") for number in range(count)]


def sizes(logs, each):
    return {one.source: each for one in logs}


def test_every_log_is_in_one_partition_and_large_ones_are_alone():
    logs = small(500)
    found = partitions(logs, sizes(logs, 2000) | {"logs/day_0007.csv": LARGE_BYTES})

    assert sorted(one.source for part in found.values() for one in part) == [one.source for one in logs]
    assert found["logs/day_0007.csv"] == [logs[7]]
    assert all(name.startswith("small/") for name in found if name != "logs/day_0007.csv")


def test_small_logs_are_shared_out_by_size_and_number():
    few, many = small(20), small(900)

    assert len(partitions(few, sizes(few, 1000))) == 1
    assert len(partitions(few, sizes(few, 2 * TOGETHER_BYTES // 20 + 1))) == 4
    assert len(partitions(many, sizes(many, 100))) == 8


def test_one_more_log_changes_its_own_partition_alone():
    logs = small(400)
    before = partitions(logs, sizes(logs, 1000))
    more = [*logs, log("logs/new.csv")]
    after = partitions(more, sizes(more, 1000))

    assert set(before) == set(after)
    assert [name for name in before if before[name] != after[name]] == [
        name for name, part in after.items() if more[-1] in part
    ]


def test_a_partitions_description_is_read_back_whole():
    logs = [
        log("a.csv"), log("b.csv", OTHER, device="unit-B"), log("c.csv", OTHER), log("d.csv", air=LogAir(temp_c=9)),
    ]  # fmt: skip
    plain = [one.model_copy(update={"group": "plain"}) for one in logs]

    assert described(json.loads(json.dumps(describe(logs)))) == logs
    assert described(json.loads(json.dumps(describe(plain)))) == plain

    mapped = Layout.model_validate(
        {"columns": {"golfer": {"from": "Name"}, "tee_mm": {"from": "Tee"}}}, context={"regressors": ("tee_mm",)}
    )
    further = [LogFile.of(one.source, one.entry, mapped, regressors=("tee_mm", "bay_no")) for one in logs[1:3]]
    assert described(json.loads(json.dumps(describe(further)))) == further


@pytest.mark.parametrize("count", [60, 120])
def test_a_description_fits_into_one_argument(count):
    # Every log with a layout of its own, which no partition could name otherwise.
    layouts = [OTHER.model_copy(update={"encoding": "utf-8", "skip_rows": n}) for n in range(count)]
    wide = [log(f"{n:03d}{'x' * 1500}.csv", one) for n, one in enumerate(layouts)]
    found = partitions(wide, sizes(wide, 100))

    assert all(len(json.dumps(describe(part))) <= MOST_TEXT for part in found.values())
    assert len(found) > 1
