// The frame of the academy's page: the data, the views by the address's fragment, and what a view may use.
//
// A view is a script of its own that registers itself and says how it is drawn:
//
//   VIEWS.golfer = { title(argument, context) {...}, show(root, argument, context) {...} };
//
// `show` fills `root`, which is empty, and may return a function that is called before the view is left. `title` gives
// the words behind the academy's name in the window's title; names never go there, for browsers keep titles. A view that
// draws stories has `needsStories: true`, so that it waits for the whole file. `onPrint: true` makes `show` be called
// again with `context.printing` true before printing, and once more afterwards.
//
// Fragments: #golfer/CODE?from=table gives view "golfer", argument "CODE" and context.filters with from=table.

const VIEWS = {};

const partOf = (name) => {
  let kept;
  return () => (kept ??= JSON.parse(document.getElementById(`data-${name}`).textContent));
};

// Each part is parsed when it is first asked for.
const DATA = {};
document.querySelectorAll("script[id^='data-']").forEach(({ id }) => {
  const name = id.slice("data-".length);
  Object.defineProperty(DATA, name, { get: partOf(name), enumerable: true });
});

// Rows of the golfers' table as objects, and where each golfer stands.
const GOLFERS = (() => {
  let kept;
  return () => {
    if (kept) return kept;
    const { columns, rows } = DATA.golfers;
    const list = rows.map((row) => Object.fromEntries(columns.map((name, place) => [name, row[place]])));
    kept = { list, byCode: new Map(list.map((row, place) => [row.golfer, { row, place }])) };
    return kept;
  };
})();

const CHUNKS = new Map();

// A golfer's story; null for a golfer without one. Only the chunk that holds it is parsed.
function storyOf(code) {
  const place = GOLFERS().byCode.get(code)?.place;
  if (place === undefined) return null;
  const chunk = Math.floor(place / DATA.settings.stories_each);
  if (!CHUNKS.has(chunk)) {
    CHUNKS.set(chunk, JSON.parse(document.getElementById(`stories-${chunk}`)?.textContent ?? "{}"));
  }
  return CHUNKS.get(chunk)[code] ?? null;
}

// A golfer's whole code from any unique beginning of it, with or without the leading g; null otherwise.
function codeOf(typed) {
  const wanted = typed.trim().toLowerCase();
  if (GOLFERS().byCode.has(wanted)) return wanted;
  const found = wanted ? GOLFERS().list.filter(({ golfer }) => golfer.startsWith(wanted) || golfer.startsWith(`g${wanted}`)) : [];
  return found.length === 1 ? found[0].golfer : null;
}

// --- Figures as the package shows them; see lookup_shown.js -------------------------------------------------------------

const NOT_KNOWN = "–";
const ifKnown = (write) => (value, ...more) => (value === null || value === undefined ? NOT_KNOWN : write(value, ...more));
const unitsOf = () => DATA.settings.units;
const FMT = {
  get distanceUnit() { return unitsOf().distance.text; },
  get speedUnit() { return unitsOf().speed.text; },
  yards: ifKnown((yd) => distanceFigure(yd, unitsOf())),
  yardsUnit: ifKnown((yd) => distanceText(yd, unitsOf())),
  signedYards: ifKnown((yd) => signedText(yd / unitsOf().distance.each)),
  yardsRange: (lo, hi) => (lo === null || hi === null ? "" : `${FMT.yards(lo)} to ${FMT.yardsUnit(hi)}`),
  speed: ifKnown((mph) => speedFigure(mph, unitsOf())),
  speedUnitText: ifKnown((mph) => speedText(mph, unitsOf())),
  angle: ifKnown((deg) => `${angleFigure(deg)} deg`),
  spin: ifKnown((rpm) => `${spinFigure(rpm)} rpm`),
  ratio: ifKnown((ratio) => numberText(ratio, 2)),
  percent: ifKnown((share) => `${wholeOf(100 * share)} %`),
  number: ifKnown(numberText),
  signed: ifKnown(signedText),
  // Parts of a whole in whole units that add up to the whole as shown; null parts stay null.
  parts: (partsYd, totalYd) => partsWhole(partsYd, unitsOf(), distanceWhole(totalYd, unitsOf())),
  quarter: (quarter) => quarter.replace("Q", " Q"),
};

// --- Small helpers for elements ------------------------------------------------------------------------------------------

// An element with properties and children; `dataset`, `class` and attributes with a hyphen go where they belong.
function el(tag, given = {}, ...children) {
  const made = document.createElement(tag);
  Object.entries(given).forEach(([name, value]) => {
    if (value === null || value === undefined) return;
    if (name === "class") made.className = value;
    else if (name === "dataset") Object.assign(made.dataset, value);
    else if (name.includes("-") || name === "role" || name === "for") made.setAttribute(name, value);
    else made[name] = value;
  });
  made.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== ""));
  return made;
}

// Three dots beside the word, so that it is seen before it is read.
const SURE_DOTS = { sure: "●●●", likely: "●●○", "can't tell": "●○○" };
function sureMark(sure) {
  return el("span", { class: "sure" }, el("span", { class: "dots", "aria-hidden": "true" }, SURE_DOTS[sure] ?? ""), ` ${DATA.texts[`sure_${sure.replace(/\W+/g, "_")}`] ?? sure}`);
}

