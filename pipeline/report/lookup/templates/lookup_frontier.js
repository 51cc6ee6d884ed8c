// What is efficient at every club speed, in any air, wind and on any turf, and which drives a figure may speak of. Step
// for step what pipeline/benchmark/frontier.py, frontier_here.py, flown_grid.py, reach.py and window.py do.

const ROUNDING = 1e-9;
const toArray = (values) => Float64Array.from(values, (value) => value ?? NaN);

// --- The payload, made ready once ------------------------------------------------------------------------------------

const PREPARED = new WeakMap();

// The model, the standard frontier with NaN for what isn't known, and the reachable deliveries row by row.
function prepared(data) {
  if (!PREPARED.has(data)) {
    const model = { ...data.model, surface: preparedSurface(data.model.surface) };
    const columns = Object.fromEntries(Object.entries(data.frontier.columns).map(([name, ys]) => [name, toArray(ys)]));
    const speeds = toArray(data.frontier.speed_mph);
    const { near } = data.frontier;
    const ready = { data, model, speeds, columns, near, reach: preparedReach(data.frontier.reach), places: new Map() };
    ready.ball = speeds.map((speed) => speed * betterRatio(model, speed));
    ready.standard = standardFrontier(ready);
    PREPARED.set(data, ready);
  }
  return PREPARED.get(data);
}

// Runs of reachable grid points by club speed: place of the launch, first and last place of the spin.
function preparedReach({ launch_deg: launches, spin_rpm: spins, runs, doubt_yd: doubt }) {
  const bySpeed = doubt.map(() => []);
  for (let k = 0; k < runs.length; k += 4) bySpeed[runs[k]].push([runs[k + 1], runs[k + 2], runs[k + 3]]);
  const masks = bySpeed.map((rows) => {
    const mask = new Uint8Array(launches.length * spins.length);
    rows.forEach(([i, first, last]) => mask.fill(1, i * spins.length + first, i * spins.length + last + 1));
    return mask;
  });
  return { launches, spins, runs: bySpeed, masks, doubt };
}

// --- Club speeds -----------------------------------------------------------------------------------------------------

// The place of the first grid speed that isn't below a speed; the last one beyond the grid.
function placeAbove(speeds, speed) {
  let place = 0;
  while (place < speeds.length - 1 && speeds[place] < speed) place += 1;
  return place;
}

// The slower of two as near.
function nearestPlace(speeds, speed) {
  const after = placeAbove(speeds, speed);
  const before = Math.max(after - 1, 0);
  return Math.abs(speeds[after] - speed) < Math.abs(speeds[before] - speed) ? after : before;
}

function reachesSpeed({ speeds, data }, speed) {
  if (!speeds.length || !(speed >= speeds[0] && speed <= speeds[speeds.length - 1])) return false;
  return Math.abs(speeds[nearestPlace(speeds, speed)] - speed) <= data.half_grid_mph + ROUNDING;
}

// The places of the grid speeds at or below and at or above a speed that the benchmarks reach.
function placesAbout(speeds, speed) {
  const above = placeAbove(speeds, speed);
  return [speeds[above] > speed ? Math.max(above - 1, 0) : above, above];
}

// As numpy's `interp`, on two neighboring grid speeds; NaN where the benchmarks don't reach.
function between(ready, values, speed) {
  if (!reachesSpeed(ready, speed)) return NaN;
  const [below, above] = placesAbout(ready.speeds, speed);
  if (below === above) return values[above];
  const [x0, x1] = [ready.speeds[below], ready.speeds[above]];
  return values[below] + (values[above] - values[below]) / (x1 - x0) * (speed - x0);
}

