"""Asking the coach's page in a browser, and the package, for the same figures."""

import numpy as np

from pipeline.benchmark.lookup import look_up

FIELDS = ("club", "ball", "launch", "spin")
YARDS = ("expected_carry", "expected_total", "efficient_carry", "efficient_total", "yards_available")
WINDOWS = {"launch": "launch_window_deg", "spin": "spin_window_rpm"}

# Types into the fields, leaves them, and reads off the page what a person sees, with the full figures behind it.
ASK = """asked => {
  const get = (id) => document.getElementById(id);
  for (const [id, text] of Object.entries(asked)) {
    get(id).value = text;
    get(id).dispatchEvent(new Event("input", { bubbles: true }));
  }
  for (const id of Object.keys(asked)) get(id).dispatchEvent(new Event("blur"));
  const { shown } = get("results").dataset;
  const isAnswer = shown === "answer";
  const values = Object.fromEntries([...document.querySelectorAll("#far data")].map((e) => [e.id, Number(e.value)]));
  for (const name of ["expected", "efficient"]) {
    for (const end of ["lo90", "hi90"]) values[`${name}_${end}`] = state.found?.[`${name}_${end}_yd`];
  }
  return {
    shown: [shown], text: get("results").innerText, reason: isAnswer ? "" : get("message").textContent, values,
    launch: state.found?.launch_window_deg ?? [], spin: state.found?.spin_window_rpm ?? [],
    written: Object.fromEntries(
      [...document.querySelectorAll("#far :is(data, p)[id]")].map((e) => [e.id, e.textContent])),
  };
}"""


def ask(page, asked):
    return page.evaluate(ASK, {field: str(asked.get(field) or "") for field in FIELDS})


def read_off(page):
    """Give what the page shows, without typing."""
    return page.evaluate(ASK, {})


def asked_of_package(study, asked):
    known = {"launch_deg": asked["launch"], "spin_rpm": asked["spin"], "ball_speed_mph": asked["ball"]}
    return look_up(study.model, study.frontier, study.place, asked["club"], **known)


def random_lookups(count, seed):
    """Make lookups with and without each optional input, most of them within the small world's reach."""
    random = np.random.default_rng(seed)
    made = []
    for index in range(count):
        club = round(float(random.uniform(62, 120)), 1)
        ball = round(club * float(random.normal(1.46, 0.05)), 1)
        launch, spin = round(float(random.normal(14, 4)), 1), round(float(random.normal(2600, 900)))
        asked = {"club": club, "ball": ball, "launch": launch, "spin": spin}
        known = [index & 1, index & 2, index & 4]
        made.append(asked | {name: None for name, is_known in zip(FIELDS[1:], known, strict=True) if not is_known})
    return made


def figures_of_page(found):
    """Give the figures behind what `ask` read: yards by name, and the edges of the windows."""
    return found["values"], {name: found[name] for name in WINDOWS}


def figures_of_package(right):
    """Give the same of an answer of `look_up`."""
    values = {name: right[f"{name}_yd"] for name in YARDS}
    values |= {
        f"{name}_{end}": right[f"{name}_{end}_yd"] for name in ("expected", "efficient") for end in ("lo90", "hi90")
    }
    return values, {name: list(right[key] or []) for name, key in WINDOWS.items()}
