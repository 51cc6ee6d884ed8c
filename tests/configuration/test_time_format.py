import pytest

from pipeline.configuration.time_format import format_problem


@pytest.mark.parametrize("form", ["%d.%m.%Y", "%m/%d/%y %I:%M %p", "%Y%m%d%H%M%S", "%d %b %Y", "%F %T", "%d.%m.%Y %z"])
def test_format_that_tells_the_day_is_sound(form):
    assert format_problem(form) is None


@pytest.mark.parametrize("form", ["%H:%M", "%d.%m.", "%Y", "", "%Q", "%d.%m.%Y%", "%F %I:%M", "%F %H:%M %Z"])
def test_format_that_does_not_is_not(form):
    assert format_problem(form) is not None
