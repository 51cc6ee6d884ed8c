// The page itself: what stands in its fields, when it is judged, what is kept, and what a tap does. What is pure stands
// in the scripts before this one.

const dataOf = (id) => JSON.parse(document.getElementById(id).textContent);
const DATA = dataOf("data");
const SETTINGS = dataOf("settings");
const TEXTS = DATA.texts;
const T = TEXTS.page;
const NUMBER_FIELDS = Object.keys(FIELDS);
const REST_MS = 1500; // typing has rested: a number that no more digits can bring in range is now judged
const SLICE_MS = 12;
const FARTHER = 1.4; // a strong tail wind in thin air
const SPEAK_MS = 900; // a screen reader hears the answer once typing rests, not at every digit
const KEPT = `yardband.lookup.${SETTINGS.study}`;
const KEPT_UNITS = "yardband.units";

const element = (id) => document.getElementById(id);
const show = (id, isShown) => { element(id).hidden = !isShown; };
const setText = (id, text) => { element(id).textContent = text; };
// A place of the answer keeps its line where it has nothing to say; a unit is smaller than its figure.
function setPlace(id, text) {
  const place = element(id);
  const figure = place.matches(".big") && /^([\d,.]+) (\S+)$/.exec(text);
  place.classList.toggle("words", place.matches(".big") && !figure);
  if (figure) {
    const unit = document.createElement("small");
    unit.textContent = figure[2];
    place.replaceChildren(`${figure[1]} `, unit);
  } else place.textContent = text || "\u00a0";
}
const chosen = (name) => document.querySelector(`input[name="${name}"]:checked`).value;
const choose = (name, value) => { document.querySelector(`input[name="${name}"][value="${value}"]`).checked = true; };

const state = {
  units: null,
  held: {}, // by field: the text that the page wrote into it, and the full value behind it
  judged: new Set(), // fields that were left, or whose typing rested
  open: new Set(), // fields in which typing goes on
  last: {}, // by question: what the answer on the page is for
  found: null, // the answer that the page shows, in full figures
  plan: null,
  student: null,
  isStarted: false, // from then on what a person does is kept
  isPrivate: false, // from a student taken to the next drive: nothing is kept or linked
};

// --- Fields ----------------------------------------------------------------------------------------------------------

function unitsOf(distance, speed) {
  return { distance: SETTINGS.units.distance[distance], speed: SETTINGS.units.speed[speed] };
}

function write(field, value) {
  const text = fieldText(field, value, state.units);
  element(field).value = text;
  state.held[field] = text === "" ? null : { text, value };
}

function heldValue(field) {
  const held = state.held[field];
  return held && held.text === element(field).value ? held.value : null;
}

function limitsHere(field, club) {
  if (field === "wind") return [0, DATA.condition_limits.wind[1]]; // head or tail is a choice, not a sign
  if (field in DATA.condition_limits) return DATA.condition_limits[field];
  // A goal's limits are those of the air, which may be still in the making: the plan says where it has no answer.
  return field === "goal" ? null : limitsOf(DATA, field, club);
}

// Whether typing on may bring what stands in a field in range; other air may carry a goal farther than standard air.
function mayGrow(field) {
  if (field !== "goal") return readAll()[field].mayGrow;
  const limits = limitsOf(DATA, "goal", null, { distance: chosen("distance") });
  const [lo, hi] = limits ? limits.map((limit) => limit / eachOf("goal", state.units)) : [0, 0];
  return canBecome(element("goal").value, lo, FARTHER * hi, true);
}

function readAll() {
  const club = readField("club", element("club").value, limitsHere("club"), state.units, TEXTS, heldValue("club"));
  return Object.fromEntries(NUMBER_FIELDS.map((field) => [field, field === "club" ? club : readField(
    field, element(field).value, limitsHere(field, club.value), state.units, TEXTS, heldValue(field),
  )]));
}

// What is standard is null; so is a field that another choice hides.
function conditionsOf(readings) {
  const { standard } = DATA;
  const other = (field, usual) => {
    const { value } = readings[field];
    return value === null || Math.abs(value - usual) < 1e-9 ? null : value;
  };
  const wind = other("wind", 0);
  const isPressure = chosen("air") === "pressure";
  const turf = chosen("turf");
  return {
    temp_c: other("temperature", standard.temp_c),
    pressure_hpa: isPressure ? other("pressure", standard.pressure_hpa) : null,
    altitude_m: isPressure ? null : readings.altitude.value,
    wind_mph: wind === null ? null : (chosen("wind-from") === "tail" ? wind : -wind),
    turf: turf === standard.turf ? null : turf,
  };
}

function writeConditions(conditions) {
  const { standard } = DATA;
  write("temperature", conditions.temp_c ?? standard.temp_c);
  write("pressure", conditions.pressure_hpa ?? standard.pressure_hpa);
  write("altitude", conditions.altitude_m);
  write("wind", Math.abs(conditions.wind_mph ?? 0));
  choose("wind-from", (conditions.wind_mph ?? 0) > 0 ? "tail" : "head");
  choose("air", conditions.altitude_m === null ? "pressure" : "altitude");
  choose("turf", conditions.turf ?? standard.turf);
}

