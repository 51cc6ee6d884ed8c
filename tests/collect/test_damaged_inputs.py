"""Damaged inputs of new kinds: no traceback, no abort, no hang, and the sound log beside each is read.

The ordinary tests try a few of each kind. `pytest tests/collect/test_damaged_inputs.py -m long -s` tries 500 and, with
`--renew-golden`, writes what became of them to docs/evidence/damaged/inputs.csv.
"""

import time
from collections import Counter
from pathlib import Path

import damaged_inputs as damage
import pytest

EVIDENCE = Path(__file__).parents[2] / "docs" / "evidence" / "damaged" / "inputs.csv"
FEW = {kind: range(9 if kind in ("text logs", "workbooks", "parquet files", "layouts") else 8) for kind in damage.KINDS}


@pytest.mark.parametrize(("kind", "number"), [(kind, number) for kind, numbers in FEW.items() for number in numbers])
def test_a_damaged_input_is_read_or_told(tmp_path, kind, number):
    damage.try_one(kind, number, tmp_path / "hill")


def test_a_draw_is_the_same_on_every_run(tmp_path):
    for kind in damage.KINDS:
        one, two = (damage.draw(kind, 3, tmp_path / kind / again) for again in ("1", "2"))
        assert one == two


@pytest.mark.parametrize(
    ("found", "wrong"),
    [
        (damage.Outcome(1, "", "x.", ""), "status 1"),
        (damage.Outcome(2, "", "x.", "thread panicked"), "a traceback, a panic or a fault of its own"),
        (damage.Outcome(2, "", "Traceback x.", ""), "a traceback, a panic or a fault of its own"),
        (damage.Outcome(2, "", "", ""), "a status that doesn't fit what was told"),
        (damage.Outcome(2, "", "no end", ""), "no sentence: no end"),
        (damage.Outcome(2, "Ann Oak", "x.", ""), "a golfer's name"),
        (damage.Outcome(0, "b: 3 rows read, 1 accepted, 1 rejected.", "", ""), "rows that don't add up"),
        (damage.Outcome(0, "logs/b.csv: 0 rows read", "", ""), "the sound log isn't read"),
    ],
)
def test_what_is_wrong_with_a_check_is_seen(found, wrong):
    assert wrong in damage.faults(found, damage.Damage("", neighbour="sound" in wrong))


def test_a_check_that_hangs_is_seen():
    with pytest.raises(damage.Late):
        wait()


def wait():
    with damage.in_time(1):
        time.sleep(60)


@pytest.mark.long
def test_500_damaged_inputs_are_read_or_told(tmp_path, request):
    counts: Counter[tuple[str, str, str]] = Counter()
    faults = []
    for kind, share in damage.SHARES.items():
        for number in range(share):
            try:
                what, found = damage.try_one(kind, number, tmp_path / f"{kind}-{number}")
            except AssertionError as fault:
                faults.append(str(fault))
                print(fault, flush=True)
            else:
                counts[kind, what.what, "read" if found.status == 0 else "told"] += 1
    assert faults == []
    assert sum(counts.values()) == 500

    lines = [f"{kind},{what},{counts[kind, what, 'read']},{counts[kind, what, 'told']}" for kind, what in pairs(counts)]
    text = "\n".join(["kind,what,read,told", *lines]) + "\n"
    if request.config.getoption("--renew-golden", default=False):
        EVIDENCE.parent.mkdir(parents=True, exist_ok=True)
        EVIDENCE.write_text(text, encoding="utf-8")
    assert EVIDENCE.read_text(encoding="utf-8") == text


def pairs(counts):
    return sorted({(kind, what) for kind, what, _ in counts})
