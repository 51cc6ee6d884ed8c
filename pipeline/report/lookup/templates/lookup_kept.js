// What stays from one visit to the next, and the link with values in its fragment. Only what was typed goes in here,
// never anything of a student: the page doesn't call these while one is open.

const LINK_FIELDS = ["club", "ball", "launch", "spin", "goal"];
const TURFS = ["soft", "normal", "firm"];
const LINK_CONDITIONS = ["altitude_m", "pressure_hpa", "temp_c", "wind_mph"];

// A browser may forbid storage, or have none for files; the page then works without.
function keptValue(key) {
  try {
    return JSON.parse(localStorage.getItem(key));
  } catch {
    return null;
  }
}

function keepValue(key, value) {
  try {
    localStorage.setItem(key, JSON.stringify(value));
  } catch {
    // Nothing is kept then.
  }
}

const finite = (value) => (typeof value === "number" && Number.isFinite(value) ? value : null);
const oneOf = (value, allowed, usual) => (allowed.includes(value) ? value : usual);

// Values from outside, a storage or a link, made safe: { question, distance, fields, conditions }; null is not known.
function soundValues(given) {
  const { fields = {}, conditions = {}, question, distance } = given && typeof given === "object" ? given : {};
  const numbers = (source, names) => Object.fromEntries(names.map((name) => [name, finite(source?.[name])]));
  return {
    question: oneOf(question, ["far", "takes"], "far"),
    distance: oneOf(distance, ["carry", "total"], "carry"),
    fields: numbers(fields, LINK_FIELDS),
    conditions: { ...numbers(conditions, LINK_CONDITIONS), turf: oneOf(conditions?.turf, TURFS, null) },
  };
}

const shortNumber = (value) => String(Number(value.toPrecision(9)));

function fragmentOf({ question, distance, fields, conditions }) {
  const words = new URLSearchParams();
  if (question !== "far") words.set("ask", question);
  if (distance !== "carry") words.set("distance", distance);
  Object.entries({ ...fields, ...conditions }).forEach(([name, value]) => {
    if (value !== null && value !== undefined) words.set(name, typeof value === "number" ? shortNumber(value) : value);
  });
  return words.toString();
}

// Null where the fragment has no value of ours.
function valuesOfFragment(fragment) {
  const words = new URLSearchParams(fragment.replace(/^#/, ""));
  const number = (name) => (words.get(name) ? Number(words.get(name)) : null);
  const some = (names) => Object.fromEntries(names.map((name) => [name, number(name)]));
  const known = ["ask", "distance", "turf", ...LINK_FIELDS, ...LINK_CONDITIONS].some((name) => words.has(name));
  if (!known) return null;
  return soundValues({
    question: words.get("ask"),
    distance: words.get("distance"),
    fields: some(LINK_FIELDS),
    conditions: { ...some(LINK_CONDITIONS), turf: words.get("turf") },
  });
}
