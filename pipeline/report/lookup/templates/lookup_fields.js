// What is typed into the fields: read, judged and written. Pure functions; the sentences are the catalogue's, as in
// pipeline/typed.py. Inside, speeds are mph and distances yd.

// `asked` is the name in the catalogue; `step` and `decimals` are those of the limits that a sentence gives.
const FIELDS = {
  club: { asked: "club_speed", kind: "speed" },
  ball: { asked: "ball_speed", kind: "speed" },
  launch: { asked: "launch", kind: "plain", unit: "deg", step: 0.5, decimals: 1 },
  spin: { asked: "spin", kind: "plain", unit: "rpm", step: 50, decimals: 0 },
  goal: { asked: "distance", kind: "distance" },
  temperature: { asked: "temperature", kind: "plain", unit: "degC", step: 1, decimals: 0 },
  pressure: { asked: "pressure", kind: "plain", unit: "hPa", step: 1, decimals: 0 },
  altitude: { asked: "altitude", kind: "plain", unit: "m", step: 1, decimals: 0 },
  wind: { asked: "wind", kind: "speed" },
};
const DRIVE_FIELDS = ["club", "ball", "launch", "spin"];
const AIR_FIELDS = ["temperature", "pressure", "altitude", "wind"];

const filledText = (sentence, words) => sentence.replace(/\{(\w+)\}/g, (_, name) => words[name]);
const eachOf = (field, units) => (FIELDS[field].kind === "plain" ? 1 : units[FIELDS[field].kind].each);
const unitOf = (field, units, texts) => (
  FIELDS[field].kind === "plain" ? texts.units[FIELDS[field].unit] : units[FIELDS[field].kind].text
);

// Least and most as a sentence gives them: moved inward to the field's steps.
function limitsShown(field, [lo, hi], units) {
  const { kind } = FIELDS[field];
  const each = eachOf(field, units);
  const isFine = kind === "speed" && units.speed.decimals > 0;
  const step = isFine ? 0.5 : FIELDS[field].step ?? 1;
  const decimals = isFine ? units.speed.decimals : FIELDS[field].decimals ?? 0;
  const ends = inwardTo(lo / each, hi / each, step);
  return (ends ?? [lo / each, hi / each]).map((end) => numberText(end, ends ? decimals : decimals + 1));
}

function rangeSentence(field, limits, units, texts) {
  const what = texts.asked[FIELDS[field].asked];
  if (!limits) return filledText(texts.numbers.no_range, { what });
  const [lo, hi] = limitsShown(field, limits, units);
  return filledText(texts.numbers.range, { what, lo, hi: `${hi} ${unitOf(field, units, texts)}` });
}

// Whether typing on could still give a number from lo to hi, both in the unit that is typed; `isLonger` asks for more
// digits before the point, of a number that holds already.
function canBecome(text, lo, hi, isLonger = false) {
  const plain = text.trim().replace("\u2212", "-").replace(",", ".");
  if (/^[+-]?$/.test(plain)) return true;
  const parts = /^([+-]?)(\d*)(\.?)(\d*)$/.exec(plain);
  if (!parts) return false;
  const [, sign, whole, point, rest] = parts;
  const [least, most] = sign === "-" ? [-hi, -lo] : [lo, hi];
  const meets = (from, width) => from <= most && from + width > least;
  const value = Number(`${whole || 0}.${rest || 0}`);
  if (point) return !isLonger && meets(value, 10 ** -rest.length);
  return (isLonger ? [10, 100, 1000] : [1, 10, 100, 1000]).some((scale) => meets(value * scale, scale));
}

// One field as it stands: `empty`, `good` with its value, or `off` with the sentence for it and whether typing on may
// still bring it in. `limits` are in mph, yd or the field's own unit; null limits nothing. `held` is a value that was
// put into the field with its text, such as a student's, whose digits the text doesn't show.
function readField(field, text, limits, units, texts, held = null) {
  if (text.trim() === "") return { state: "empty", value: null };
  const each = eachOf(field, units);
  const number = held ?? readNumber(text, FIELDS[field].asked);
  const [lo, hi] = limits ? limits.map((limit) => limit / each) : [-Infinity, Infinity];
  if (number !== null) {
    const value = held ?? number * each;
    // A limit that is shown can be typed, though factors of units move it by their rounding.
    const kept = limits ? Math.min(Math.max(value, limits[0]), limits[1]) : value;
    if (Math.abs(value - kept) <= ON_STEP * each) {
      return { state: "good", value: kept, mayGrow: canBecome(text, lo, hi, true) };
    }
  }
  const sentence = rangeSentence(field, limits, units, texts);
  return { state: "off", value: null, sentence, mayGrow: canBecome(text, lo, hi) };
}

// A value as it is written into a field: short, but to a tenth where that is what instruments give.
function fieldText(field, value, units) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "";
  const decimals = { spin: 0, altitude: 0, pressure: 2 }[field] ?? 1;
  return String(roundedTo(value / eachOf(field, units), 10 ** -decimals));
}