// How values over the grid go with club speed, per mph: numpy's `gradient`, interpolated.
function slopeAt(ready, values, speed) {
  const { speeds } = ready;
  const last = speeds.length - 1;
  if (last < 1) return 0;
  return between(ready, speeds.map((_, i) => {
    if (i === 0 || i === last) {
      const j = i === 0 ? 1 : last;
      return (values[j] - values[j - 1]) / (speeds[j] - speeds[j - 1]);
    }
    const [before, after] = [speeds[i] - speeds[i - 1], speeds[i + 1] - speeds[i]];
    return (before ** 2 * values[i + 1] + (after ** 2 - before ** 2) * values[i] - after ** 2 * values[i - 1])
      / (before * after * (before + after));
  }), speed);
}

// --- Which deliveries ------------------------------------------------------------------------------------------------

function inEllipse({ near, data }, place, drive) {
  const [dl, dp] = [drive.launch - near.mean[place][0], drive.spin - near.mean[place][1]];
  const [[a, b], [c, d]] = near.inverse[place];
  return dl * (a * dl + c * dp) + dp * (b * dl + d * dp) <= data.inside;
}

function inRatios({ near }, place, ratio) {
  const [lo, hi] = [near.ratio_lo[place], near.ratio_hi[place]];
  return Number.isNaN(ratio) || lo === null || (ratio >= lo && ratio <= hi);
}

// The two cells that a value may be in: one for each side of a grid line; -1 is none.
function cellsAbout(grid, value) {
  const place = (value - grid[0]) / (grid[1] - grid[0]);
  return [ROUNDING, -ROUNDING].map((side) => {
    const cell = clip(Math.floor(place + side), -1, grid.length - 1);
    return cell > grid.length - 2 ? -1 : cell;
  });
}

function holdsDelivery({ launches, spins, masks }, place, launch, spin) {
  if (launches.length < 2 || spins.length < 2) return false;
  const width = spins.length;
  const mask = masks[place];
  const full = (row, column) => row >= 0 && column >= 0 && [0, 1].every((r) => [0, 1].every(
    (c) => mask[(row + r) * width + column + c] === 1,
  ));
  return cellsAbout(launches, launch).some((row) => cellsAbout(spins, spin).some((column) => full(row, column)));
}

// Whether golfers of about that club speed really produce such a delivery; between two grid speeds both have to.
function isReachable(ready, drive) {
  if (!reachesSpeed(ready, drive.club)) return false;
  return placesAbout(ready.speeds, drive.club).every(
    (place) => holdsDelivery(ready.reach, place, drive.launch, drive.spin),
  );
}

// Whether drives near its club speed are like this one; a ratio that isn't known passes.
function holdsDrive(ready, drive) {
  if (!reachesSpeed(ready, drive.club)) return false;
  const place = nearestPlace(ready.speeds, drive.club);
  return (inEllipse(ready, place, drive) || isReachable(ready, drive)) && inRatios(ready, place, drive.ratio);
}

// --- The window ------------------------------------------------------------------------------------------------------

const LAUNCH_EDGE_DEG = 0.5;

// The largest box on half degrees of launch all of whose grid points are inside; null where none has an area.
function largestWindow(inside, launches, spins) {
  const [m, n] = [launches.length, spins.length];
  const onEdge = launches.map((launch) => launch / LAUNCH_EDGE_DEG).map((x) => Math.abs(x - Math.round(x)) < ROUNDING);
  let best = null;
  let most = 0;
  for (let lo = 0; lo < m; lo += 1) {
    if (!onEdge[lo]) continue;
    const full = inside.slice(lo * n, (lo + 1) * n);
    for (let hi = lo + 1; hi < m; hi += 1) {
      for (let j = 0; j < n; j += 1) full[j] &= inside[hi * n + j];
      if (!onEdge[hi]) continue;
      let run = 0;
      for (let j = 0; j < n; j += 1) {
        run = (run + 1) * full[j];
        if ((hi - lo) * (run - 1) > most) {
          most = (hi - lo) * (run - 1);
          best = [launches[lo], launches[hi], spins[j - run + 1], spins[j]];
        }
      }
    }
  }
  return best;
}

