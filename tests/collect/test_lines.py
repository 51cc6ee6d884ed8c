import csv
import io

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.collect import lines
from pipeline.collect.lines import SPARE_CELLS, examine
from pipeline.collect.opened_log import LogRefusedError


def opened(text):
    return io.BytesIO(text.encode())


CELLS = st.text(st.sampled_from('a,;\n\r" 1'), max_size=5).map(lambda text: text.replace("\r", ""))


@settings(max_examples=80, deadline=None, derandomize=True, database=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])  # fmt: skip
@given(
    rows=st.lists(st.lists(CELLS, min_size=1, max_size=4), min_size=1, max_size=8),
    line_end=st.sampled_from(["\n", "\r\n"]),
    block=st.integers(1, 40),
    skipped=st.integers(0, 2),
)
def test_widths_are_those_of_another_reader_whatever_the_blocks(monkeypatch, rows, line_end, block, skipped):
    monkeypatch.setattr(lines, "_BLOCK_BYTES", block)
    text = io.StringIO()
    csv.writer(text, lineterminator=line_end, quoting=csv.QUOTE_ALL).writerows(rows)

    found = examine(opened("x\n" * skipped + text.getvalue()), ",", skipped)

    widths = np.array([len(row) for row in rows])
    assert found.width == widths[0]
    assert found.irregular.tolist() == np.flatnonzero(widths < widths[0]).tolist()
    assert (found.rows, found.last_row, found.ends_whole) == (len(rows), len(rows) - 1, True)


@pytest.mark.parametrize("block", [1, 2, 3, 100])
def test_empty_lines_are_rows_but_not_irregular(monkeypatch, block):
    monkeypatch.setattr(lines, "_BLOCK_BYTES", block)

    found = examine(opened("a,b\r\n\r\n1,2\r\n3\r\n\r\n"), ",", 0)

    assert (found.rows, found.last_row, found.irregular.tolist()) == (5, 3, [3])


def test_cells_beyond_the_header_are_left_to_the_reader_up_to_a_point():
    text = "a,b\n1,2" + "," * SPARE_CELLS + "\n1,2" + "," * (SPARE_CELLS + 1) + "\n1,2"

    found = examine(opened(text), ",", 0)

    assert (found.irregular.tolist(), found.last_row, found.ends_whole) == ([2], 3, False)


@pytest.mark.parametrize("block", [10, 64, 1000])
def test_long_line_is_noticed_across_blocks(monkeypatch, block):
    monkeypatch.setattr(lines, "_BLOCK_BYTES", block)
    monkeypatch.setattr(lines, "LONGEST_LINE_BYTES", 100)
    short = opened("a,b\n" + "x" * 99 + "\n" + "y" * 99 + "\n")
    long = opened("a,b\n" + "x" * 101 + "\n")

    assert examine(short, ",", 0).rows == 3
    with pytest.raises(LogRefusedError, match="it has a line of more than 100 bytes"):
        examine(long, ",", 0)
