"use strict";
// Air, flight and run of one straight drive. Step for step what pipeline/physics/air.py, ball.py, trajectory.py and
// turf.py do; the tests keep them equal. The flight makes no array and no object, for a phone flies thousands.

const RPM = Math.PI / 30; // rad/s
const STEP_S = 0.1;
const MOST_S = 30;
const LEVEL_M = 1e-12; // a ball this near to launch height has landed
const TINY = 2.2250738585072014e-308;

const clip = (x, lo, hi) => Math.min(Math.max(x, lo), hi);

// --- Air: CIPM-2007, Sutherland's law and ISO 2533, as in pipeline/physics/air.py ------------------------------------

function airOf(tempC, pressurePa, humidity) {
  const [t, p] = [tempC, pressurePa];
  const kelvin = t + 273.15;
  const saturation = Math.exp(1.2378847e-5 * kelvin ** 2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin);
  const x = humidity * (1.00062 + 3.14e-8 * p + 5.6e-7 * t ** 2) * saturation / p;
  const compressibility = 1 - p / kelvin * ((1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t ** 2)
    + (5.707e-6 - 2.051e-8 * t) * x + (1.9898e-4 - 2.376e-6 * t) * x ** 2)
    + (p / kelvin) ** 2 * (1.83e-11 - 0.765e-8 * x ** 2);
  const dry = p * 28.96546e-3 / (compressibility * 8.314472 * kelvin);
  const density = dry * (1 - x * (1 - 18.01528e-3 / 28.96546e-3));
  const viscosity = 1.458e-6 * kelvin ** 1.5 / (kelvin + 110.4);
  return { density_kg_m3: density, kinematic_m2_s: viscosity / density };
}

function pressureAt(altitudeM) {
  const geopotential = 6356766 * altitudeM / (6356766 + altitudeM);
  return 101325 * (1 - 0.0065 * geopotential / 288.15) ** (9.80665 / (287.05287 * 0.0065));
}

// --- Drag and lift ---------------------------------------------------------------------------------------------------

// Reynolds number and spin ratio to the coefficients of drag and lift.
const COEFFICIENTS = {
  "smits-smith-1994": {
    drag: (reynolds, s) => 0.24 + 0.18 * s + 0.06 * Math.sin(Math.PI * (reynolds - 90000) / 200000),
    lift: (reynolds, s) => 0.54 * s ** 0.4,
  },
  "indoor-range-2001": {
    drag: (reynolds, s) => 0.2028 + (2.8466 * s - 0.2159) * s + 0.0165 * (reynolds / 1e5),
    lift: (reynolds, s) => 0.0860 + (0.6463 + 1.4789 * s) * s - 1.22e8 / (reynolds * reynolds),
  },
  "lyu-2018": {
    drag: (reynolds, s) => (1.91e-11 * reynolds - 5.40e-6) * reynolds + 0.56,
    lift: (reynolds, s) => (1.99 - 3.25 * s) * s,
  },
};

// Inside the range the value itself, beyond it held, with rounded corners of a width.
function held(x, lo, hi, soft) {
  if (x >= lo && x <= hi) return x;
  const near = clip(x, lo - 2 * soft, hi + 2 * soft);
  const beyond = near - clip(x, lo, hi);
  return near - Math.abs(beyond) * beyond / (4 * soft);
}

// --- Flight ----------------------------------------------------------------------------------------------------------

// Where the cubic height h0 + u (first + u (square + u cube)) is zero inside a step: regula falsi (Illinois).
function touchDown(before, after, first, square, cube) {
  let [lo, hi] = [0, 1];
  let low = Math.max(before, TINY);
  let high = Math.min(after, -TINY);
  let u = 1;
  let wasAbove = false;
  for (let turn = 0; turn < 20; turn += 1) {
    u = (lo * high - hi * low) / (high - low);
    const height = before + u * (first + u * (square + u * cube));
    if (Math.abs(height) < LEVEL_M) break;
    const above = height > 0;
    const again = turn > 0 && above === wasAbove;
    // An end that stays twice counts half, else it would stay for ever.
    if (above) {
      if (again) high /= 2;
      [lo, low] = [u, height];
    } else {
      if (again) low /= 2;
      [hi, high] = [u, Math.min(height, -TINY)];
    }
    wasAbove = above;
  }
  return u;
}