// The doubt of each delivery's shortfall at one club speed, over the whole grid: a straight line between the nodes.
function doubtOnGrid({ launches, spins, doubt }, place, every) {
  const nodes = doubt[place];
  const between2 = (lo, hi, share) => (share === 0 ? lo : (1 - share) * lo + share * hi);
  return Float64Array.from({ length: launches.length * spins.length }, (_, k) => {
    const [i, j] = [Math.floor(k / spins.length) / every, (k % spins.length) / every];
    const [a, b] = [Math.floor(i), Math.floor(j)];
    const along = (row) => between2(row[b], row[b + 1], j - b);
    return i === a ? along(nodes[a]) : between2(along(nodes[a]), along(nodes[a + 1]), i - a);
  });
}

// --- The frontier of a place -----------------------------------------------------------------------------------------

// A frontier has `at(name, speed)` for its columns, `landings` with `at` and `all`, and `windowAt(speed)`. In standard
// conditions it is the study's own.
function standardFrontier(ready) {
  const { columns } = ready;
  const edges = [columns.launch_lo_deg, columns.launch_hi_deg, columns.spin_lo_rpm, columns.spin_hi_rpm];
  const windows = Array.from(ready.speeds, (_, place) => edges.map((edge) => edge[place]));
  return {
    columns: () => columns,
    at: (name, speed) => between(ready, columns[name], speed),
    landings: landingsIn(ready, placeOf(ready.data, null), columns, () => {}),
    windowAt: (speed) => sharedWindow(ready, speed, (place) => windows[place]),
    workUntil: worker(ready.reach.launches.length ? ready.speeds.length : 0, (index) => workStandard(ready, index)),
  };
}

// Gives a function that works through places until a moment (performance.now) is past and says whether all is done.
function worker(count, work) {
  let next = 0;
  return (end) => {
    for (; next < count; next += 1) {
      if (performance.now() >= end) return false;
      work(next);
    }
    return true;
  };
}

// Between two grid speeds the window is what their windows share.
function sharedWindow(ready, speed, windowOf) {
  if (!reachesSpeed(ready, speed)) return null;
  const [a, b] = placesAbout(ready.speeds, speed).map((place) => windowOf(place) ?? [NaN, NaN, NaN, NaN]);
  const found = [0, 1, 2, 3].map((edge) => (edge % 2 ? Math.min : Math.max)(a[edge], b[edge]));
  return found[0] < found[1] && found[2] < found[3] ? found : null;
}

// Where the air of a question is: { air, turf, turfs, isStandard }. What is null in the conditions is as at the study.
// `turfs` are the turf, its softer and its firmer neighbor.
function placeOf(data, conditions) {
  const asked = conditions ?? {};
  const { temp_c: temp, pressure_hpa: pressure, altitude_m: altitude, wind_mph: wind, turf } = asked;
  const isAsked = (value) => value !== null && value !== undefined;
  const isStandard = ![temp, pressure, altitude, wind, turf].some(isAsked);
  const usual = data.standard;
  const pascals = isAsked(altitude) ? pressureAt(altitude) : (pressure ?? usual.pressure_hpa) * 100;
  const air = airOf(temp ?? usual.temp_c, pascals, usual.humidity);
  air.wind_mps = (wind ?? 0) * data.flight.mps_per_mph;
  const turfs = data.turfs[turf ?? usual.turf];
  return { air, turf: turfs[0], turfs, isStandard };
}

// What a place adds to the carry of a drive, and its run there, yd.
function changeAndRun(data, place, ballMph, launch, spin) {
  const [carry, run] = carryAndRun(data.flight, place.air, place.turf, ballMph, launch, spin);
  if (place.isStandard) return [0, run];
  const usual = placeOf(data, null);
  return [carry - carryAndRun(data.flight, usual.air, usual.turf, ballMph, launch, spin)[0], run];
}

