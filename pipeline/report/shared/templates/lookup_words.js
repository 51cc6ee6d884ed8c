// What a person types, and the sentences for what gets no answer. The twin of `typed_number` in pipeline/typed.py, both
// tested with tests/report/typed_numbers.json, and of pipeline/texts/sentences.py. A sentence is a section and a key of the
// catalogue with the figures that it names.

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

// As the page has `Units` of pipeline/shown.py: what one unit of distance or speed is in yards or mph.
const PLAIN_UNITS = { distance: { text: "yd", each: 1 }, speed: { text: "mph", each: 1, decimals: 0 } };

// Why a distance can't be asked for: "Distance: give a number from 170 to 330 yd."; see `refusal_of` of typed.py.
function distanceRefusal(data, limits, units) {
  const { text, each } = units.distance;
  const [lo, hi] = limits.map((limit) => limit / each);
  const ends = inwardTo(lo, hi, 1);
  const [least, most] = (ends ?? [lo, hi]).map((end) => numberText(end, ends ? 0 : 1));
  return filledIn(data.texts.numbers.range, { what: data.texts.asked.distance, lo: least, hi: `${most} ${text}` });
}

// --- Sentences of the catalogue; see pipeline/texts/sentences.py ----------------------------------------------------

// A figure's word in a sentence and its text. Speeds stand as typed, but those of the study's ends, and "from 65 to 119
// mph" has the unit once. Texts are filled in as they are.
function writtenFigure(data, name, value, units) {
  if (typeof value === "string") return [name, value];
  const cut = name.lastIndexOf("_");
  const [word, unit] = cut < 0 ? [name, name] : [name.slice(0, cut), name.slice(cut + 1)];
  if (unit === "mph") {
    if (word === "lo") return [word, speedFigure(value, units)];
    if (word === "hi") return [word, speedText(value, units)];
    return [word, `${typedText(value / units.speed.each)} ${units.speed.text}`];
  }
  if (unit === "deg") return [word, `${numberText(value, 1)} ${data.texts.units.deg}`];
  if (unit === "rpm") return [word, `${numberText(value)} ${data.texts.units.rpm}`];
  return [word === unit ? name : `ratio_${word}`, numberText(value, 2)];
}

function sentenceOf(data, [section, key, figures], units) {
  const words = Object.entries(figures).map(([name, value]) => writtenFigure(data, name, value, units));
  return filledIn(data.texts[section][key], Object.fromEntries(words));
}

// --- Why there is no answer ------------------------------------------------------------------------------------------

// Why a drive { club, ratio, launch, spin } gets no answer; null where it does. `usual` is the usual drive's.
function refusalOf(ready, drive, usual) {
  const { speeds, near } = ready;
  const speed = drive.club;
  if (!speeds.length) return ["refusals", "no_benchmarks", {}];
  if (!reachesSpeed(ready, speed)) {
    const [lo, hi] = [speeds[0], speeds[speeds.length - 1]];
    if (lo <= speed && speed <= hi) return ["refusals", "gap", { speed_mph: speed }];
    return ["refusals", "beyond", { speed_mph: speed, lo_mph: lo, hi_mph: hi }];
  }
  const place = nearestPlace(speeds, speed);
  if (!(inEllipse(ready, place, drive) || isReachable(ready, drive))) {
    const usually = { usual_launch_deg: usual.launch, usual_spin_rpm: usual.spin };
    return ["refusals", "delivery", { speed_mph: speed, launch_deg: drive.launch, spin_rpm: drive.spin, ...usually }];
  }
  if (inRatios(ready, place, drive.ratio)) return null;
  const ratios = { ratio: drive.ratio, lo_ratio: near.ratio_lo[place], hi_ratio: near.ratio_hi[place] };
  return ["refusals", "ratio", { speed_mph: speed, ball_mph: speed * drive.ratio, ...ratios }];
}
