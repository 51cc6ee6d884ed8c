"""Eight questions of a coach on the range, asked of the page by a phone in real Chromium.

Each is answered in at most three taps after typing, and the answer stands above the keypad, which takes the lower 340
of 844 pixels. Every tap after the drive is typed counts, a field tapped to type in it, too.
"""

import pytest
from browser import wait_until
from lookups import asked_of_package
from test_lookup_students import CODES, NAMES, files  # noqa: F401

from pipeline.benchmark.lookup_command import Asked, read_results
from pipeline.shown import IMPERIAL, Units, angle_figure, spin_figure, whole

# ruff: noqa: F811 - the fixture that is imported above and asked for below
KEYPAD_TOP = 844 - 340
MOST_TAPS = 3
PHONE = {"width": 390, "height": 844, "has_touch": True, "is_mobile": True}
DRIVE = {"club": 97.0, "ball": 141.0, "launch": 13.5, "spin": 2700.0}


class Coach:
    """A thumb that taps where a tap lands, types on the keypad, and counts taps since typing began."""

    def __init__(self, page):
        self.page = page
        self.taps = None

    def tap(self, selector):
        spot = self.page.locator(selector)
        spot.scroll_into_view_if_needed()
        spot.tap()
        if self.taps is not None:
            self.taps += 1

    def type(self, field, text):
        """Type into a field: a tap, and the keys; the keys themselves are no taps."""
        self.tap(f"#{field}")
        assert self.page.evaluate("document.activeElement.id") == field
        self.page.keyboard.type(text)
        self.taps = self.taps or 0

    def type_drive(self):
        """Type a whole drive, whose fields are where typing begins; counting starts when the last is typed."""
        for field, value in DRIVE.items():
            self.type(field, f"{value:g}")
        self.taps = 0

    def answer(self, *ids):
        """Give the texts of places of the answer, seen above the keypad within the taps that a coach has."""
        wait_until(self.page, "document.getElementById('results').dataset.shown === 'answer'")
        assert self.taps <= MOST_TAPS
        box = self.page.locator("#results").bounding_box()
        assert box["y"] >= 0
        assert box["y"] + box["height"] <= KEYPAD_TOP
        for name in ids:
            assert self.page.locator(f"#{name}").is_visible()
        return [" ".join(self.page.locator(f"#{name}").text_content().split()) for name in ids]


@pytest.fixture
def page(open_page, lookup_folder):
    return open_page(lookup_folder("flight") / "report/lookup.html", **PHONE).page


@pytest.fixture
def coach(page):
    return Coach(page)


@pytest.fixture
def right(lookup_folder):
    """Give the package's answer to a drive, in other conditions if need be."""

    def answer(drive=None, **conditions):
        study = read_results(lookup_folder("flight"), Asked(**conditions))
        return asked_of_package(study, drive or DRIVE)

    return answer


def test_1_how_far_should_a_swing_of_97_carry(coach, right):
    coach.type("club", "97")
    found = right(dict.fromkeys(DRIVE) | {"club": 97.0})
    assert coach.answer("expected_carry", "efficient_carry") == [
        IMPERIAL.distance_text(found["expected_carry_yd"]),
        IMPERIAL.distance_text(found["efficient_carry_yd"]),
    ]
    assert coach.taps == 0


def test_2_what_launch_and_spin_should_it_have(coach, right):
    coach.type("club", "97")
    found = right()
    (launch_lo, launch_hi), (spin_lo, spin_hi) = found["launch_window_deg"], found["spin_window_rpm"]
    launch, spin = coach.answer("launch_window", "spin_window")
    # Edges shown lie inside the window, on half degrees and fifties.
    lo, hi = (float(text) for text in launch.split(" to "))
    assert launch_lo <= lo < launch_lo + 0.5
    assert launch_hi - 0.5 < hi <= launch_hi
    lo, hi = (float(text.replace(",", "")) for text in spin.split(" to "))
    assert spin_lo <= lo < spin_lo + 50
    assert spin_hi - 50 < hi <= spin_hi


def test_3_what_does_this_drive_give_away(coach, right):
    coach.type_drive()
    found = right()
    more, launch, spin = coach.answer("yards_available", "launch_state", "spin_state")
    assert more == f"{IMPERIAL.difference_whole(found['efficient_carry_yd'], found['expected_carry_yd'])} more"
    assert launch.startswith(f"{angle_figure(13.5)}:")
    assert spin.startswith(f"{spin_figure(2700)}:")


