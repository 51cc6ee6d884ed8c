"use strict";
// From the embedded model to an answer, without the page. Step for step what pipeline/benchmark/lookup.py does with
// pipeline/fit/surface.py, pipeline/flight/trajectory.py, ball.py and turf.py; the tests keep them equal.

const LIMITS = { club: [0, 250], ball: [1, 300], launch: [-20, 60], spin: [0, 20000] };

// --- The surface: parts, each a tensor of coefficients over one basis per axis ---------------------------------------

function basis(axis, x) {
  const z = (x - axis.centre) / axis.scale;
  const knots = axis.knots;
  if (!knots.length) return Array.from({ length: axis.degree + 1 }, (_, power) => z ** power);
  const last = knots[knots.length - 1];
  const span = (last - knots[0]) ** 2;
  const truncated = (knot) => (Math.max(z - knot, 0) ** 3 - Math.max(z - last, 0) ** 3) / (last - knot) / span;
  const tail = truncated(knots[knots.length - 2]);
  return [1, z, ...knots.slice(0, -2).map((knot) => truncated(knot) - tail)];
}

function partYards(part, values) {
  const [s, l, p] = part.axes.map((axis, index) => basis(axis, values[index]));
  let sum = 0;
  part.coefficients.forEach((sheet, a) => sheet.forEach((row, b) => row.forEach((coefficient, c) => {
    sum += coefficient * s[a] * l[b] * p[c];
  })));
  return sum;
}

function carryYards(surface, speed, launch, spin) {
  return surface.parts.reduce((sum, part) => sum + partYards(part, [speed, launch, spin]), 0);
}

// --- Flight to the landing, in SI; state: x, z, vx, vz, spin in rad/s ------------------------------------------------

const RPM = Math.PI / 30;
const STEP_S = 0.1;
const MOST_STEPS = 301;

const clip = (x, lo, hi) => Math.min(Math.max(x, lo), hi);

// Reynolds number and spin ratio to the coefficients of drag and lift.
const COEFFICIENTS = {
  "smits-smith-1994": (reynolds, s) => [
    0.24 + 0.18 * s + 0.06 * Math.sin(Math.PI * (reynolds - 90000) / 200000),
    0.54 * s ** 0.4,
  ],
  "indoor-range-2001": (reynolds, s) => [
    0.2028 + (2.8466 * s - 0.2159) * s + 0.0165 * (reynolds / 1e5),
    0.0860 + (0.6463 + 1.4789 * s) * s - 0.0122 / (reynolds / 1e5) ** 2,
  ],
  "lyu-2018": (reynolds, s) => [
    (1.91e-11 * reynolds - 5.40e-6) * reynolds + 0.56,
    (1.99 - 3.25 * s) * s,
  ],
};

// Inside the range the value itself, beyond it held, with rounded corners.
function held(x, [lo, hi], softShare) {
  const soft = softShare * (hi - lo);
  const near = clip(x, lo - 2 * soft, hi + 2 * soft);
  const beyond = near - clip(x, lo, hi);
  return near - Math.abs(beyond) * beyond / (4 * soft);
}

function slopeOf(flight, [, , vx, vz, spin]) {
  const { ball } = flight;
  const speed = Math.sqrt(vx * vx + vz * vz);
  const spinRatio = spin * ball.diameter_m / 2 / speed;
  const ratio = held(spinRatio, flight.spin_ratio, flight.soft);
  const reynolds = held(speed * ball.diameter_m / flight.kinematic_m2_s, flight.reynolds, flight.soft);
  let [drag, lift] = COEFFICIENTS[ball.coefficients](reynolds, ratio);
  if (flight.spin_ratio[0] > 0) lift *= Math.min(spinRatio / ratio, 1);
  const scale = speed * flight.density_kg_m3 * Math.PI * ball.diameter_m ** 2 / 8 / ball.mass_kg;
  drag *= ball.drag * scale;
  lift *= ball.lift * scale;
  return [
    vx, vz, -drag * vx - lift * vz, -drag * vz + lift * vx - flight.gravity_mps2,
    -2 * ball.spin_decay / ball.diameter_m * speed * spin,
  ];
}

const moved = (state, slope, h) => state.map((value, index) => value + h * slope[index]);

function stepped(flight, state, first) {
  const second = slopeOf(flight, moved(state, first, STEP_S / 2));
  const third = slopeOf(flight, moved(state, second, STEP_S / 2));
  const fourth = slopeOf(flight, moved(state, third, STEP_S));
  return state.map((value, i) => value + STEP_S / 6 * (first[i] + 2 * (second[i] + third[i]) + fourth[i]));
}