// What a place adds to the carry of a drive, yd, and its landing there: see `landingOn`.
function changeAndLanding(data, place, ballMph, launch, spin) {
  const landing = landingOn(data.flight, place.air, place.turfs, ballMph, launch, spin);
  if (place.isStandard) return { change: 0, ...landing };
  const usual = placeOf(data, null);
  const atStandard = carryAndRun(data.flight, usual.air, usual.turf, ballMph, launch, spin)[0];
  return { change: landing.carry - atStandard, ...landing };
}

const PLACES_KEPT = 6; // conditions whose flights are kept; a coach asks about one or two in a day

// The frontier in conditions, kept for the next question about them.
function frontierIn(data, conditions) {
  const ready = prepared(data);
  const place = placeOf(data, conditions);
  if (place.isStandard || !ready.speeds.length) return { place, frontier: ready.standard };
  const { places } = ready;
  const key = JSON.stringify([place.air, place.turf]);
  if (!places.has(key)) {
    if (places.size >= PLACES_KEPT) places.delete(places.keys().next().value);
    places.set(key, frontierHere(ready, place));
  }
  return { place, frontier: places.get(key) };
}

const HERE_COLUMNS = ["carry_yd", "lo90_yd", "hi90_yd", "std_error_yd", "launch_deg", "spin_rpm", "total_yd",
  "total_launch_deg", "total_spin_rpm"];

// The frontier of a place that isn't standard; grid speeds are worked out as they are asked for.
function frontierHere(ready, place) {
  const { speeds } = ready;
  const columns = Object.fromEntries(HERE_COLUMNS.map((name) => [name, new Float64Array(speeds.length).fill(NaN)]));
  const windows = [];
  const filled = new Uint8Array(speeds.length);
  const flights = flownFlights(ready, place);
  const fill = (index) => {
    if (filled[index]) return;
    const found = efficientHere(ready, place, flights, index);
    HERE_COLUMNS.forEach((name) => { columns[name][index] = found[name]; });
    windows[index] = found.windowOf;
    filled[index] = 1;
  };
  const fillAbout = (speed) => reachesSpeed(ready, speed) && placesAbout(speeds, speed).forEach(fill);
  return {
    columns: () => { speeds.forEach((_, index) => fill(index)); return columns; },
    at: (name, speed) => { fillAbout(speed); return between(ready, columns[name], speed); },
    landings: landingsIn(ready, place, columns, fill),
    windowAt: (speed) => { fillAbout(speed); return sharedWindow(ready, speed, (index) => windows[index]()); },
    workUntil: worker(speeds.length, fill),
  };
}

// What is efficient at one grid speed of a place; see `_best` and `_with` of frontier_here.py.
function efficientHere(ready, place, flights, index) {
  const { data, model, reach, columns } = ready;
  const { launches, spins } = reach;
  const width = spins.length;
  const carries = new Float64Array(launches.length * width).fill(-Infinity);
  const struck = betterCarries(ready, index);
  let [forCarry, forTotal, mostCarry, mostTotal] = [0, 0, -Infinity, -Infinity];
  flights(index, (k, change, run) => {
    carries[k] = struck[k] + change;
    if (carries[k] > mostCarry) [forCarry, mostCarry] = [k, carries[k]];
    if (carries[k] + run > mostTotal) [forTotal, mostTotal] = [k, carries[k] + run];
  });
  const flown = [forCarry, forTotal].map((k) => {
    const drive = { club: ready.speeds[index], ratio: betterRatio(model, ready.speeds[index]),
      launch: launches[Math.floor(k / width)], spin: spins[k % width] };
    const [change, run] = changeAndRun(data, place, ready.ball[index], drive.launch, drive.spin);
    const carry = expectedCarry(model, drive) * (1 + model.better_share) + change;
    return { carry, change, total: carry + run, launch: drive.launch, spin: drive.spin };
  });
  const [best, farthest] = flown;
  const longest = best.total >= farthest.total ? best : farthest;
  const moved = data.moved_share * Math.abs(best.change);
  const [lo, hi] = [columns.carry_yd[index] - columns.lo90_yd[index], columns.hi90_yd[index] - columns.carry_yd[index]];
  return {
    carry_yd: best.carry,
    lo90_yd: best.carry - Math.hypot(lo, data.z90 * moved),
    hi90_yd: best.carry + Math.hypot(hi, data.z90 * moved),
    std_error_yd: Math.hypot(columns.std_error_yd[index], moved),
    launch_deg: best.launch,
    spin_rpm: best.spin,
    total_yd: longest.total,
    total_launch_deg: longest.launch,
    total_spin_rpm: longest.spin,
    windowOf: kept(() => {
      const doubt = doubtOnGrid(reach, index, data.node_every);
      const slack = data.frontier.tolerance_yd - data.looked_up_yd;
      const inside = Uint8Array.from(carries, (yards, k) => Number(yards >= mostCarry - (slack - doubt[k])));
      return largestWindow(inside, launches, spins);
    }),
  };
}

