// How figures are shown: the twin of pipeline/shown.py, kept equal by tests/report/test_lookup_shown.py.
// `units` is { distance: { text, each }, speed: { text, each, decimals } }: yards and mph in one unit of each.

const ANGLE_STEP_DEG = 0.5;
const SPIN_STEP_RPM = 50;
const ON_STEP = 1e-6;
const MINUS = "\u2212"; // a sign, not a hyphen

// To multiples of a step, halves up; a step below 1 is one over a whole number.
function roundedTo(value, step = 1) {
  if (step >= 1) return step * Math.floor(value / step + 0.5) + 0;
  const parts = Math.round(1 / step);
  return Math.floor(value * parts + 0.5) / parts + 0;
}

const wholeOf = (value) => Math.floor(value + 0.5) + 0;

// Whole parts that add up to the shown whole, by the largest remainder; of equal ones the earlier goes up.
function addingUp(parts, total = wholeOf(parts.reduce((sum, part) => sum + part, 0))) {
  if (!parts.length) return [];
  const low = parts.map(Math.floor);
  const missing = total - low.reduce((sum, part) => sum + part, 0);
  const each = Math.floor(missing / parts.length);
  const some = missing - each * parts.length;
  const order = parts.map((_, index) => index).sort((a, b) => (low[a] - parts[a]) - (low[b] - parts[b]) || a - b);
  const most = new Set(order.slice(0, some));
  return low.map((part, index) => part + each + (most.has(index) ? 1 : 0));
}

function numberText(value, decimals = 0) {
  const [whole, rest] = Math.abs(roundedTo(value, 10 ** -decimals)).toFixed(decimals).split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, ",");
  const sign = roundedTo(value, 10 ** -decimals) < 0 ? MINUS : "";
  return `${sign}${grouped}${rest ? `.${rest}` : ""}`;
}

const signedText = (value, decimals = 0) => (
  `${roundedTo(value, 10 ** -decimals) > 0 ? "+" : ""}${numberText(value, decimals)}`
);
const angleFigure = (deg) => numberText(roundedTo(deg, ANGLE_STEP_DEG), 1).replaceAll(",", "");
const spinFigure = (rpm) => numberText(roundedTo(rpm, SPIN_STEP_RPM));

// A window's edges moved inward to the step; null where no step lies inside.
function inwardTo(lo, hi, step) {
  const first = Math.ceil(lo / step - ON_STEP);
  const last = Math.floor(hi / step + ON_STEP);
  return first > last ? null : [first * step, last * step];
}

function windowFigures(edges, step, figure) {
  const moved = edges && inwardTo(edges[0], edges[1], step);
  return moved && moved.map(figure);
}

const distanceWhole = (yd, units) => wholeOf(yd / units.distance.each);
const distanceFigure = (yd, units) => numberText(distanceWhole(yd, units));
const distanceText = (yd, units) => `${distanceFigure(yd, units)} ${units.distance.text}`;
const partsWhole = (partsYd, units, total) => addingUp(partsYd.map((part) => part / units.distance.each), total);
const speedFigure = (mph, units) => numberText(mph / units.speed.each, units.speed.decimals);
const speedText = (mph, units) => `${speedFigure(mph, units)} ${units.speed.text}`;
const typedText = (value) => String(Number(value.toPrecision(6)));
