// What the page asks of the model, in plain values: no figure here is rounded, and none touches the page. As
// pipeline/benchmark/lookup.py and pipeline/coach/goals/one_goal.py answer; the tests keep them equal.
//
// asked and wish: club and ball speed in mph, launch in deg, spin in rpm; null is not known.
// conditions: { altitude_m, pressure_hpa, temp_c, wind_mph, turf }; null or left out is as usual at the study, and an
// altitude counts before a pressure. A tail wind is positive. With all of them null the answers are the study's own.
// units: { distance: { text, each }, speed: { text, each, decimals } }, for the sentences alone.

const orNull = (value) => (value === undefined || Number.isNaN(value) ? null : value);

// The drive asked for with what is usual in the place of what isn't known, and the usual one.
function filledDrive(model, { club, ball = null, launch = null, spin = null }) {
  const usual = { launch: lineAt(model.usual.launch, club), spin: lineAt(model.usual.spin, club) };
  const ratio = ball === null ? NaN : ball / club;
  return { drive: { club, ratio, launch: launch ?? usual.launch, spin: spin ?? usual.spin }, usual };
}

// Names what is known of a drive beside its club speed; see `known_key` of model.py.
function knownKey(model, { ball = null, launch = null, spin = null }) {
  const known = [["ball_speed", model.surface.speed === "ball" && ball !== null], ["launch", launch !== null],
    ["spin", spin !== null]].filter(([, isKnown]) => isKnown).map(([name]) => name);
  return known.join("+") || "nothing";
}

// The edges of one drive's interval, as shares of the prediction, by what is known of it.
const intervalOf = (model, asked) => model.interval[knownKey(model, asked)];

// One drive's expected carry and total with their intervals, and its descent, in a place; see `_expected` of lookup.py.
function expectedHere(ready, place, drive, [lo, hi]) {
  const { data, model } = ready;
  const atStandard = expectedCarry(model, drive);
  const ball = drive.club * ratioOf(model, drive.club, drive.ratio);
  const { change, run, descent } = changeAndLanding(data, place, ball, drive.launch, drive.spin);
  const carry = atStandard + change;
  const unsure = data.z90 * data.moved_share * change;
  const edges = [carry - Math.hypot(atStandard * lo, unsure), carry + Math.hypot(atStandard * hi, unsure)];
  const total = carry + run[0];
  return { carry, edges, total, totalEdges: totalEdges(total, [carry, ...edges], run), descent };
}

// How far a drive goes and how far it could go: the keys of `yardband lookup --json`; `reason` says why there is no
// answer.
function lookUp(data, asked, conditions = null, units = PLAIN_UNITS) {
  const ready = prepared(data);
  const { model } = ready;
  const { drive, usual } = filledDrive(model, asked);
  const refusal = refusalOf(ready, drive, usual);
  if (refusal) return { supported: false, reason: sentenceOf(data, refusal, units) };
  const { place, frontier } = frontierIn(data, conditions);
  const expected = expectedHere(ready, place, drive, intervalOf(model, asked));
  const at = (name) => frontier.at(name, asked.club);
  const landed = (name) => frontier.landings.at(name, asked.club);
  const window = frontier.windowAt(asked.club);
  const ballUnused = (asked.ball ?? null) !== null && model.surface.speed !== "ball";
  const remarks = { one_drive: true, ball_unused: ballUnused, no_window: !window, conditions: !place.isStandard };
  return {
    supported: true,
    reason: null,
    launch: drive.launch,
    spin: drive.spin,
    expected_carry_yd: expected.carry,
    expected_lo90_yd: expected.edges[0],
    expected_hi90_yd: expected.edges[1],
    expected_total_yd: expected.total,
    expected_total_lo90_yd: expected.totalEdges[0],
    expected_total_hi90_yd: expected.totalEdges[1],
    expected_descent_deg: expected.descent,
    efficient_carry_yd: at("carry_yd"),
    efficient_lo90_yd: at("lo90_yd"),
    efficient_hi90_yd: at("hi90_yd"),
    efficient_total_yd: at("total_yd"),
    efficient_total_lo90_yd: landed("best_total_lo90_yd"),
    efficient_total_hi90_yd: landed("best_total_hi90_yd"),
    efficient_descent_deg: landed("descent_deg"),
    best_total_launch_deg: at("total_launch_deg"),
    best_total_spin_rpm: at("total_spin_rpm"),
    best_total_descent_deg: landed("best_descent_deg"),
    best_total_carry_cost_yd: landed("carry_cost_yd"),
    best_total_gain_yd: landed("total_gain_yd"),
    efficient_launch_deg: at("launch_deg"),
    efficient_spin_rpm: at("spin_rpm"),
    efficient_ball_speed_mph: asked.club * betterRatio(model, asked.club),
    yards_available_yd: at("carry_yd") - expected.carry,
    launch_window_deg: window && window.slice(0, 2),
    spin_window_rpm: window && window.slice(2),
    window,
    in_reach: isReachable(ready, drive),
    ball_unused: ballUnused,
    note: Object.keys(remarks).filter((key) => remarks[key]).map((key) => data.texts.notes[key]).join(" "),
  };
}