def test_4_what_does_240_take(coach):
    coach.type_drive()
    coach.tap("label:has(input[value=takes])")
    coach.type("goal", "240")
    good, today, gap, delivery, speed, quarters = coach.answer(
        "efficient_speed", "present_speed", "gap", "delivery", "speed", "quarters"
    )
    wish = {"goal_yd": 240, "distance": "carry", **DRIVE}
    plan = coach.page.evaluate("(wish) => planGoal(DATA, wish)", wish)
    assert good == IMPERIAL.speed_text(plan["efficient_speed_mph"])
    assert today == IMPERIAL.speed_text(plan["present_speed_mph"])
    to_find = 240 - IMPERIAL.distance_whole(plan["present_yd"])
    assert gap.endswith(f"{to_find} yd to find")
    assert int(delivery.split()[0]) + int(speed.split()[0]) == to_find
    assert quarters.startswith("About ")
    assert coach.taps == 2


def test_5_and_240_with_roll(coach):
    coach.type("club", "97")
    coach.tap("label:has(input[value=takes])")
    coach.tap("label:has(input[value=total])")
    coach.type("goal", "240")
    [good] = coach.answer("efficient_speed")
    wish = "{ goal_yd: 240, distance: 'total', club: 97, ball: null, launch: null, spin: null }"
    assert good == IMPERIAL.speed_text(coach.page.evaluate(f"planGoal(DATA, {wish}).efficient_speed_mph"))
    assert coach.taps == 3


def test_5b_and_how_often_will_it_be_there(coach, right):
    coach.type_drive()
    coach.tap("label:has(input[value=takes])")
    coach.type("goal", f"{right()['expected_carry_yd']:.0f}")
    [share] = coach.answer("share_reaching")
    shares = coach.page.evaluate("sharesOfGoal(DATA, askedOf(readAll()), state.plan)")
    lo, hi = (whole(10 * shares[f"share_reaching_{end}"]) for end in ("lo90", "hi90"))
    assert share == f"About {whole(10 * shares['share_reaching'])} of 10 drives reach it ({lo} to {hi})"
    assert coach.taps == 2
    goal = coach.page.locator("#goal").bounding_box()
    assert goal["y"] + goal["height"] <= KEYPAD_TOP


def test_6_it_is_cold_and_windy(coach, right):
    coach.type_drive()
    coach.tap("#to-conditions")
    assert coach.page.evaluate("document.activeElement.id") == "wind"
    coach.page.keyboard.type("12")
    coach.type("temperature", "5")
    found = right(temp_c=5, wind_mph=-12)
    carry, words = coach.answer("expected_carry", "to-conditions")
    assert carry == IMPERIAL.distance_text(found["expected_carry_yd"])
    assert words == "In 12 mph head wind, 5 deg C"
    assert coach.taps == 2


def test_7_in_metres(coach, right):
    coach.type_drive()
    coach.tap("label:has(input[value=metres])")
    assert coach.answer("expected_carry") == [Units(distance="metres").distance_text(right()["expected_carry_yd"])]
    assert coach.taps == 1


def test_8_this_student_by_name_and_what_she_needs(coach, files):
    coach.page.locator("#students summary").tap()
    coach.page.set_input_files("#files", [str(path) for path in files])
    wait_until(coach.page, "document.activeElement.id === 'find'")
    coach.page.keyboard.type("zoe")
    coach.taps = 0
    # What was found stands between the answer and the keypad.
    box = coach.page.locator(".hit").bounding_box()
    assert box["y"] + box["height"] <= KEYPAD_TOP
    coach.tap(".hit")
    assert coach.page.locator("#who").input_value() == NAMES[0]
    carry, launch = coach.answer("expected_carry", "launch_window")
    assert carry.endswith(" yd")
    assert " to " in launch
    coach.tap("label:has(input[value=takes])")
    coach.type("goal", "240")
    coach.answer("efficient_speed", "delivery", "speed", "quarters")
    assert coach.page.evaluate("state.plan.golfer") == CODES[0]
    assert coach.taps == 3


def test_the_fields_of_a_drive_stand_above_the_keypad_too(coach):
    coach.type_drive()
    boxes = [coach.page.locator(f"#{field}").bounding_box() for field in DRIVE]
    assert max(box["y"] + box["height"] for box in boxes) <= KEYPAD_TOP
    assert coach.page.evaluate("scrollY") == 0