const askedOf = (readings) => Object.fromEntries(DRIVE_FIELDS.map((field) => [field, readings[field].value]));

// --- From what stands in the fields to what is shown -----------------------------------------------------------------

// Whether a number is still being typed: nothing is refused meanwhile, not even what another field now doesn't go with.
const isTyping = () => NUMBER_FIELDS.some((field) => state.open.has(field));

function mark(readings) {
  NUMBER_FIELDS.forEach((field) => {
    const isWrong = readings[field].state === "off" && state.judged.has(field) && !isTyping();
    element(field).setAttribute("aria-invalid", isWrong ? "true" : "false");
  });
}

function sayConditions(conditions) {
  const { standard } = DATA;
  const what = conditionsWords(conditions, state.units, TEXTS);
  const temp = numberText(standard.temp_c, Number.isInteger(standard.temp_c) ? 0 : 1);
  const usual = { temp, turf: TEXTS.turf[standard.turf] };
  setText("to-conditions", what ? filledText(T.in_conditions, { what }) : filledText(T.standard, usual));
  show("standard", what !== "");
  element("to-conditions").parentElement.classList.toggle("other", what !== "");
}

function update() {
  clearTimeout(working);
  const readings = readAll();
  const question = chosen("question");
  const conditions = conditionsOf(readings);
  mark(readings);
  sayConditions(conditions);
  show("goal-row", question === "takes");
  show("takes", question === "takes");
  show("far", question === "far");
  keep(readings, conditions);
  const wanted = question === "takes" ? "goal" : "club";
  const off = NUMBER_FIELDS.filter((field) => isAsked(field, question) && readings[field].state === "off");
  const judged = isTyping() ? [] : off.filter((field) => state.judged.has(field));
  if (judged.length > 0) say(judged.map((field) => readings[field].sentence).join(" "), true);
  else if (off.length > 0) wait(question, readings[off[0]].sentence);
  else if (readings[wanted].state === "empty") say(startSentence(wanted, conditions), false);
  else answerNow(question, readings, conditions);
  fit();
}

// Fields that the question or another choice hides are not looked at.
function isAsked(field, question) {
  if (field === "goal") return question === "takes";
  if (field === "pressure" || field === "altitude") return chosen("air") === field;
  return true;
}

// What to type first, with the range that holds here; a goal's, where the air is the standard one.
function startSentence(wanted, conditions) {
  if (DATA.frontier.speed_mph.length === 0) return TEXTS.refusals.no_benchmarks;
  const isUsual = Object.values(conditions).every((value) => value === null);
  const hasLimits = wanted === "club" || isUsual;
  const limits = hasLimits ? limitsOf(DATA, wanted, null, { distance: chosen("distance") }) : null;
  return rangeSentence(wanted, limits, state.units, TEXTS);
}

function answerNow(question, readings, conditions) {
  if (question === "takes") {
    wait(question, T.working);
    workOn(conditions, () => { answerTakes(readings, conditions); fit(); });
    return;
  }
  const reason = answerFar(readings, conditions);
  if (reason === null) workOn(conditions, () => {});
  else if (isTyping()) wait(question, rangeSentence("club", limitsHere("club"), state.units, TEXTS));
  else say(reason, true);
}

// The answer stays in sight while the rest scrolls, unless big type makes it fill the screen.
function fit() {
  const results = element("results");
  const height = results.getBoundingClientRect().height;
  results.classList.toggle("stays", height <= innerHeight / 2);
  document.documentElement.style.setProperty("--answer", `${Math.ceil(height)}px`);
}

let resting = 0;
function typed(field) {
  state.judged.delete(field);
  state.open.add(field);
  clearTimeout(resting);
  resting = setTimeout(() => { if (!mayGrow(field)) judge(field); }, REST_MS);
  update();
}

function judge(field) {
  state.judged.add(field);
  state.open.delete(field);
  update();
}

// --- What stays ------------------------------------------------------------------------------------------------------

function valuesNow(readings, conditions) {
  const fields = Object.fromEntries([...DRIVE_FIELDS, "goal"].map((field) => [field, readings[field].value]));
  return { question: chosen("question"), distance: chosen("distance"), fields, conditions };
}

function keep(readings, conditions) {
  if (state.isStarted && !state.isPrivate) keepValue(KEPT, valuesNow(readings, conditions));
}

function put(values) {
  choose("question", values.question);
  choose("distance", values.distance);
  Object.entries(values.fields).forEach(([field, value]) => write(field, value));
  writeConditions(values.conditions);
  NUMBER_FIELDS.forEach((field) => state.judged.add(field));
  if (Object.values(values.conditions).some((value) => value !== null)) element("conditions").open = false;
}

function setUnits() {
  const before = readAll();
  state.units = unitsOf(chosen("distance-unit"), chosen("speed-unit"));
  NUMBER_FIELDS.filter((field) => before[field].state === "good" && FIELDS[field].kind !== "plain")
    .forEach((field) => write(field, before[field].value));
  sayUnits();
  keepValue(KEPT_UNITS, { distance: chosen("distance-unit"), speed: chosen("speed-unit") });
  state.last = {};
  update();
}

