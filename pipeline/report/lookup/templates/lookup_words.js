// What a person types, and the sentences for what gets no answer. The twin of `typed_number` in pipeline/typed.py, both
// tested with tests/report/typed_numbers.json, and of pipeline/benchmark/refusals.py.

// Names of the page's fields and conditions in `ASKED` of pipeline/typed.py.
const ASKED_NAMES = { club: "club_speed", ball: "ball_speed", goal: "distance", altitude_m: "altitude",
  pressure_hpa: "pressure", temp_c: "temperature", wind_mph: "wind" };
const askedName = (field) => ASKED_NAMES[field] ?? field;
const PARTING_FIELDS = ["spin", "altitude", "pressure"]; // a mark before just three last digits parts thousands

const PARTED = /^([+-]?)([1-9][0-9]{0,2})(?:[.,]|[ \u00a0\u2009\u202f]|['\u2019])([0-9]{3})$/;
const DECIMAL = /^[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)$/;

// A typed number as it stands, in the unit typed; null if it is none.
function readNumber(text, field) {
  const plain = text.trim().replaceAll("\u2212", "-");
  const parted = PARTING_FIELDS.includes(askedName(field)) ? PARTED.exec(plain) : null;
  if (parted) return Number(parted.slice(1).join(""));
  return DECIMAL.test(plain) ? Number(plain.replace(",", ".")) : null;
}

const filledIn = (sentence, words) => sentence.replace(/\{(\w+)\}/g, (_, name) => words[name]);

// --- Why there is no answer ------------------------------------------------------------------------------------------

// To some decimals, exact halves to the even digit, as Python's format has it. A half is a multiple of a power of two.
function evenly(value, decimals) {
  const halves = value * 2 ** (decimals + 1);
  if (!Number.isInteger(halves) || halves % 2 === 0) return value.toFixed(decimals);
  const scale = 10 ** decimals;
  const low = Math.floor(value * scale);
  return ((low % 2 === 0 ? low : low + 1) / scale).toFixed(decimals);
}

// As `Units.as_json` of pipeline/shown.py gives them to the page: one unit in yards or in mph.
const PLAIN_UNITS = { distance: { text: "yd", each: 1 }, speed: { text: "mph", each: 1, decimals: 0 } };

// A figure's word in a sentence and its text. Speeds are as typed, but those of the study's ends.
function writtenFigure(name, value, units) {
  const cut = name.lastIndexOf("_");
  const [word, unit] = cut < 0 ? [name, name] : [name.slice(0, cut), name.slice(cut + 1)];
  if (unit === "mph") {
    const there = value / units.speed.each;
    const isEnd = word === "lo" || word === "hi";
    return [word, `${isEnd ? numberText(there, units.speed.decimals) : typedText(there)} ${units.speed.text}`];
  }
  if (unit === "yd") return [word, `${distanceText(value, units)}`];
  if (unit === "deg") return [word, `${evenly(value, 1)} deg`];
  if (unit === "rpm") return [word, `${evenly(value, 0).replace(/\B(?=(\d{3})+$)/g, ",")} rpm`];
  if (typeof value === "string") return [name, value];
  return [word === unit ? name : `ratio_${word}`, evenly(value, 2)];
}

const wordsOf = (figures, units) => (
  Object.fromEntries(Object.entries(figures).map(([name, value]) => writtenFigure(name, value, units)))
);

const refusalSentence = (data, { key, figures }, units) => filledIn(data.texts.refusals[key], wordsOf(figures, units));

const noteSentence = (data, [section, key, figures], units) => (
  filledIn(data.texts[section][key], wordsOf(figures, units))
);

// Why a drive { club, ratio, launch, spin } gets no answer; null where it does. `usual` is the usual drive's.
function refusalOf(ready, drive, usual) {
  const { speeds, near } = ready;
  const speed = drive.club;
  if (!speeds.length) return { key: "no_benchmarks", figures: {} };
  if (!reachesSpeed(ready, speed)) {
    const [lo, hi] = [speeds[0], speeds[speeds.length - 1]];
    if (lo <= speed && speed <= hi) return { key: "gap", figures: { speed_mph: speed } };
    return { key: "beyond", figures: { speed_mph: speed, lo_mph: lo, hi_mph: hi } };
  }
  const place = nearestPlace(speeds, speed);
  if (!(inEllipse(ready, place, drive) || isReachable(ready, drive))) {
    return { key: "delivery", figures: { speed_mph: speed, launch_deg: drive.launch, spin_rpm: drive.spin,
      usual_launch_deg: usual.launch, usual_spin_rpm: usual.spin } };
  }
  if (inRatios(ready, place, drive.ratio)) return null;
  return { key: "ratio", figures: { speed_mph: speed, ball_mph: speed * drive.ratio, ratio: drive.ratio,
    lo_ratio: near.ratio_lo[place], hi_ratio: near.ratio_hi[place] } };
}
