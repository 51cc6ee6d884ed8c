"""Measure the academy's page with 2,000 golfers: when its first view stands, and how long each action takes.

`python tests/report/measure_academy.py PAGE docs/evidence/academy_page/measured.json`, PAGE being a run's
report/academy.html, writes what it finds, for a desk and for a phone, on a processor slowed four times
(`Emulation.setCPUThrottlingRate`). Every time is the median of `LOADS` loads, in ms; an action ends with the frame that
shows it. The golfers are those of the page given, repeated under new codes.
"""

import json
import shutil
import statistics
import sys
import tempfile
from pathlib import Path

from many_golfers import many_golfers_page
from playwright.sync_api import sync_playwright

SLOWER, LOADS, GOLFERS = 4, 5, 2000
MOST_FIRST_MS, MOST_ACTION_MS = 1500, 200
SIZES = {
    "desk": {"viewport": {"width": 1280, "height": 800}},
    "phone": {
        "viewport": {"width": 390, "height": 844},
        "has_touch": True,
        "is_mobile": True,
        "device_scale_factor": 3,
    },
}
BROWSERS = ("chromium", "chromium-browser", "google-chrome")

# The first frame after the first view has been drawn.
WATCH = """
const look = () => {
  if (document.querySelector(".view-quarter .sums")) setTimeout(() => { window.firstViewMs = performance.now(); });
  else requestAnimationFrame(look);
};
requestAnimationFrame(look);
"""
TIMED = """async (act) => {
  const from = performance.now();
  (0, eval)(act);
  await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
  return performance.now() - from;
}"""
ON = "document.querySelector"
BACK = "back"
SEARCH = f"{{ const box = {ON}('#search'); box.value = '%s'; box.dispatchEvent(new Event('input')); }}"
CHOOSE = f"{{ const box = {ON}('#filter-cause'); box.value = 'contact'; box.dispatchEvent(new Event('change')); }}"
ACTIONS = {
    "open_the_table": ("#golfers", None),
    "search": (None, SEARCH % "7"),
    "search_further": (None, SEARCH % "73"),
    "show_all": (None, f"{ON}('#all-golfers').click()"),
    "sort": (None, f"{ON}('.tabulator-col[tabulator-field=club_speed_mph]').click()"),
    "sort_by_name": (None, f"{ON}('.tabulator-col[tabulator-field=golfer]').click()"),
    "filter": (None, CHOOSE),
    "more_columns": (None, f"{ON}('#more-columns').click()"),
    "scroll": (None, f"{ON}('.tabulator-tableholder').scrollTop += 4000"),
    "open_a_golfer": ("#golfer/CODE", None),
    "back_to_the_table": (BACK, None),
    "to_the_quarter": ("#quarter", None),
}  # fmt: skip
ROUTED = """async (fragment) => {
  const from = performance.now();
  const shown = new Promise((done) => addEventListener(
    "hashchange", () => requestAnimationFrame(() => setTimeout(done)), { once: true },
  ));
  if (fragment === "back") history.back(); else location.hash = fragment;
  await shown;
  return performance.now() - from;
}"""  # fmt: skip


def measure(browser, page_path, settings, code):
    """Load a page again and again and act on it; give the medians."""
    times = {name: [] for name in ("first_view", *ACTIONS)}
    for _ in range(LOADS):
        context = browser.new_context(**settings, offline=True, bypass_csp=False)
        context.add_init_script(WATCH)
        page = context.new_page()
        context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
        page.goto(page_path.as_uri())
        page.wait_for_function("window.firstViewMs !== undefined")
        times["first_view"].append(page.evaluate("window.firstViewMs"))
        for name, (fragment, act) in ACTIONS.items():
            page.wait_for_timeout(400)
            told = page.evaluate(ROUTED, fragment.replace("CODE", code)) if fragment else page.evaluate(TIMED, act)
            times[name].append(told)
        context.close()
    return {f"{name}_ms": round(statistics.median(values)) for name, values in times.items()}


def main() -> None:
    """Measure and write, with what was slower than allowed."""
    given, out = (Path(name) for name in sys.argv[1:3])
    text = many_golfers_page(given.read_text(encoding="utf-8"), GOLFERS)
    found = [name for name in map(shutil.which, BROWSERS) if name]
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as started:
        path = Path(folder) / "academy.html"
        path.write_text(text, encoding="utf-8")
        code = text.split('"rows":[["', 1)[1].split('"', 1)[0]
        browser = started.chromium.launch(executable_path=found[0] if found else None, args=["--no-sandbox"])
        told = {
            "chromium": browser.version.split(".")[0],
            "processor_slowed": SLOWER,
            "golfers": GOLFERS,
            "loads": LOADS,
            "page_bytes": path.stat().st_size,
            "first_view_ms_allowed": MOST_FIRST_MS,
            "action_ms_allowed": MOST_ACTION_MS,
            **{name: measure(browser, path, settings, code) for name, settings in SIZES.items()},
        }
        browser.close()
    told["slower_than_allowed"] = [
        f"{size} {name}"
        for size in SIZES
        for name, ms in told[size].items()
        if ms > (MOST_FIRST_MS if name == "first_view_ms" else MOST_ACTION_MS)
    ]
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_text(json.dumps(told, indent=2) + "\n", encoding="utf-8")
    print(out.read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
