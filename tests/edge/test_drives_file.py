import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.edge import drives_file as drive_pieces
from pipeline.edge.drives_file import open_drives


@pytest.fixture
def stored(tmp_path):
    """Golfers of 1 to 9 drives, in row groups of four drives."""
    drives = pl.DataFrame(
        {"golfer": [f"g{i}" for i in range(1, 10) for _ in range(i)], "carry_yd": [200.0 + k for k in range(45)]}
    )
    drives.write_parquet(tmp_path / "drives.parquet", row_group_size=4)
    return tmp_path / "drives.parquet", drives


@pytest.mark.parametrize("rows", [1, 2, 5, 7, 45, 1000])
def test_pieces_hold_every_drive_once_and_golfers_whole(stored, monkeypatch, rows):
    path, drives = stored
    monkeypatch.setattr(drive_pieces, "PIECE_ROWS", rows)
    pieces = list(open_drives(path, drives.columns).read())
    assert_frame_equal(pl.concat(pieces), drives)
    golfers = [name for piece in pieces for name in piece["golfer"].unique()]
    assert len(golfers) == len(set(golfers)) == 9
    assert max(piece.height for piece in pieces) <= max(rows, 9) + rows


def test_drives_can_be_read_again_and_in_other_columns(stored):
    path, drives = stored
    opened = open_drives(path, ["carry_yd", "golfer"])
    first, second = (pl.concat(opened.read()) for _ in range(2))
    assert_frame_equal(first, drives.select("carry_yd", "golfer"))
    assert_frame_equal(second, first)


def test_no_drives_are_one_empty_piece(stored, tmp_path):
    drives = stored[1].clear()
    drives.write_parquet(tmp_path / "none.parquet")
    (piece,) = open_drives(tmp_path / "none.parquet", drives.columns).read()
    assert_frame_equal(piece, drives)
