import pytest
from collect_samples import HEADER, changed, csv_text, written

BROKEN = [
    ({"golfer": ""}, "missing", "golfer"),
    ({"golfer": " - "}, "missing", "golfer"),
    ({"struck_at": ""}, "missing", "struck_at"),
    ({"club_speed_mph": "N/A"}, "missing", "club_speed_mph"),
    ({"launch_deg": "nan"}, "missing", "launch_deg"),
    ({"spin_rpm": "--"}, "missing", "spin_rpm"),
    ({"carry_yd": "null"}, "missing", "carry_yd"),
    ({"carry_yd": "abc"}, "not_a_number", "carry_yd"),
    ({"spin_rpm": '"2,500"'}, "not_a_number", "spin_rpm"),
    ({"spin_rpm": "1e999"}, "not_a_number", "spin_rpm"),
    ({"ball_speed_mph": "14O"}, "not_a_number", "ball_speed_mph"),
    ({"struck_at": "yesterday"}, "not_a_time", "struck_at"),
    ({"struck_at": "2026-02-30"}, "not_a_time", "struck_at"),
    ({"struck_at": "2026-02-03T10:00+99:00"}, "not_a_time", "struck_at"),
    ({"struck_at": "1989-12-31"}, "too_low", "struck_at"),
    ({"struck_at": "2100-01-01"}, "too_high", "struck_at"),
    ({"club_speed_mph": "29.9"}, "too_low", "club_speed_mph"),
    ({"club_speed_mph": "165.1"}, "too_high", "club_speed_mph"),
    ({"ball_speed_mph": "245.1"}, "too_high", "ball_speed_mph"),
    ({"launch_deg": "-10.1"}, "too_low", "launch_deg"),
    ({"launch_deg": "45.1"}, "too_high", "launch_deg"),
    ({"spin_rpm": "199"}, "too_low", "spin_rpm"),
    ({"spin_rpm": "12001"}, "too_high", "spin_rpm"),
    ({"carry_yd": "4.9"}, "too_low", "carry_yd"),
    ({"carry_yd": "450.1"}, "too_high", "carry_yd"),
    ({"ball_speed_mph": "148.3"}, "speed_ratio_too_high", "ball_speed_mph"),
    ({"ball_speed_mph": "75.9"}, "speed_ratio_too_low", "ball_speed_mph"),
    ({"carry_yd": "294.1"}, "carry_too_long_for_ball_speed", "carry_yd"),
    ({"carry_yd": "69.9"}, "carry_too_short_for_ball_speed", "carry_yd"),
    ({"ball_speed_mph": "", "carry_yd": "312"}, "carry_too_long_for_ball_speed", "carry_yd"),
    ({"ball_speed_mph": "", "carry_yd": "37.9"}, "carry_too_short_for_ball_speed", "carry_yd"),
    # The first rule in the order of the docstring is charged.
    ({"golfer": "", "carry_yd": "abc"}, "not_a_number", "carry_yd"),
    ({"golfer": "", "carry_yd": "999"}, "missing", "golfer"),
    ({"ball_speed_mph": "199", "spin_rpm": "50"}, "too_low", "spin_rpm"),
]

JUST_INSIDE = [
    {"struck_at": "1990-01-01"},
    {"club_speed_mph": "165", "ball_speed_mph": "245", "carry_yd": "450"},
    {"launch_deg": "-10"},
    {"launch_deg": "45"},
    {"spin_rpm": "200"},
    {"spin_rpm": "12000"},
    {"ball_speed_mph": "148.2"},
    {"ball_speed_mph": "76", "carry_yd": "150"},
    {"carry_yd": "294"},
    {"carry_yd": "70"},
    {"carry_yd": "5", "launch_deg": "7.9"},
    {"ball_speed_mph": "", "carry_yd": "311.2"},
    {"ball_speed_mph": "-"},
]


@pytest.mark.parametrize(("cells", "rule", "column"), BROKEN)
def test_broken_row_is_charged_with_its_rule_and_column(tmp_path, collect, cells, rule, column):
    log = written(tmp_path / "a.csv", csv_text(changed(), changed(**cells), changed()))

    result = collect(log)

    assert result.rejects.rows() == [("a.csv", 2, rule, column)]
    assert result.shots["row"].to_list() == [1, 3]


@pytest.mark.parametrize("cells", JUST_INSIDE)
def test_row_at_the_bound_is_accepted(tmp_path, collect, cells):
    log = written(tmp_path / "a.csv", csv_text(changed(**cells)))

    result = collect(log)

    assert result.rejects.height == 0
    assert result.shots.height == 1


@pytest.mark.parametrize(
    ("column", "cell", "rule"),
    [
        ("total_yd", "219.9", "total_shorter_than_carry"),
        ("total_yd", "far", "not_a_number"),
        ("total_yd", "551", "too_high"),
        ("humidity", "40", "too_high"),
        ("pressure_hpa", "29.9", "too_low"),
        ("spin_measured", "perhaps", "not_a_flag"),
    ],
)
def test_broken_optional_cell_rejects_the_row(tmp_path, collect, column, cell, rule):
    log = written(tmp_path / "a.csv", csv_text(f"{changed()},{cell}", header=f"{HEADER},{column}"))

    result = collect(log)

    assert result.rejects.rows() == [("a.csv", 1, rule, column)]


def test_total_may_fall_short_of_carry_by_five_yards(tmp_path, collect):
    log = written(tmp_path / "a.csv", csv_text(f"{changed()},220", header=f"{HEADER},total_yd"))

    assert collect(log).shots["total_yd"].to_list() == [220.0]
