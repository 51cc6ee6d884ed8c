"""How logs write numbers: marks between thousands, units and sides beside them."""

import polars as pl
import pytest
from pydantic import ValidationError

from pipeline.collect.numbers import Spelling, number
from pipeline.configuration.layouts import Layout


def read(cell, column="spin_rpm", unit=None, typed_as_text=False, **marks):
    layout = Layout.model_validate({"columns": {column: {"from": "x", "unit": unit}}} | marks)
    spelling = Spelling.of(column, layout, typed_as_text=typed_as_text)
    return pl.select(number(pl.lit(cell), pl.String(), spelling)).item()


@pytest.mark.parametrize(
    ("cell", "decimal", "thousands", "value"),
    [
        ("2,650", ".", ",", 2650.0), ("2.650", ",", ".", 2650.0), ("2 650", ",", " ", 2650.0),
        ("2\u202f650,5", ",", " ", 2650.5), ("2\u2019650.5", ".", "'", 2650.5), ("1,234,567", ".", ",", 1234567.0),
        ("2650", ".", ",", 2650.0), ("-2,650", ".", ",", -2650.0),
        ("2,65", ".", ",", None), ("26,50", ".", ",", None), ("0,650", ".", ",", None), ("2,650", ".", None, None),
        ("2650,123", ".", ",", None), ("2.650,", ".", ",", None),
    ],
)  # fmt: skip
def test_marks_between_thousands(cell, decimal, thousands, value):
    assert read(cell, decimal=decimal, thousands=thousands) == value


def test_a_point_of_a_workbook_is_a_decimal_mark():
    assert read("2.650", decimal=",", thousands=".", typed_as_text=True) == 2.65


def test_thousands_and_decimals_have_marks_of_their_own():
    with pytest.raises(ValidationError, match="can't both be"):
        Layout.model_validate({"thousands": ".", "columns": {"golfer": {"from": "x"}}})


@pytest.mark.parametrize(
    ("cell", "column", "unit", "value"),
    [
        ("2650 rpm", "spin_rpm", None, 2650.0), ("2650U/min", "spin_rpm", None, 2650.0),
        ("44 1/s", "spin_rpm", "1/s", 44.0),
        ("12.1\u00b0", "launch_deg", None, 12.1), ("95.5 MPH", "club_speed_mph", None, 95.5),
        ("230 m", "carry_yd", "m", 230.0), ("230 m", "carry_yd", None, None), ("230 yd", "carry_yd", "m", None),
        ("61/s", "spin_rpm", "1/s", None), ("611/s", "spin_rpm", "1/s", None), ("rpm", "spin_rpm", None, None),
    ],
)  # fmt: skip
def test_only_the_columns_own_unit_may_stand_behind_a_number(cell, column, unit, value):
    assert read(cell, column, unit) == value


@pytest.mark.parametrize(
    ("cell", "column", "value"),
    [
        ("R 5", "offline_yd", 5.0), ("5L", "offline_yd", -5.0), ("12.5 r", "path_deg", 12.5),
        ("L12", "face_deg", -12.0),
        ("-5 L", "offline_yd", None), ("L -5", "offline_yd", None), ("R5L", "offline_yd", None),
        ("5 R", "carry_yd", None),
    ],
)  # fmt: skip
def test_sides_are_signs_where_right_is_positive(cell, column, value):
    assert read(cell, column) == value
