// What a distance takes: needed club speeds, and how much of the gap is delivery and how much is speed. Step for step
// what pipeline/coach/goals/needed_speed.py, one_goal.py and pace.py do, for one golfer.

// --- Curves over the grid of club speeds -----------------------------------------------------------------------------

// Efficient yards with the edges of their interval, of carry or of carry and roll together.
function distanceCurve(ready, frontier, isCarry) {
  const columns = frontier.columns();
  if (isCarry) return { yards: columns.carry_yd, lo90: columns.lo90_yd, hi90: columns.hi90_yd };
  const landings = frontier.landings.all();
  return { yards: columns.total_yd, lo90: landings.best_total_lo90_yd, hi90: landings.best_total_hi90_yd };
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

function neededPresent(ready, curve, present, goal, added) {
  const { model, data } = ready;
  const own = ready.speeds.map((speed, i) => presentCarryAt(model, present, speed) + added[i]);
  const speed = speedFor(ready, curve, own, goal);
  if (!holdsDrive(ready, { ...present.drive, club: speed })) return [NaN, NaN, NaN];
  const slope = data.z90 * slopeError(model, present.drive, speed);
  const grown = speed / present.drive.club;
  const [below, above] = [present.carry - present.lo90, present.hi90 - present.carry].map((reach, k) => {
    const own = Math.max(reach ** 2 - present.shared ** 2, 0) + present.runDoubt[k] ** 2;
    return Math.hypot(Math.sqrt(own) * grown, slope);
  });
  return [speed, speedFor(ready, curve, own, goal - above), speedFor(ready, curve, own, goal + below)];
}

// A cell of a row of golfers.csv, as text or number.
const cellOf = (row, name) => (["", null, undefined].includes(row[name]) ? NaN : Number(row[name]));

// What a golfer of golfers.csv does now, at today's club speed or another; see `Present.of` and `present_at`.
function presentOfGolfer(ready, frontier, row, club) {
  const { model, data } = ready;
  const own = cellOf(row, "club_speed_mph");
  const known = (name) => (Number.isNaN(cellOf(row, name)) ? null : cellOf(row, name));
  const { drive } = filledDrive(model, { club: own, ball: known("ball_speed_mph"), launch: known("launch_deg"),
    spin: known("spin_rpm") });
  const columns = ["carry_yd", "lost_yd", "lost_lo90_yd", "lost_hi90_yd"];
  const [carry, lost, lo, hi] = columns.map((name) => cellOf(row, name));
  const lasting = cellOf(row, "own_difference_yd");
  const present = { drive, carry, lo90: carry - (hi - lost), hi90: carry + (lost - lo),
    shared: data.z90 * frontier.at("std_error_yd", own), lasting: Number.isNaN(lasting) ? 0 : lasting };
  if (club === null) return present;
  const grown = club / own;
  const there = presentCarryAt(model, present, club);
  return { drive: { ...drive, club }, carry: there, lo90: there + (present.lo90 - carry) * grown,
    hi90: there + (present.hi90 - carry) * grown, shared: present.shared * grown, lasting: present.lasting * grown };
}

// What a golfer does now at standard conditions, as far as it is known: { quarter, note, present }. A note is a
// sentence, see lookup_words.js.
function presentOf(ready, frontier, wish) {
  const { model } = ready;
  const club = wish.club ?? null;
  if (wish.golfer) {
    const { quarter, status, note } = wish.golfer;
    if (status === "not_assessed") {
      return { quarter, note: ["notes", "not_assessed", { quarter, reason: note }], present: null };
    }
    const told = club === null ? null : ["notes", "other_speed", { speed_mph: club, quarter }];
    return { quarter, note: told, present: presentOfGolfer(ready, frontier, wish.golfer, club) };
  }
  if (club === null || ["ball", "launch", "spin"].every((name) => (wish[name] ?? null) === null)) {
    return { quarter: null, note: null, present: null };
  }
  const { drive, usual } = filledDrive(model, wish);
  if (refusalOf(ready, drive, usual)) {
    return { quarter: null, note: ["notes", "unlike_drives", { speed_mph: club }], present: null };
  }
  const [lo, hi] = intervalOf(model, wish);
  const carry = expectedCarry(model, drive);
  const present = { drive, carry, lo90: carry * (1 + lo), hi90: carry * (1 + hi), shared: 0, lasting: 0 };
  return { quarter: null, note: ["notes", "one_drive_today", {}], present };
}

// The present drive in a place, with an interval that has what the move to another air isn't sure of, and unless the
// goal is carry what the turf leaves open of its run, below and above; and what the place, and roll unless the goal is
// carry, add to its carry at each club speed of the benchmarks and at today's, yd.
function presentHere(ready, place, present, isCarry) {
  const { data, model } = ready;
  const { drive } = present;
  const addedAt = (club) => {
    if (isCarry && place.isStandard) return 0;
    const ball = club * ratioOf(model, club, drive.ratio);
    const [added, rolled] = changeAndRun(data, place, ball, drive.launch, drive.spin);
    return isCarry ? added : added + rolled;
  };
  const ballNow = drive.club * ratioOf(model, drive.club, drive.ratio);
  const { change, run: [run, runLo, runHi] } = changeAndLanding(data, place, ballNow, drive.launch, drive.spin);
  const unsure = data.z90 * data.moved_share * change;
  const here = { ...present,
    lo90: present.carry - Math.hypot(present.lo90 - present.carry, unsure),
    hi90: present.carry + Math.hypot(present.hi90 - present.carry, unsure),
    runDoubt: isCarry ? [0, 0] : [run - runLo, runHi - run] };
  const addedNow = isCarry ? change : change + run;
  return { here, added: ready.speeds.map(addedAt), addedNow };
}

// --- The gap, delivery first -----------------------------------------------------------------------------------------

function shareOut(ready, curve, present, now, goal) {
  const [yards, lo90, hi90] = now;
  const [runBelow, runAbove] = present.runDoubt;
  const at = (values) => between(ready, values, present.drive.club);
  const [efficient, least, most] = [curve.yards, curve.lo90, curve.hi90].map(at);
  const own = ready.data.z90 * present.lasting;
  const lowest = efficient - Math.hypot(efficient - least, own);
  const highest = efficient + Math.hypot(most - efficient, own);
  const missing = goal - yards;
  // An efficient drive runs on the same turf: what that leaves open is no part of what delivery can give.
  const gap = [missing, missing - Math.hypot(hi90 - yards, runAbove), missing + Math.hypot(yards - lo90, runBelow)];
  const lost = efficient - yards;
  const losses = [lost, lost - Math.hypot(hi90 - yards, own), lost + Math.hypot(yards - lo90, own)];
  if (!(gap[0] > 0) || !Number.isFinite(efficient)) return { gap, delivery: [NaN, NaN, NaN], speed: [NaN, NaN, NaN] };
  const delivery = gap.map((each, k) => Math.max(Math.min(each, losses[k]), 0));
  const ends = [highest, lowest].map((edge, k) => Math.max(Math.min(gap[k + 1], goal - edge), 0));
  const speed = [gap[0] - delivery[0], ...ends];
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
  const edges = [leastQuarters(step, low, mean, fast), mostQuarters(step, high, mean, slow)];
  return [number, ...edges].map((quarters) => Math.max(quarters, 0));
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

// The step in club speed that a goal takes and its interval: to the speed with an efficient delivery, or to the one
// with the present delivery where that is less; see `step_to`. No more speed is needed where the gap needs none.
function stepTo(club, efficient, present, gap, bySpeed) {
  const less = present[0] < efficient[0] || Number.isNaN(efficient[0]);
  const [step, lo90, hi90] = (less ? present : efficient).map((speed) => speed - club);
  if (!(gap <= 0 || bySpeed <= 0)) return [step, lo90, hi90];
  return [Number.isNaN(step) ? 0 : Math.min(step, 0), lo90, hi90];
}

// --- The answer ------------------------------------------------------------------------------------------------------

const withEdges = (name, unit, [value, lo90, hi90]) => (
  { [`${name}_${unit}`]: value, [`${name}_lo90_${unit}`]: lo90, [`${name}_hi90_${unit}`]: hi90 }
);
const NOBODY_KNOWS = [NaN, NaN, NaN];

// The figures of one goal, NaN for what isn't known; see `plan_one`.
function planOne(ready, { place, frontier }, wish, present) {
  const isCarry = wish.distance === "carry";
  const { goal_yd: goal } = wish;
  const club = present ? present.drive.club : wish.club ?? NaN;
  const curve = distanceCurve(ready, frontier, isCarry);
  const efficientSpeed = neededEfficient(ready, curve, goal, present ? present.lasting : 0);
  const found = {
    ...withEdges("present", "yd", NOBODY_KNOWS),
    ...withEdges("efficient", "yd", [curve.yards, curve.lo90, curve.hi90].map((ys) => between(ready, ys, club))),
    ...["gap", "delivery", "speed"].reduce((all, name) => ({ ...all, ...withEdges(name, "yd", NOBODY_KNOWS) }), {}),
    ...withEdges("efficient_speed", "mph", efficientSpeed),
    ...withEdges("present_speed", "mph", NOBODY_KNOWS),
    quarters: NaN, quarters_lo90: NaN, quarters_hi90: NaN,
  };
  if (!present) return { club, curve, found, reach: null };
  const { here, added, addedNow } = presentHere(ready, place, present, isCarry);
  const now = [here.carry, here.lo90, here.hi90].map((yards) => yards + addedNow);
  const presentSpeed = neededPresent(ready, curve, here, goal, added);
  const { gap, delivery, speed } = shareOut(ready, curve, here, now, goal);
  const step = stepTo(club, efficientSpeed, presentSpeed, gap[0], speed[0]);
  const [quarters, least, most] = quartersNeeded(ready.data.gain, step);
  const [yards, lo90, hi90] = now;
  const [runBelow, runAbove] = here.runDoubt;
  const today = [yards, yards - Math.hypot(yards - lo90, runBelow), yards + Math.hypot(hi90 - yards, runAbove)];
  Object.assign(found, withEdges("present", "yd", today), withEdges("present_speed", "mph", presentSpeed),
    withEdges("gap", "yd", gap), withEdges("delivery", "yd", delivery), withEdges("speed", "yd", speed),
    { quarters, quarters_lo90: least, quarters_hi90: most });
  return { club, curve, found, reach: reachWord(gap[0], delivery[0], speed[0], efficientSpeed[0]) };
}

// The least and the largest distance for which the benchmarks show a club speed, yd; null without any.
const reachedYards = (curve) => (curve.yards.length ? [curve.yards[0], Math.max(...curve.yards)] : null);

// What an answer leaves open, and why; see goal_notes.py.
function goalNotes(ready, plan) {
  const { speeds } = ready;
  if (!speeds.length) return [];
  const notes = [];
  if (plan.club_speed_mph !== null && plan.efficient_yd === null) {
    notes.push(["notes", "gap_whole", { lo_mph: speeds[0], hi_mph: speeds[speeds.length - 1] }]);
  }
  if (plan.present_yd !== null && plan.present_speed_mph === null) notes.push(["notes", "no_present_speed", {}]);
  const isOpen = (name) => plan[`${name}_mph`] !== null
    && (plan[`${name}_lo90_mph`] === null || plan[`${name}_hi90_mph`] === null);
  if (isOpen("efficient_speed") || isOpen("present_speed")) notes.push(["notes", "open_interval", {}]);
  if (plan.distance === "total") notes.push(["notes", "roll", {}]);
  return notes;
}