// As the page asked before it knew of conditions.
const answer = (data, asked) => lookUp(data, asked);

// What a distance takes: the keys of `yardband goal --json`. `wish` has goal_yd, distance ("carry" or "total") and
// club, ball, launch and spin as they are known; or golfer, a row of golfers.csv, and club where it isn't the row's.
function planGoal(data, wish, conditions = null, units = PLAIN_UNITS) {
  const ready = prepared(data);
  const here = frontierIn(data, conditions);
  const { quarter, note, present } = presentOf(ready, here.frontier, wish);
  const { club, curve, found, reach } = planOne(ready, here, wish, present);
  const plain = Object.fromEntries(Object.entries(found).map(([name, value]) => [name, orNull(value)]));
  const { goal_yd: goal, distance } = wish;
  const plan = { golfer: wish.golfer ? wish.golfer.golfer : null, quarter, goal_yd: goal, distance,
    club_speed_mph: orNull(club), ...plain, reach, supported: plain.efficient_speed_mph !== null };
  if (!plan.supported) return { ...plan, note: goalRefusal(ready, curve, units) };
  const notes = [...(note ? [note] : []), ...goalNotes(ready, plan)];
  return { ...plan, note: notes.map((one) => sentenceOf(data, one, units)).join(" ") || null };
}

// Why a goal has no club speed.
function goalRefusal({ data }, curve, units) {
  const limits = reachedYards(curve);
  return limits ? distanceRefusal(data, limits, units) : data.texts.refusals.no_benchmarks;
}

// Least and most that hold for a field: mph, yd, or the one unit of the quantity; null where nothing limits it. Of ball
// speed, launch and spin they are those of the drives near a club speed; see `limits_near` of typed_question.py. Those of
// a goal are of a distance, "carry" or "total", in conditions.
function limitsOf(data, field, club = null, { distance = null, conditions = null } = {}) {
  const name = askedName(field);
  if (name in data.condition_limits) return data.condition_limits[name];
  const ready = prepared(data);
  const { speeds, near, reach } = ready;
  if (!speeds.length) return null;
  if (name === "club_speed") return [speeds[0], speeds[speeds.length - 1]];
  if (name === "distance" && distance !== null) {
    return reachedYards(distanceCurve(ready, frontierIn(data, conditions).frontier, distance === "carry"));
  }
  if (club === null || !reachesSpeed(ready, club)) return null;
  const place = nearestPlace(speeds, club);
  if (name === "ball_speed") {
    const ratios = [near.ratio_lo[place], near.ratio_hi[place]];
    return ratios.includes(null) ? null : ratios.map((ratio) => ratio * club);
  }
  if (name !== "launch" && name !== "spin") return null;
  const rows = reach.runs[place];
  const axis = name === "launch" ? 0 : 1;
  const spinsOf = ([, from, to]) => [reach.spins[from], reach.spins[to]];
  const reached = axis === 0 ? rows.map(([i]) => reach.launches[i]) : rows.flatMap(spinsOf);
  const [[a, b], [c, d]] = near.inverse[place];
  const room = Math.sqrt(data.inside * (axis === 0 ? d : a) / (a * d - b * c));
  const edges = [near.mean[place][axis] - room, near.mean[place][axis] + room, ...reached];
  const lo = Math.min(...edges);
  return [axis === 1 ? Math.max(lo, 0) : lo, Math.max(...edges)];
}

// Where drives of a club speed lie, for a picture: the ellipse of those near it, the reachable deliveries row by row
// (launch and the spins that they reach from and to), the window, [launch, spin], and the best delivery there.
function regionAt(data, club, conditions = null) {
  const ready = prepared(data);
  if (!reachesSpeed(ready, club)) return null;
  const place = nearestPlace(ready.speeds, club);
  const { launches, spins, runs } = ready.reach;
  const { frontier } = frontierIn(data, conditions);
  const window = frontier.windowAt(club);
  return {
    ellipse: { mean: ready.near.mean[place], inverse: ready.near.inverse[place], inside: data.inside },
    reach: runs[place].map(([i, from, to]) => [launches[i], spins[from], spins[to]]),
    window: window && [window.slice(0, 2), window.slice(2)],
    best: [frontier.at("launch_deg", club), frontier.at("spin_rpm", club)],
  };
}

// Works ahead on conditions for some milliseconds, so that the next question about them needn't wait; working ahead on
// the standard ones (null) spares the first question about any air half of its wait. True when all is done.
function workAhead(data, conditions, milliseconds) {
  return frontierIn(data, conditions).frontier.workUntil(performance.now() + milliseconds);
}
