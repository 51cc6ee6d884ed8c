// What a distance takes: needed club speeds, and how much of the gap is delivery and how much is speed. Step for step
// what pipeline/coach/goals/needed_speed.py, one_goal.py and pace.py do, for one golfer.

// --- Curves over the grid of club speeds -----------------------------------------------------------------------------

// Efficient yards with the edges of their interval, of carry or of carry and roll together.
function distanceCurve(ready, frontier, isCarry) {
  const columns = frontier.columns();
  const { carry_yd: carry, lo90_yd: lo90, hi90_yd: hi90, total_yd: total } = columns;
  if (isCarry) return { yards: carry, lo90, hi90 };
  // The run is calculated and has no doubt of its own there, so that the interval is as wide as that of carry.
  const withRun = (edge) => edge.map((yards, i) => yards + (total[i] - carry[i]));
  return { yards: total, lo90: withRun(lo90), hi90: withRun(hi90) };
}

// The least club speed at which a curve over the grid reaches a goal; NaN where it doesn't within the data.
function speedFor(ready, curve, yards, goal) {
  const { speeds } = ready;
  const after = yards.findIndex((value) => value >= goal);
  if (after < 0 || (after === 0 && !(yards[0] <= goal))) return NaN;
  const before = Math.max(after - 1, 0);
  const [low, high] = [yards[before], yards[after]];
  const share = high > low ? (goal - low) / (high - low) : 0;
  const speed = speeds[before] + share * (speeds[after] - speeds[before]);
  return Number.isNaN(between(ready, curve.yards, speed)) ? NaN : speed;
}

function neededEfficient(ready, curve, goal, lastingYd) {
  const own = ready.data.z90 * lastingYd;
  const edge = (other, sign) => curve.yards.map((y, i) => y + sign * Math.hypot(other[i] - y, own));
  return [curve.yards, edge(curve.hi90, 1), edge(curve.lo90, -1)].map((yards) => speedFor(ready, curve, yards, goal));
}

// --- What a golfer does now ------------------------------------------------------------------------------------------

// `present` has drive { club, ratio, launch, spin }, carry, lo90, hi90, shared and lasting; see `Present`.
function presentCarryAt(model, present, speed) {
  const shortfall = expectedCarry(model, present.drive) - present.carry;
  return expectedCarry(model, { ...present.drive, club: speed }) - shortfall * speed / present.drive.club;
}

// The standard error, by refits, of what the model adds from the present speed to another: the root of m C m', where m
// is how the terms move and C is the covariance of the refits' coefficients.
function slopeError(model, drive, speed) {
  const there = designOf(model, { ...drive, club: speed });
  const here = designOf(model, drive);
  const moved = there.map((term, k) => term - here[k] * (speed / drive.club));
  let variance = 0;
  model.surface.covariance.forEach((row, i) => row.forEach((value, j) => {
    variance += (i === j ? 1 : 2) * moved[i] * moved[j] * value;
  }));
  return Math.sqrt(Math.max(variance, 0));
}

function neededPresent(ready, curve, present, goal, runs) {
  const { model, data } = ready;
  const own = ready.speeds.map((speed, i) => presentCarryAt(model, present, speed) + (runs ? runs[i] : 0));
  const speed = speedFor(ready, curve, own, goal);
  if (!holdsDrive(ready, { ...present.drive, club: speed })) return [NaN, NaN, NaN];
  const slope = data.z90 * slopeError(model, present.drive, speed);
  const grown = speed / present.drive.club;
  const [below, above] = [present.carry - present.lo90, present.hi90 - present.carry].map(
    (reach) => Math.hypot(Math.sqrt(Math.max(reach ** 2 - present.shared ** 2, 0)) * grown, slope),
  );
  return [speed, speedFor(ready, curve, own, goal - above), speedFor(ready, curve, own, goal + below)];
}

// --- The gap, delivery first -----------------------------------------------------------------------------------------

function shareOut(ready, curve, present, now, goal) {
  const [yards, lo90, hi90] = now;
  const at = (values) => between(ready, values, present.drive.club);
  const [efficient, least, most] = [curve.yards, curve.lo90, curve.hi90].map(at);
  const own = ready.data.z90 * present.lasting;
  const [lowest, highest] = [efficient - Math.hypot(efficient - least, own), efficient + Math.hypot(most - efficient, own)];
  const gap = [goal - yards, goal - hi90, goal - lo90];
  const lost = efficient - yards;
  const losses = [lost, lost - Math.hypot(hi90 - yards, own), lost + Math.hypot(yards - lo90, own)];
  if (!(gap[0] > 0) || !Number.isFinite(efficient)) return { gap, delivery: [NaN, NaN, NaN], speed: [NaN, NaN, NaN] };
  const delivery = gap.map((each, k) => Math.max(Math.min(each, losses[k]), 0));
  const speed = [gap[0] - delivery[0], ...[highest, lowest].map((edge, k) => Math.max(Math.min(gap[k + 1], goal - edge), 0))];
  const ordered = ([value, lo, hi]) => [value, Math.min(lo, value), Math.max(hi, value)];
  return { gap, delivery: ordered(delivery), speed: ordered(speed) };
}

function reachWord(gap, delivery, speed, efficientSpeed) {
  if (gap <= 0) return "reached";
  if (speed <= 0) return "delivery";
  if (Number.isNaN(efficientSpeed) || Number.isNaN(speed)) return "beyond_data";
  return delivery <= 0 ? "speed" : "both";
}

// --- How long it takes -----------------------------------------------------------------------------------------------

// Quarters that a step in club speed takes at the pace of golfers here, with its interval; NaN where nobody can say.
// As `quarters_needed` of pace.py; an edge of the step that is NaN has no end.
function quartersNeeded(gain, [step, lo90, hi90]) {
  if (Number.isNaN(step)) return [NaN, NaN, NaN];
  const low = Number.isNaN(lo90) ? -Infinity : lo90;
  const high = Number.isNaN(hi90) ? Infinity : hi90;
  const none = step <= 0 ? 0 : NaN;
  if (!gain) return [none, low <= 0 ? 0 : NaN, high <= 0 ? 0 : NaN];
  const { mean_mph: mean, mean_lo90_mph: slow, mean_hi90_mph: fast } = gain;
  const number = slow > 0 ? step / mean : none;
  return [number, leastQuarters(step, low, mean, fast), mostQuarters(step, high, mean, slow)].map((q) => Math.max(q, 0));
}

function leastQuarters(step, low, mean, fast) {
  if (!(low > 0)) return 0;
  if (fast <= 0) return NaN;
  const square = step ** 2 - (step - low) ** 2;
  const root = Math.sqrt(Math.max((mean * step) ** 2 - (mean ** 2 - (fast - mean) ** 2) * square, 0));
  return square / (mean * step + root);
}

function mostQuarters(step, high, mean, slow) {
  if (slow <= 0) return high <= 0 ? 0 : NaN;
  if (!Number.isFinite(high)) return NaN;
  const rest = mean ** 2 - (mean - slow) ** 2;
  return (mean * step + Math.sqrt((mean * step) ** 2 - rest * (step ** 2 - (high - step) ** 2))) / rest;
}