const LANDING_COLUMNS = ["descent_deg", "best_descent_deg", "best_total_lo90_yd", "best_total_hi90_yd",
  "carry_cost_yd", "total_gain_yd"];

// How efficient drives land and run in a place, and what the delivery with most total gives and costs, at one grid
// speed; see landing.py. `of` gives the frontier's columns there.
function landedAt(ready, place, index, of) {
  const { data, model, speeds, ball } = ready;
  const land = (launch, spin) => changeAndLanding(data, place, ball[index], launch, spin);
  const [launch, spin] = [of("total_launch_deg"), of("total_spin_rpm")];
  const [efficient, best] = [land(of("launch_deg"), of("spin_rpm")), land(launch, spin)];
  const drive = { club: speeds[index], ratio: betterRatio(model, speeds[index]), launch, spin };
  const bestCarry = expectedCarry(model, drive) * (1 + model.better_share) + best.change;
  const [carry, total] = [of("carry_yd"), of("total_yd")];
  const [lo90, hi90] = totalEdges(total, [carry, of("lo90_yd"), of("hi90_yd")], best.run);
  return { descent_deg: efficient.descent, best_descent_deg: best.descent, best_total_lo90_yd: lo90,
    best_total_hi90_yd: hi90, carry_cost_yd: Math.max(carry - bestCarry, 0),
    total_gain_yd: Math.max(total - (carry + efficient.run[0]), 0) };
}

// Those of a place, worked out as they are asked for: `at(name, speed)` and `all()`. `fill` makes the frontier's
// columns ready at an index.
function landingsIn(ready, place, columns, fill) {
  const { speeds } = ready;
  const found = Object.fromEntries(LANDING_COLUMNS.map((name) => [name, new Float64Array(speeds.length).fill(NaN)]));
  const landed = new Uint8Array(speeds.length);
  const land = (index) => {
    if (landed[index]) return;
    fill(index);
    const at = landedAt(ready, place, index, (name) => columns[name][index]);
    LANDING_COLUMNS.forEach((name) => { found[name][index] = at[name]; });
    landed[index] = 1;
  };
  return {
    all: () => { speeds.forEach((_, index) => land(index)); return found; },
    at: (name, speed) => {
      if (reachesSpeed(ready, speed)) placesAbout(speeds, speed).forEach(land);
      return between(ready, found[name], speed);
    },
  };
}

// A function whose answer is worked out once.
function kept(work) {
  let answer;
  return () => { answer ??= { is: work() }; return answer.is; };
}

// Carry over the reach's grid when struck as the better quarter strike; the same in any air.
function betterCarries(ready, index) {
  ready.better ??= [];
  ready.better[index] ??= betterOnGrid(ready.model, ready.speeds[index], ready.reach.launches, ready.reach.spins);
  return ready.better[index];
}
