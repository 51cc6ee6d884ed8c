import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.drives import golfer_codes
from pipeline.edge import drives_file as drive_pieces
from pipeline.edge.drives_file import Part, open_drives
from pipeline.errors import UserError


@pytest.fixture
def stored(tmp_path):
    """Golfers of 1 to 9 drives, not by their names, in row groups of four drives; the drives as they are read too."""
    names = [f"g{i * 5 % 11}" for i in range(1, 10)]
    drives = pl.DataFrame(
        {
            "golfer": [name for count, name in enumerate(names, start=1) for _ in range(count)],
            "group": ["m2", None, "m1"] * 15,
            "carry_yd": [200.0 + k for k in range(45)],
        }
    )
    drives.write_parquet(tmp_path / "drives.parquet", row_group_size=4)
    return tmp_path / "drives.parquet", drives.cast({"golfer": pl.Enum(names), "group": pl.Enum(["m2", "m1"])})


@pytest.mark.parametrize("rows", [1, 2, 5, 7, 45, 1000])
def test_pieces_hold_every_drive_once_and_golfers_whole(stored, monkeypatch, rows):
    path, drives = stored
    monkeypatch.setattr(drive_pieces, "PIECE_ROWS", rows)
    pieces = list(open_drives(path, drives.columns).read())
    assert_frame_equal(pl.concat(pieces), drives)
    golfers = [name for piece in pieces for name in piece["golfer"].unique()]
    assert len(golfers) == len(set(golfers)) == 9
    assert max(piece.height for piece in pieces) <= max(rows, 9) + rows


@pytest.mark.parametrize("rows", [1, 2, 5, 7, 45, 1000])
@pytest.mark.parametrize("count", [1, 2, 3, 4, 60])
def test_parts_have_the_pieces_of_the_whole(stored, monkeypatch, rows, count):
    path, drives = stored
    monkeypatch.setattr(drive_pieces, "PIECE_ROWS", rows)
    whole = [piece for piece in open_drives(path, drives.columns).read() if piece.height]
    names, found = [], []
    for number in range(1, count + 1):
        part = open_drives(path, drives.columns, part=Part.named(f"{number}-of-{count}"))
        pieces = list(part.read())
        names += part.golfers.categories.to_list()
        assert all(piece.schema["group"] == drives.schema["group"] for piece in pieces)
        found += [piece for piece in pieces if piece.height]
    assert names == drives.schema["golfer"].categories.to_list()
    assert len(found) == len(whole)
    for one, other in zip(found, whole, strict=True):
        assert_frame_equal(one.cast({"golfer": pl.String}), other.cast({"golfer": pl.String}))


def test_parts_are_about_as_large_as_each_other(stored, monkeypatch):
    path, _ = stored
    monkeypatch.setattr(drive_pieces, "PIECE_ROWS", 5)
    parts = [open_drives(path, part=Part(number, 3), columns=["golfer"]) for number in (1, 2, 3)]
    assert [sum(piece.height for piece in part.read()) for part in parts] == [10, 18, 17]


def test_drives_can_be_read_again_and_in_other_columns(stored):
    path, drives = stored
    opened = open_drives(path, ["carry_yd", "golfer"])
    first, second = (pl.concat(opened.read()) for _ in range(2))
    assert_frame_equal(first, drives.select("carry_yd", "golfer"))
    assert_frame_equal(second, first)


@pytest.mark.parametrize(("rows", "times"), [(44, 3), (45, 1)])
def test_a_file_of_one_slice_is_read_once(stored, monkeypatch, rows, times):
    path, drives = stored
    monkeypatch.setattr(drive_pieces, "PIECE_ROWS", rows)
    joined, concat = [], pl.concat
    monkeypatch.setattr(pl, "concat", lambda *given, **how: joined.append(how.get("rechunk")) or concat(*given, **how))
    opened = open_drives(path, drives.columns)
    for _ in range(3):
        assert_frame_equal(concat(opened.read()), drives)
    slices = -(-drives.height // rows)
    assert joined.count(True) == times * slices


def test_what_is_sorted_by_golfer_or_group_goes_by_the_order_of_the_file(stored):
    path, drives = stored
    opened = open_drives(path, drives.columns)
    assert opened.golfers == drives.schema["golfer"]
    shuffled = pl.concat(opened.read()).sample(fraction=1, shuffle=True, seed=1)
    assert_frame_equal(shuffled.sort("golfer", "carry_yd"), drives)
    assert shuffled["group"].drop_nulls().sort().unique(maintain_order=True).to_list() == ["m2", "m1"]
    place = drives["golfer"].to_physical()
    assert golfer_codes(shuffled).tolist() == [place[int(carry) - 200] for carry in shuffled["carry_yd"]]


def test_no_drives_are_one_empty_piece(stored, tmp_path):
    drives = pl.read_parquet(stored[0]).clear()
    drives.write_parquet(tmp_path / "none.parquet")
    (piece,) = open_drives(tmp_path / "none.parquet", drives.columns).read()
    assert_frame_equal(piece, drives.cast({"golfer": pl.Enum([]), "group": pl.Enum([])}))


@pytest.mark.parametrize("rows", [1, 7, 1000])
def test_regressors_stand_beside_their_drives(stored, monkeypatch, tmp_path, rows):
    path, drives = stored
    keys = pl.DataFrame({"source": ["a.csv"] * 45, "row": range(45)})
    pl.read_parquet(path).hstack(keys).write_parquet(path := tmp_path / "keyed.parquet")
    beside = keys.with_columns(tee_mm=pl.int_range(45) / 2, carry_yd=pl.lit(1.0))
    beside.write_parquet(tmp_path / "regressors.parquet")
    monkeypatch.setattr(drive_pieces, "PIECE_ROWS", rows)
    opened = open_drives(path, drives.columns, tmp_path / "regressors.parquet")
    # A column that the drives have already stays theirs.
    assert_frame_equal(pl.concat(opened.read()), drives.with_columns(beside["tee_mm"]))
    assert opened.golfers == drives.schema["golfer"]
    beside.reverse().write_parquet(tmp_path / "others.parquet")
    with pytest.raises(UserError, match="holds regressors of other drives; delete it"):
        list(open_drives(path, drives.columns, tmp_path / "others.parquet").read())