// The cubic with both ends' values and slopes, at the share u of the step.
function hermite(before, after, slope, newSlope, u) {
  const v = 1 - u;
  return before.map((value, i) => value * v * v * (1 + 2 * u) + after[i] * u * u * (1 + 2 * v)
    + STEP_S * u * v * (slope[i] * v - newSlope[i] * u));
}

function landing(flight, ballSpeedMph, launchDeg, spinRpm) {
  const speed = ballSpeedMph * flight.mps_per_mph;
  const rise = launchDeg * Math.PI / 180;
  let state = [0, 0, speed * Math.cos(rise), speed * Math.sin(rise), spinRpm * RPM];
  let slope = slopeOf(flight, state);
  for (let count = 0; count < MOST_STEPS; count += 1) {
    const after = stepped(flight, state, slope);
    const newSlope = slopeOf(flight, after);
    if (after[1] <= 0) {
      // Where height is zero inside this step; at its start for a ball that doesn't rise.
      let [lo, hi] = [0, 1];
      for (let turn = 0; turn < 60; turn += 1) {
        const middle = (lo + hi) / 2;
        if (hermite(state, after, slope, newSlope, middle)[1] > 0) lo = middle;
        else hi = middle;
      }
      state = hermite(state, after, slope, newSlope, hi);
      break;
    }
    [state, slope] = [after, newSlope];
  }
  return { along: state[2], down: -state[3], spin: state[4] };
}

// --- Run after landing -----------------------------------------------------------------------------------------------

function bounce({ along, down, spin }, turf, radius) {
  const speed = Math.hypot(along, down);
  const incidence = Math.atan2(along, down);
  const share = turf.tilt_deg * Math.PI / 180 * (speed / turf.tilt_speed_mps);
  const most = Math.abs(incidence);
  const tilt = clip(share * incidence / (turf.tilt_incidence_deg * Math.PI / 180), -most, most);
  let tangential = speed * Math.sin(incidence - tilt);
  let normal = speed * Math.cos(incidence - tilt);
  const [c0, c1, c2] = turf.restitution;
  const raw = normal < turf.restitution_end_mps ? c0 + c1 * normal + c2 * normal ** 2 : turf.restitution_end;
  const e = Math.min(turf.restitution_scale * raw, 1);
  const slip = tangential + radius * spin;
  const kick = -Math.sign(slip) * Math.min(2 / 7 * Math.abs(slip), turf.friction * (1 + e) * normal);
  tangential += kick;
  normal *= e;
  return {
    along: tangential * Math.cos(tilt) - normal * Math.sin(tilt),
    up: tangential * Math.sin(tilt) + normal * Math.cos(tilt),
    spin: spin + 5 / 2 * kick / radius,
  };
}

function runYards(flight, turf, landed) {
  const { gravity_mps2: gravity, ball_radius_m: radius } = flight;
  let gone = 0;
  let ball = landed;
  for (let count = 0; count < flight.most_bounces; count += 1) {
    const { along, up, spin } = bounce(ball, turf, radius);
    ball = { along, down: up, spin };
    if (up <= Math.sqrt(2 * gravity * turf.grass_m)) break;
    gone += 2 * along * up / gravity;
  }
  const slip = ball.along + radius * ball.spin;
  const rolling = ball.along - 2 / 7 * slip;
  const slid = (ball.along + rolling) / 2 * (2 / 7 * Math.abs(slip) / (turf.friction * gravity));
  const rolled = Math.sign(rolling) * rolling ** 2 / (2 * turf.rolling_g * gravity);
  return (gone + slid + rolled) / flight.metres_per_yard;
}

// --- The answer ------------------------------------------------------------------------------------------------------

function nearest(speeds, speed) {
  let best = 0;
  speeds.forEach((value, index) => {
    if (Math.abs(value - speed) < Math.abs(speeds[best] - speed)) best = index;
  });
  return best;
}

// Between two grid speeds a straight line; null where an end is null.
function interpolated(frontier, name, speed) {
  const after = frontier.speed_mph.findIndex((value) => value >= speed);
  const ys = frontier[name];
  const hi = frontier.speed_mph[after];
  if (hi === speed) return ys[after];
  const lo = frontier.speed_mph[after - 1];
  if (ys[after - 1] === null || ys[after] === null) return null;
  return ys[after - 1] + (ys[after] - ys[after - 1]) * ((speed - lo) / (hi - lo));
}

// Zero below the first of three knots, straight beyond the last; see `bow` of pipeline/fit/trend.py.
function bow(speed, [first, middle, last]) {
  const cube = (knot) => Math.max(speed - knot, 0) ** 3;
  const share = (last - first) / (last - middle);
  return (cube(first) - cube(middle) * share + cube(last) * (share - 1)) / (last - first) ** 2;
}

