// From the fields to the model and from its answer to the page. Text is set as text, never as markup.

const DATA = JSON.parse(document.getElementById("data").textContent);
const FIELDS = ["club", "ball", "launch", "spin"];
const UNITS = { club: "mph", ball: "mph", launch: "deg", spin: "rpm" };
const NAMES = { club: "Club speed", ball: "Ball speed", launch: "Launch", spin: "Spin" };
const ANNOUNCE_AFTER_MS = 700; // a screen reader hears it once the typing rests, not at every digit

const element = (id) => document.getElementById(id);
const show = (id, isShown) => { element(id).hidden = !isShown; };
// Adding 0 keeps a small negative from becoming -0; the sign is a minus, not a hyphen.
const yards = (value) => `${Math.round(value) + 0} yd`.replace("-", "\u2212");
const range = (lo, hi, digits) => `${lo.toFixed(digits)} to ${hi.toFixed(digits)}`;

// A field's number, null where it is empty, or an error to show. A comma is taken as a decimal point, but in spin a mark
// before just three last digits parts thousands.
function read(name) {
  let text = element(name).value.trim().replace(",", ".");
  if (name === "spin") text = text.replace(/^(\d{1,2})[. ](\d{3})$/, "$1$2");
  if (text === "") return { value: null };
  const [lo, hi] = LIMITS[name];
  const value = /^-?(\d+\.?\d*|\.\d+)$/.test(text) ? Number(text) : NaN;
  if (value >= lo && value <= hi) return { value };
  return { value: null, error: `${NAMES[name]}: give a number from ${lo} to ${hi} ${UNITS[name]}.` };
}

function setValue(id, value, text) {
  element(id).value = String(value);
  element(id).textContent = text;
}

function against(value, lo, hi, unit, digits) {
  if (value >= lo && value <= hi) return "inside the window";
  const away = Math.max(lo - value, value - hi).toFixed(digits);
  const far = Number(away) === 0 ? "just" : `${away} ${unit}`;
  return `${far} ${value < lo ? "below" : "above"} the window`;
}

function describe(found, asked) {
  if (!found.window) return "There is no efficient window at this speed.";
  const [l0, l1, s0, s1] = found.window;
  const launch = `${asked.launch === null ? "usual launch" : "launch"} ${found.launch.toFixed(1)} deg is `
    + against(found.launch, l0, l1, "deg", 1);
  const spin = `${asked.spin === null ? "usual spin" : "spin"} ${grouped(found.spin)} rpm is `
    + against(found.spin, s0, s1, "rpm", 0);
  return `${launch[0].toUpperCase()}${launch.slice(1)}; ${spin}.`;
}

function draw(found, asked, text) {
  const { launch, spin } = DATA.drawing;
  const { left, right, top, bottom } = DATA.drawing.frame;
  const x = (value) => left + (right - left) * (value - spin.lo) / (spin.hi - spin.lo);
  const y = (value) => bottom - (bottom - top) * (value - launch.lo) / (launch.hi - launch.lo);
  const set = (id, values) => Object.entries(values).forEach(([key, value]) => element(id).setAttribute(key, value));
  element("window-box").classList.toggle("nothing", !found.window);
  if (found.window) {
    const [l0, l1, s0, s1] = found.window;
    set("window-box", { x: x(s0), y: y(l1), width: x(s1) - x(s0), height: y(l0) - y(l1) });
  }
  const isWhole = asked.launch !== null && asked.spin !== null;
  set("drive-dot", { cx: x(found.spin), cy: y(found.launch), class: isWhole ? "dot" : "dot usual" });
  element("drawing-text").textContent = `Launch over spin. ${text}`;
}

function fill(found, asked) {
  const ahead = found.yards_available_yd;
  const names = ["expected_carry", "efficient_carry", "expected_total", "efficient_total"];
  names.forEach((name) => setValue(name, found[`${name}_yd`], yards(found[`${name}_yd`])));
  setValue("yards_available", ahead, yards(ahead));
  element("expected_interval").textContent = `${range(found.expected_lo90_yd, found.expected_hi90_yd, 0)}`;
  element("efficient_interval").textContent = `${range(found.efficient_lo90_yd, found.efficient_hi90_yd, 0)}`;
  ["expected", "efficient"].forEach((name) => ["lo90", "hi90"].forEach((edge) => {
    element(`${name}_interval`).dataset[edge] = found[`${name}_${edge}_yd`];
  }));
  const [l0, l1, s0, s1] = found.window ?? [];
  element("launch_window").textContent = found.window ? `${range(l0, l1, 1)} deg` : "none at this speed";
  element("spin_window").textContent = found.window ? `${grouped(s0)} to ${grouped(s1)} rpm` : "none at this speed";
  element("launch_window").dataset.edges = found.window ? `${l0} ${l1}` : "";
  element("spin_window").dataset.edges = found.window ? `${s0} ${s1}` : "";
  show("ball-unused", found.ball_unused);
  show("beyond", ahead < 0);
  const text = describe(found, asked);
  element("delivery").textContent = text;
  draw(found, asked, text);
  return `Expected carry ${yards(found.expected_carry_yd)}. Efficient carry ${yards(found.efficient_carry_yd)}. `
    + `Available ${yards(ahead)}. ${found.window ? `Window: launch ${range(l0, l1, 1)} deg, `
      + `spin ${s0.toFixed(0)} to ${s1.toFixed(0)} rpm. ` : ""}${text}`;
}

function readAll() {
  const asked = {};
  let isWrong = false;
  FIELDS.forEach((name) => {
    const { value, error } = read(name);
    asked[name] = value;
    isWrong ||= Boolean(error);
    element(`${name}-error`).textContent = error ?? "";
    element(name).setAttribute("aria-invalid", error ? "true" : "false");
  });
  return isWrong ? null : asked;
}

let timer = 0;
function announce(text) {
  clearTimeout(timer);
  timer = setTimeout(() => { element("announcement").textContent = text; }, ANNOUNCE_AFTER_MS);
}

function update() {
  const asked = readAll();
  const isReady = asked !== null && asked.club !== null;
  const found = isReady ? answer(DATA, asked) : null;
  show("start", !isReady);
  show("refusal", isReady && !found.supported);
  show("answer", isReady && found.supported);
  if (asked === null) {
    element("start").textContent = "No answer: correct the marked field.";
    announce(FIELDS.map((name) => element(`${name}-error`).textContent).filter(Boolean).join(" "));
  } else if (!isReady) {
    element("start").textContent = DATA.start;
    announce("");
  } else if (!found.supported) {
    element("reason").textContent = found.reason;
    announce(found.reason);
  } else {
    announce(fill(found, asked));
  }
}

element("form").addEventListener("input", update);
element("form").addEventListener("keydown", (event) => {
  // On a phone this puts the keyboard away, so that the answer is seen.
  if (event.key === "Enter" && FIELDS.includes(event.target.id) && matchMedia("(pointer: coarse)").matches) {
    event.target.blur();
  }
});
element("clear").addEventListener("click", () => {
  FIELDS.forEach((name) => { element(name).value = ""; });
  update();
  element("club").focus();
});
update();