// The cubic with both ends' values and slopes, at the share u of the step.
function hermite(before, after, slope, newSlope, u) {
  const v = 1 - u;
  return before * (v * v * (1 + 2 * u)) + after * (u * u * (1 + 2 * v)) + STEP_S * u * v * (slope * v - newSlope * u);
}

// Flies one drive, SI but for degrees and rpm. Writes to `out`: carry, m, then forward and downward speed, m/s, and
// spin, rad/s, at the landing. `air` has density_kg_m3, kinematic_m2_s and wind_mps (a tail wind is positive).
function flyTo(out, flight, air, speedMps, launchDeg, spinRpm) {
  const { drag: dragOf, lift: liftOf } = COEFFICIENTS[flight.ball.coefficients];
  const diameter = flight.ball.diameter_m;
  const scale = air.density_kg_m3 * Math.PI * diameter * diameter / 8 / flight.ball.mass_kg;
  const dragScale = flight.ball.drag * scale;
  const liftScale = flight.ball.lift * scale;
  const decay = -2 * flight.ball.spin_decay / diameter;
  const toReynolds = diameter / air.kinematic_m2_s;
  const wind = air.wind_mps;
  const gravity = flight.gravity_mps2;
  const [reynoldsLo, reynoldsHi] = flight.reynolds;
  const [ratioLo, ratioHi] = flight.spin_ratio;
  const reynoldsSoft = flight.soft * (reynoldsHi - reynoldsLo);
  const ratioSoft = flight.soft * (ratioHi - ratioLo);
  const rise = launchDeg * Math.PI / 180;

  // The state at the step's start and its slope; x, z, vx, vz and the spin w. The stages' own names begin with p and q.
  let x = 0, z = 0, vx = speedMps * Math.cos(rise), vz = speedMps * Math.sin(rise), w = spinRpm * RPM;
  let ax = 0, az = 0, aw = 0;
  let px = x, pz = z, pvx = vx, pvz = vz, pw = w;
  let sx = 0, sz = 0, svx = 0, svz = 0, sw = 0;
  // Stage 0 is the start's slope alone; then each step has stages 1 to 3 and, as stage 4, the slope at its end.
  let stage = 0;
  for (let evaluations = 0; evaluations < 4 * MOST_S / STEP_S + 5; evaluations += 1) {
    const ux = pvx - wind;
    const speed = Math.sqrt(ux * ux + pvz * pvz);
    const spinRatio = pw * (diameter / 2) / speed;
    const ratio = held(spinRatio, ratioLo, ratioHi, ratioSoft);
    const reynolds = held(speed * toReynolds, reynoldsLo, reynoldsHi, reynoldsSoft);
    const drag = dragOf(reynolds, ratio) * dragScale * speed;
    let lift = liftOf(reynolds, ratio) * liftScale * speed;
    if (ratioLo > 0 && spinRatio < ratio) lift *= spinRatio / ratio;
    const qvx = -(drag * ux + lift * pvz);
    const qvz = lift * ux - drag * pvz - gravity;
    const qw = decay * speed * pw;

    if (stage === 4 || stage === 0) {
      if (stage === 0 && !(vz > 0 || qvz > 0)) break; // a ball that doesn't rise lands where it is
      if (stage === 4 && pz <= 0) {
        const square = 3 * (pz - z) - STEP_S * (2 * vz + pvz);
        const u = touchDown(z, pz, STEP_S * vz, square, STEP_S * (vz + pvz) - 2 * (pz - z));
        x = hermite(x, px, vx, pvx, u);
        w = hermite(w, pw, aw, qw, u);
        vx = hermite(vx, pvx, ax, qvx, u);
        vz = hermite(vz, pvz, az, qvz, u);
        break;
      }
      x = px; z = pz; vx = pvx; vz = pvz; w = pw;
      ax = qvx; az = qvz; aw = qw;
      sx = vx; sz = vz; svx = ax; svz = az; sw = aw;
      stage = 1;
      const h = STEP_S / 2;
      px = x + h * vx; pz = z + h * vz; pvx = vx + h * ax; pvz = vz + h * az; pw = w + h * aw;
    } else if (stage === 3) {
      const h = STEP_S / 6;
      [sx, sz] = [sx + pvx, sz + pvz];
      px = x + h * sx; pz = z + h * sz; pvx = vx + h * (svx + qvx); pvz = vz + h * (svz + qvz); pw = w + h * (sw + qw);
      stage = 4;
    } else {
      sx += 2 * pvx; sz += 2 * pvz; svx += 2 * qvx; svz += 2 * qvz; sw += 2 * qw;
      const h = stage === 1 ? STEP_S / 2 : STEP_S;
      px = x + h * pvx; pz = z + h * pvz; pvx = vx + h * qvx; pvz = vz + h * qvz; pw = w + h * qw;
      stage += 1;
    }
  }
  out[0] = Math.abs(x);
  out[1] = Math.abs(vx);
  out[2] = -vz;
  out[3] = w;
}