function sayUnits() {
  NUMBER_FIELDS.forEach((field) => setText(`${field}-unit`, unitOf(field, state.units, TEXTS)));
  const tolerance = distanceText(SETTINGS.tolerance_yd, state.units);
  setText("means-window", filledText(T.means_window, { tolerance }));
}

function nextDrive() {
  clearDrive();
  state.isPrivate = false;
  update();
}

function clearDrive() {
  state.student = null;
  state.last = {};
  [...DRIVE_FIELDS, "goal"].forEach((field) => write(field, null));
  forgetShown();
}

// Takes what an earlier drive or student left in the page's places out of them.
function forgetShown() {
  document.querySelectorAll("#results data").forEach((place) => { place.value = ""; place.textContent = "\u2013"; });
  document.querySelectorAll("#far p[id], #takes :is(p, span)[id]:not(#pace)")
    .forEach((place) => setPlace(place.id, ""));
  state.found = null;
  state.plan = null;
  element("drawing").replaceChildren();
  ["picture-title", "picture-topic", "picture-words", "landing-title", "landing-drive", "landing-most", "notes",
    "copy-said", "announcement"]
    .forEach((id) => setText(id, ""));
  element("link").value = "";
  element("who").value = "";
  show("who", false);
  show("link-row", false);
}

async function copyLink() {
  if (state.isPrivate) {
    setText("copy-said", T.no_link);
    return;
  }
  const readings = readAll();
  const address = `${location.href.split("#")[0]}#${fragmentOf(valuesNow(readings, conditionsOf(readings)))}`;
  try {
    await navigator.clipboard.writeText(address);
    setText("copy-said", T.copied);
  } catch {
    setText("copy-said", T.copy_by_hand);
    show("link-row", true);
    element("link").value = address;
    element("link").select();
  }
}

// --- Wiring ----------------------------------------------------------------------------------------------------------

function openConditions() {
  element("conditions").open = true;
  element("wind").focus();
  element("conditions").scrollIntoView({ block: "start" });
}

function wireFields() {
  NUMBER_FIELDS.forEach((field) => {
    const input = element(field);
    input.addEventListener("input", () => typed(field));
    input.addEventListener("focus", () => input.select());
    input.addEventListener("blur", () => judge(field));
    input.addEventListener("keydown", (event) => {
      // On a phone this puts the keypad away.
      if (event.key === "Enter" && matchMedia("(pointer: coarse)").matches) input.blur();
    });
  });
  ["ask", "form"].forEach((id) => element(id).addEventListener("submit", (event) => event.preventDefault()));
}

function wireChoices() {
  const on = (name, act) => document.querySelectorAll(`input[name="${name}"]`)
    .forEach((input) => input.addEventListener("change", act));
  ["question", "distance", "wind-from", "turf"].forEach((name) => on(name, update));
  ["distance-unit", "speed-unit"].forEach((name) => on(name, setUnits));
  on("air", () => { showAir(); update(); });
}

function showAir() {
  show("pressure-row", chosen("air") === "pressure");
  show("altitude-row", chosen("air") !== "pressure");
}

function wireButtons() {
  element("clear").addEventListener("click", () => {
    nextDrive();
    scrollTo(0, 0);
    element(chosen("question") === "takes" ? "goal" : "club").focus();
  });
  element("to-conditions").addEventListener("click", openConditions);
  element("standard").addEventListener("click", () => {
    writeConditions({ temp_c: null, pressure_hpa: null, altitude_m: null, wind_mph: null, turf: null });
    showAir();
    update();
    element("to-conditions").focus();
  });
  element("copy").addEventListener("click", copyLink);
  element("save").addEventListener("click", savePage);
}

// A browser that can install the page says so, where it is served.
function wireInstalling() {
  let offer = null;
  addEventListener("beforeinstallprompt", (event) => {
    event.preventDefault();
    offer = event;
    show("install", true);
  });
  element("install").addEventListener("click", () => offer.prompt());
  addEventListener("appinstalled", () => show("install", false));
}

function start() {
  const kept = keptValue(KEPT_UNITS) ?? {};
  const known = (kind) => (kept[kind] in SETTINGS.units[kind] ? kept[kind] : SETTINGS.start[kind]);
  choose("distance-unit", known("distance"));
  choose("speed-unit", known("speed"));
  state.units = unitsOf(known("distance"), known("speed"));
  sayUnits();
  wireFields();
  wireChoices();
  wireButtons();
  wireInstalling();
  wireStudents();
  const open = () => {
    put(valuesOfFragment(location.hash) ?? soundValues(keptValue(KEPT)));
    showAir();
    update();
  };
  open();
  state.isStarted = true;
  addEventListener("hashchange", () => {
    if (!valuesOfFragment(location.hash)) return;
    nextDrive();
    open();
  });
  addEventListener("resize", fit);
  // What the model prepares once is prepared while the first digit is on its way.
  const limits = limitsOf(DATA, "club");
  if (limits) setTimeout(() => lookUp(DATA, { club: limits[0] }), 0);
}

start();
