"""The coach's page in real Chromium, compared with the package's own lookup."""

import json

import pytest
from browser import serious_findings, wait_for_text
from click.testing import CliRunner
from lookups import FIELDS, ask, asked_of_package, figures_of_package, figures_of_page, random_lookups

from pipeline.benchmark.lookup_command import Asked, read_results
from pipeline.cli import cli

KINDS = ["line", "flight", "quadratic", "splines", "blind line", "blind quadratic", "blind splines", "bent flight"]
PHONE = {"width": 390, "height": 844}
REACHED = {"club": "97", "ball": "141", "launch": "13,5", "spin": "2700"}


@pytest.mark.parametrize("kind", KINDS)
def test_fifty_lookups_agree_with_the_command(open_page, lookup_folder, kind):
    folder = lookup_folder(kind, turf="firm")
    page = open_page(folder / "report/lookup.html").page
    study = read_results(folder, Asked())
    outcomes = []
    for asked in random_lookups(50, seed=KINDS.index(kind)):
        right, found = asked_of_package(study, asked), ask(page, asked)
        assert found["shown"] == ["answer" if right["supported"] else "refusal"], (asked, right["note"])
        outcomes.append(right["supported"])
        if not right["supported"]:
            continue
        (values, windows), (right_values, right_windows) = figures_of_page(found), figures_of_package(right)
        assert values == pytest.approx(right_values, abs=1e-5), asked
        assert windows == right_windows
    assert 10 <= sum(outcomes) <= 48


def test_figures_are_written_as_the_command_writes_them(open_page, lookup_folder):
    folder = lookup_folder("flight")
    page = open_page(folder / "report/lookup.html").page
    arguments = ["lookup", "97", "--ball-speed", "141", "--launch", "13.5", "--spin", "2700", "--results", str(folder)]
    told = CliRunner().invoke(cli, arguments)
    answer = json.loads(CliRunner().invoke(cli, [*arguments, "--json"]).output)

    found = ask(page, REACHED)

    for name, title in (("expected_carry", "expected carry"), ("efficient_total", "efficient total")):
        assert found["written"][name] == f"{answer[f'{name}_yd']:.0f} yd"
        assert f"{title:<17}{found['written'][name]:>8}" in told.output
    lo, hi = (f"{answer[f'expected_{edge}_yd']:.0f}" for edge in ("lo90", "hi90"))
    assert f"{lo} to {hi}" in found["text"]
    launch, spin = answer["launch_window_deg"], answer["spin_window_rpm"]
    assert f"{launch[0]:.1f} to {launch[1]:.1f} deg" in found["text"]
    assert f"{spin[0]:,.0f} to {spin[1]:,.0f} rpm" in found["text"]


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"club": "140"}, "No answer at 140 mph. This academy's drives run from 70 to 112 mph."),
        ({"club": "40", "ball": ""}, "No answer at 40 mph. This academy's drives run from 70 to 112 mph."),
        ({"club": "90.6"}, "No answer at 90.6 mph: too few golfers here have about that club speed."),
        ({"launch": "30"}, "No answer: hardly any drive near 97 mph launches at 30.0 deg with 2,700 rpm of spin."),
        ({"spin": "6500"}, "No answer: hardly any drive near 97 mph launches at 13.5 deg with 6,500 rpm of spin."),
        ({"ball": "165"}, "No answer: a ball speed of 165 mph is 1.70 times the club speed."),
    ],
)
def test_out_of_reach_it_says_so_and_gives_no_figure(open_page, lookup_folder, changed, why):
    page = open_page(lookup_folder("flight") / "report/lookup.html").page
    assert ask(page, REACHED)["shown"] == ["answer"]

    found = ask(page, REACHED | changed)

    assert found["shown"] == ["refusal"]
    assert found["reason"].startswith(why)
    asked = {name: float(text.replace(",", ".")) if text else None for name, text in (REACHED | changed).items()}
    right = asked_of_package(read_results(lookup_folder("flight"), Asked()), asked)
    assert found["reason"] == right["note"]  # one sentence, from one place
    assert "The data don't reach that far" in found["text"]
    assert " yd" not in found["text"].replace(found["reason"], "")


def test_a_speed_without_a_window_says_so(open_page, lookup_folder):
    page = open_page(lookup_folder("flight") / "report/lookup.html").page
    found = ask(page, {"club": "75.5"})
    assert found["shown"] == ["answer"]
    assert "There is no efficient window at this speed." in found["text"]
    assert page.locator("#window-box").is_hidden()


def test_it_is_used_by_keyboard_on_a_phone(open_page, lookup_folder):
    folder = lookup_folder("flight")
    page = open_page(folder / "report/lookup.html", **PHONE).page
    study = read_results(folder, Asked())
    keys = page.keyboard
    assert "Enter a club speed from 70 to 112 mph" in page.locator("#start").inner_text()

    for text in ("97", "141", "13,5", "2.700"):
        keys.press("Tab")
        keys.type(text)
        assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
        keys.press("Enter")

    right = asked_of_package(study, {"club": 97, "ball": 141, "launch": 13.5, "spin": 2700})
    assert page.locator("#expected_carry").inner_text() == f"{right['expected_carry_yd']:.0f} yd"
    assert page.locator("#yards_available").inner_text() == f"{right['yards_available_yd']:.0f} yd"
    announced = f"Efficient carry {right['efficient_carry_yd']:.0f} yd. Available {right['yards_available_yd']:.0f} yd."
    wait_for_text(page.get_by_role("status"), announced)
    keys.press("Tab")
    keys.press("Enter")
    assert page.evaluate("document.activeElement.id") == "club"
    assert [page.locator(f"#{field}").input_value() for field in FIELDS] == [""] * 4
    assert page.locator("#answer").is_hidden()