// A chart of Plot as one picture with words, not as a heap of parts.
function asPicture(chart, words) {
  chart.querySelectorAll("[aria-label]").forEach((part) => part.removeAttribute("aria-label"));
  chart.setAttribute("role", "img");
  chart.setAttribute("aria-label", words);
  return chart;
}

const fill = (key, words = {}) => filledIn(DATA.texts[key] ?? key, words);

// --- Names: held here and nowhere else, gone with the page ---------------------------------------------------------------

const NAMES = { roster: NO_STUDENTS, callbacks: new Set() };
const nameOf = (code) => NAMES.roster.names.get(code) ?? GOLFERS().byCode.get(code)?.row.short ?? code;
// A text of the payload with names in place of the short codes in it.
const namedText = (text) => (hasNames() ? text.replace(/\bg[0-9a-f]{5,}\b/g, (word) => nameOf(codeOf(word) ?? word)) : text);
const hasNames = () => NAMES.roster.names.size > 0;

function setNames(roster) {
  NAMES.roster = roster;
  NAMES.callbacks.forEach((callback) => callback());
}

// --- Views by fragment ---------------------------------------------------------------------------------------------------

const DEFAULT_VIEW = "quarter";
const PLACE = { leave: null, name: null };

function readFragment(fragment) {
  const [path, query = ""] = fragment.replace(/^#/, "").split("?", 2);
  const [name, ...rest] = path.split("/");
  const known = Object.hasOwn(VIEWS, name);
  return { name: known ? name : DEFAULT_VIEW, argument: decodeURIComponent(known ? rest.join("/") : ""), filters: new URLSearchParams(query) };
}

const go = (fragment) => { location.hash = fragment.replace(/^#/, ""); };

function contextOf(filters, printing = false) {
  return {
    data: DATA, golfers: GOLFERS, story: storyOf, codeOf, nameOf, namedText, hasNames, sureMark, fmt: FMT, go, filters, printing, el, fill, asPicture,
    get texts() { return DATA.texts; },
    // Called when names come or go, until the view is left.
    onNames(callback) { NAMES.callbacks.add(callback); },
  };
}

function showView({ printing = false, keepPlace = false } = {}) {
  const { name, argument, filters } = readFragment(location.hash);
  const root = document.getElementById("view");
  PLACE.leave?.();
  NAMES.callbacks.clear();
  const context = contextOf(filters, printing);
  const view = VIEWS[name];
  const inner = el("div", { class: `view view-${name}` });
  root.replaceChildren(inner);
  document.querySelectorAll("#contents a").forEach((link) => {
    const isHere = link.dataset.view === (name === "golfer" ? "golfers" : name);
    if (isHere) link.setAttribute("aria-current", "page"); else link.removeAttribute("aria-current");
  });
  document.title = [DATA.study.title, view.title?.(argument, context)].filter(Boolean).join(": ");
  PLACE.leave = view.show(inner, argument, context) ?? null;
  PLACE.name = name;
  if (!keepPlace) scrollTo(0, 0);
}

// --- The file without anything that a person did to it --------------------------------------------------------------------

const AS_IT_CAME = Object.fromEntries(["top", "view"].map((id) => [id, document.getElementById(id).outerHTML]));
const TITLE_AS_IT_CAME = document.title;
const PAGE_FILE = "academy.html";
const FREE_AFTER_MS = 60_000; // the browser has taken the file by then

// The page's source: what scripts filled in is put back to how it came, and what they added is left out.
function pageSource() {
  const copy = document.documentElement.cloneNode(true);
  Object.entries(AS_IT_CAME).forEach(([id, source]) => {
    const made = document.createElement("template");
    made.innerHTML = source;
    copy.querySelector(`#${id}`).replaceWith(made.content);
  });
  copy.querySelector("title").textContent = TITLE_AS_IT_CAME;
  [...copy.querySelector("body").children].filter((one) => one.id !== "page" && one.tagName !== "SCRIPT").forEach((one) => one.remove());
  [copy, copy.querySelector("body")].forEach((one) => [...one.attributes].filter(({ name }) => name !== "lang").forEach(({ name }) => one.removeAttribute(name)));
  return `<!DOCTYPE html>\n${copy.outerHTML}`;
}

function savePage() {
  const link = el("a", { href: URL.createObjectURL(new Blob([pageSource()], { type: "text/html" })), download: PAGE_FILE });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), FREE_AFTER_MS);
}

// To be called after all views have registered.
function start() {
  const first = readFragment(location.hash);
  const whenReady = (act) => (document.readyState === "loading" ? document.addEventListener("DOMContentLoaded", act) : act());
  if (VIEWS[first.name].needsStories) whenReady(() => showView()); else showView();
  addEventListener("load", () => Object.values(VIEWS).forEach((view) => {
    if (view.prepare) (window.requestIdleCallback ?? setTimeout)(() => view.prepare());
  }));
  addEventListener("hashchange", () => {
    // A view may write its own filters into the fragment with history.replaceState, which doesn't come here.
    document.getElementById("view").focus({ preventScroll: true });
    showView();
  });
  addEventListener("beforeprint", () => { if (VIEWS[PLACE.name].onPrint) showView({ printing: true, keepPlace: true }); });
  addEventListener("afterprint", () => { if (VIEWS[PLACE.name].onPrint) showView({ keepPlace: true }); });
}