function lineAt(line, speed) {
  const straight = line.at_centre + line.slope * (speed - line.centre_mph);
  return line.bend === 0 ? straight : straight + line.bend * bow(speed, line.knots_mph);
}
const tidy = (value) => String(Number(value.toPrecision(6)));
const grouped = (value) => value.toFixed(0).replace(/\B(?=(\d{3})+$)/, ",");
const filled = (sentence, words) => sentence.replace(/\{(\w+)\}/g, (_, name) => words[name]);

// Why there is no answer: the sentences of pipeline/benchmark/frontier.py; null where there is one.
function outOfSpeed(data, speed) {
  const speeds = data.frontier.speed_mph;
  if (!speeds.length) return data.refusals.no_benchmarks;
  const [lo, hi] = [speeds[0], speeds[speeds.length - 1]];
  const inside = speed >= lo && speed <= hi;
  if (inside && Math.abs(speeds[nearest(speeds, speed)] - speed) <= data.half_grid_mph + 1e-9) return null;
  return filled(inside ? data.refusals.gap : data.refusals.beyond, { speed: tidy(speed), lo: tidy(lo), hi: tidy(hi) });
}

function outOfReach(data, asked, launch, spin) {
  const { near } = data.frontier;
  const place = nearest(data.frontier.speed_mph, asked.club);
  const mean = near.mean[place];
  const [dl, dp] = [launch - mean[0], spin - mean[1]];
  const [[a, b], [c, d]] = near.inverse[place];
  if (!(dl * (a * dl + b * dp) + dp * (c * dl + d * dp) <= data.inside)) {
    return filled(data.refusals.delivery, {
      speed: tidy(asked.club),
      launch: launch.toFixed(1),
      spin: grouped(spin),
      usual_launch: mean[0].toFixed(1),
      usual_spin: grouped(mean[1]),
    });
  }
  if (asked.ball === null || near.ratio_lo[place] === null) return null;
  const ratio = asked.ball / asked.club;
  if (ratio >= near.ratio_lo[place] && ratio <= near.ratio_hi[place]) return null;
  return filled(data.refusals.ratio, {
    speed: tidy(asked.club),
    ball: tidy(asked.ball),
    ratio: ratio.toFixed(2),
    ratio_lo: near.ratio_lo[place].toFixed(2),
    ratio_hi: near.ratio_hi[place].toFixed(2),
  });
}

// asked: club, ball, launch, spin; null is not known. Gives { reason } alone where the data don't reach.
function answer(data, asked) {
  const { frontier, usual, surface } = data;
  const tooFar = outOfSpeed(data, asked.club);
  if (tooFar) return { supported: false, reason: tooFar };
  const launch = asked.launch ?? lineAt(usual.launch, asked.club);
  const spin = asked.spin ?? lineAt(usual.spin, asked.club);
  const reason = outOfReach(data, asked, launch, spin);
  if (reason) return { supported: false, reason };

  const overBall = surface.speed === "ball";
  const usualRatio = usual.speed_ratio ? lineAt(usual.speed_ratio, asked.club) : data.assumed_ratio;
  const usualBall = asked.club * usualRatio;
  const ball = asked.ball ?? usualBall;
  const carry = carryYards(surface, overBall ? ball : asked.club, launch, spin);
  const known = [["ball_speed", overBall && asked.ball !== null], ["launch", asked.launch !== null],
    ["spin", asked.spin !== null]].filter(([, isKnown]) => isKnown).map(([name]) => name);
  const [lo, hi] = data.interval[known.join("+") || "nothing"];
  const at = (name) => interpolated(frontier, name, asked.club);
  const edges = ["launch_lo_deg", "launch_hi_deg", "spin_lo_rpm", "spin_hi_rpm"].map(at);
  return {
    supported: true,
    launch,
    spin,
    expected_carry_yd: carry,
    expected_lo90_yd: carry * (1 + lo),
    expected_hi90_yd: carry * (1 + hi),
    expected_total_yd: carry + runYards(data.flight, data.turf, landing(data.flight, ball, launch, spin)),
    efficient_carry_yd: at("carry_yd"),
    efficient_lo90_yd: at("lo90_yd"),
    efficient_hi90_yd: at("hi90_yd"),
    efficient_total_yd: at("total_yd"),
    yards_available_yd: at("carry_yd") - carry,
    window: edges.includes(null) ? null : edges,
    ball_unused: asked.ball !== null && !overBall,
  };
}