def test_done_puts_the_keyboard_of_a_phone_away(open_page, lookup_folder):
    page = open_page(lookup_folder("flight") / "report/lookup.html", **PHONE, has_touch=True, is_mobile=True).page
    page.locator("#club").tap()
    page.keyboard.type("97")
    assert page.evaluate("document.activeElement.id") == "club"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == ""
    assert page.locator("#answer").is_visible()


def test_on_a_phone_nothing_is_cut_off_or_too_small_to_hit(open_page, lookup_folder):
    page = open_page(lookup_folder("flight") / "report/lookup.html", **PHONE).page
    ask(page, REACHED)
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    boxes = [page.locator(f"#{name}").bounding_box() for name in (*FIELDS, "clear")]
    assert min(box["height"] for box in boxes) >= 48
    assert [page.locator(f"#{field}").get_attribute("inputmode") for field in FIELDS] == ["decimal"] * 3 + ["numeric"]
    # The headline is seen without scrolling.
    headline = page.locator("#yards_available").bounding_box()
    assert headline["y"] + headline["height"] < 844 / 2


@pytest.mark.parametrize(
    ("field", "text", "told"),
    [
        ("club", "fast", "Club speed: give a number from 0 to 250 mph."),
        ("ball", "1e9", "Ball speed: give a number from 1 to 300 mph."),
        ("launch", "1.2.3", "Launch: give a number from -20 to 60 deg."),
        ("spin", "27000", "Spin: give a number from 0 to 20000 rpm."),
    ],
)
def test_a_wrong_entry_is_told_in_words_at_its_field(open_page, lookup_folder, field, text, told):
    page = open_page(lookup_folder("flight") / "report/lookup.html", **PHONE).page
    found = ask(page, REACHED | {field: text})
    labels = {"club": "Club speed, mph", "ball": "Ball speed, mph", "launch": "Launch, deg", "spin": "Spin, rpm"}
    entry = page.get_by_label(labels[field], exact=True)
    assert entry.get_attribute("aria-invalid") == "true"
    assert page.locator(f"#{entry.get_attribute('aria-describedby')}").inner_text() == told
    assert found["shown"] == ["start"]
    assert " yd" not in found["text"]
    wait_for_text(page.get_by_role("status"), told)
    assert ask(page, REACHED)["shown"] == ["answer"]
    assert entry.get_attribute("aria-invalid") == "false"


def test_the_drawing_puts_window_and_drive_in_their_places(open_page, lookup_folder):
    page = open_page(lookup_folder("flight") / "report/lookup.html").page
    ask(page, REACHED | {"club": "100", "ball": "146", "launch": "11", "spin": "3300"})
    window, dot = page.locator("#window-box").bounding_box(), page.locator("#drive-dot").bounding_box()
    ticks = {text.text_content(): text.bounding_box() for text in page.locator("#drawing text").all()}

    def middle(box, along):
        return box[along] + box[{"x": "width", "y": "height"}[along]] / 2

    # At 100 mph the window is 13 to 16 deg and 2300 to 3000 rpm; the border is drawn half outside.
    zero, one = (middle(ticks[text], "x") for text in ("2,000", "3,000"))
    assert middle(window, "x") == pytest.approx(zero + 0.65 * (one - zero), abs=1.5)
    assert middle(dot, "x") == pytest.approx(zero + 1.3 * (one - zero), abs=1.5)
    ten, fifteen = (middle(ticks[text], "y") for text in ("10", "15"))
    assert middle(window, "y") == pytest.approx(ten + 0.9 * (fifteen - ten), abs=2.5)
    assert middle(dot, "y") == pytest.approx(ten + 0.2 * (fifteen - ten), abs=2.5)
    told = "Launch over spin. Launch 11.0 deg is 2.0 deg below the window; spin 3,300 rpm is 300 rpm above the window."
    assert page.get_by_role("img").get_by_text("Launch over spin").text_content() == told
    assert page.locator("#drive-dot").get_attribute("class") == "dot"
    ask(page, {"club": "100"})
    assert page.locator("#drive-dot").get_attribute("class") == "dot usual"


@pytest.mark.parametrize("width", [390, 1200])
@pytest.mark.parametrize(
    "changed", [{}, {"club": "75.5", "ball": ""}, {"club": "140"}, {"launch": "x"}, {"club": ""}, {"ball": "153"}]
)
def test_the_audit_finds_nothing_serious(open_page, lookup_folder, width, changed):
    page = open_page(lookup_folder("flight") / "report/lookup.html", width=width).page
    ask(page, REACHED | changed)
    assert serious_findings(page) == []


def test_the_page_may_not_reach_for_the_network(open_page, lookup_folder):
    opened = open_page(lookup_folder("flight") / "report/lookup.html")
    refused = opened.page.evaluate(
        """() => new Promise((tell) => {
          document.addEventListener("securitypolicyviolation", (event) => tell(event.effectiveDirective));
          new Image().src = "https://nowhere.invalid/x.png";
          setTimeout(() => tell("nothing was refused"), 3000);
        })"""
    )
    assert refused == "img-src"
    # The browser tells of what it refused; this once that is as it should be.
    assert opened.beyond_the_file() == ["https://nowhere.invalid/x.png"]
    opened.requests.clear()
    opened.complaints.clear()


def test_without_scripts_the_page_says_what_to_do(open_page, lookup_folder):
    page = open_page(lookup_folder("flight") / "report/lookup.html", java_script_enabled=False).page
    assert page.get_by_text("This page needs JavaScript").is_visible()