// --- Run after landing -----------------------------------------------------------------------------------------------

// The run, m, of a ball that lands with such a forward and downward speed, m/s, and spin, rad/s.
function runMetres(flight, turf, alongMps, downMps, spinRadS) {
  const gravity = flight.gravity_mps2;
  const radius = flight.ball_radius_m;
  const leastUp = Math.sqrt(2 * gravity * turf.grass_m);
  const tiltScale = turf.tilt_deg / turf.tilt_speed_mps / turf.tilt_incidence_deg;
  const mostTilt = turf.most_tilt_deg * Math.PI / 180;
  const [c0, c1, c2] = turf.restitution;
  let along = alongMps, down = downMps, spin = spinRadS, gone = 0;
  for (let count = 0; count < flight.most_bounces; count += 1) {
    const incidence = Math.atan2(along, down);
    const most = Math.min(Math.abs(incidence), mostTilt);
    // The crater's wall can't lean past the path of the ball that makes it, nor as a wall.
    const tilt = clip(tiltScale * Math.sqrt(along * along + down * down) * incidence, -most, most);
    const [sine, cosine] = [Math.sin(tilt), Math.cos(tilt)];
    let tangential = along * cosine - down * sine;
    let normal = down * cosine + along * sine;
    const raw = normal < turf.restitution_end_mps ? c0 + c1 * normal + c2 * normal * normal : turf.restitution_end;
    const e = Math.min(turf.restitution_scale * raw, 1);
    const slip = tangential + radius * spin;
    const kick = -Math.sign(slip) * Math.min(2 / 7 * Math.abs(slip), turf.friction * (1 + e) * normal);
    tangential += kick;
    normal *= e;
    along = tangential * cosine - normal * sine;
    down = tangential * sine + normal * cosine;
    spin += 5 / 2 * kick / radius;
    if (!(down > leastUp)) break;
    gone += 2 * along * down / gravity;
  }
  const slip = along + radius * spin;
  const rolling = along - 2 / 7 * slip;
  const slid = (along + rolling) / 2 * (2 / 7 * Math.abs(slip) / (turf.friction * gravity));
  const rolled = Math.sign(rolling) * rolling * rolling / (2 * turf.rolling_g * gravity);
  return Math.max(gone + slid + rolled, 0);
}

// Carry and run, yd, of a straight drive in an air and on a turf; ball speed in mph. What the ball does at the landing
// stays in LANDING until the next flight.
const LANDING = new Float64Array(4);
function carryAndRun(flight, air, turf, ballMph, launchDeg, spinRpm) {
  flyTo(LANDING, flight, air, ballMph * flight.mps_per_mph, launchDeg, spinRpm);
  const run = runMetres(flight, turf, LANDING[1], LANDING[2], LANDING[3]);
  return [LANDING[0] / flight.metres_per_yard, run / flight.metres_per_yard];
}

// How that drive lands: carry and descent, deg, and the run with the edges of its 90 % interval, yd: the shortest and
// the longest on a turf, its softer and its firmer neighbor. See `run_interval_yd` of run_and_conditions.py.
function landingOn(flight, air, [turf, ...neighbors], ballMph, launchDeg, spinRpm) {
  const [carry, run] = carryAndRun(flight, air, turf, ballMph, launchDeg, spinRpm);
  const [, along, down, spin] = LANDING;
  const others = neighbors.map((one) => runMetres(flight, one, along, down, spin) / flight.metres_per_yard);
  const runs = [run, ...others];
  return { carry, descent: Math.atan2(down, along) * 180 / Math.PI, run: [run, Math.min(...runs), Math.max(...runs)] };
}

// The edges of a total's 90 % interval: the doubts of carry and of run, each a figure with both edges, go together in
// quadrature.
const totalEdges = (total, [carry, carryLo, carryHi], [run, runLo, runHi]) => (
  [total - Math.hypot(carry - carryLo, run - runLo), total + Math.hypot(carryHi - carry, runHi - run)]
);
