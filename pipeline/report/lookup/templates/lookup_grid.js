// Flights of a place over a grid of ball speed, launch and spin, looked up between by local cubics; step for step what
// pipeline/benchmark/flown_grid.py does. Nodes are flown as they are needed: one question needs few of them.

const FIELDS_OF_NODE = 4; // yards to add to carry; landing speed, m/s, descent, deg, and spin, rpm

// Evenly spaced nodes about values with one to spare at both ends; none below `least`.
function gridNodes(values, step, least) {
  let first = Math.floor(Math.min(...values) / step) - 1;
  const last = Math.ceil(Math.max(...values) / step) + 1;
  if (first * step < least) first = Math.ceil(least / step);
  return Float64Array.from({ length: Math.max(last, first + 3) - first + 1 }, (_, k) => (first + k) * step);
}

// The first of the four nodes about a value and their weights, by Lagrange's cubic.
function cubicWeights(grid, value) {
  const place = (value - grid[0]) / (grid[1] - grid[0]);
  const left = clip(Math.floor(place), 1, grid.length - 3);
  const t = place - left;
  const weights = [-t * (t - 1) * (t - 2) / 6, (t + 1) * (t - 1) * (t - 2) / 2, -(t + 1) * t * (t - 2) / 2,
    (t + 1) * t * (t - 1) / 6];
  return { first: left - 1, weights };
}

// The grid's axes and the weights of every delivery of the reach on them, made once.
function gridOf(ready) {
  if (!ready.grid) {
    const { ball_step_mph: ballStep, launch_step_deg: launchStep, spin_step_rpm: spinStep, least_spin_rpm: least } = ready.data.grid;
    const axes = { ball: gridNodes(ready.ball, ballStep, ballStep), launch: gridNodes(ready.reach.launches, launchStep, -90),
      spin: gridNodes(ready.reach.spins, spinStep, least) };
    ready.grid = { ...axes,
      byLaunch: ready.reach.launches.map((launch) => cubicWeights(axes.launch, launch)),
      bySpin: ready.reach.spins.map((spin) => cubicWeights(axes.spin, spin)),
      // Carry at standard conditions, which every other place takes off.
      standardCarry: new Float64Array(axes.ball.length * axes.launch.length * axes.spin.length).fill(NaN) };
  }
  return ready.grid;
}

// Gives a function that writes a node's values to `out` at a place of it, flying the node when it is first asked for.
function nodesFlown(ready, place) {
  const { data } = ready;
  const { flight } = data;
  const grid = gridOf(ready);
  const usual = placeOf(data, null).air;
  const size = grid.launch.length * grid.spin.length;
  const planes = grid.standardCarry.length / size;
  const values = Array.from({ length: planes }, () => null);
  return (a, node) => {
    values[a] ??= new Float64Array(FIELDS_OF_NODE * size).fill(NaN);
    const plane = values[a];
    const at = FIELDS_OF_NODE * node;
    if (Number.isNaN(plane[at])) {
      const speed = grid.ball[a] * flight.mps_per_mph;
      const launch = grid.launch[Math.floor(node / grid.spin.length)];
      const spin = grid.spin[node % grid.spin.length];
      if (Number.isNaN(grid.standardCarry[a * size + node])) {
        flyTo(LANDING, flight, usual, speed, launch, spin);
        grid.standardCarry[a * size + node] = LANDING[0];
      }
      flyTo(LANDING, flight, place.air, speed, launch, spin);
      plane[at] = (LANDING[0] - grid.standardCarry[a * size + node]) / flight.metres_per_yard;
      plane[at + 1] = Math.sqrt(LANDING[1] * LANDING[1] + LANDING[2] * LANDING[2]);
      plane[at + 2] = Math.atan2(LANDING[2], LANDING[1]) * 180 / Math.PI;
      plane[at + 3] = LANDING[3] / RPM;
    }
    return plane;
  };
}

// The nodes that one club speed's reachable deliveries need, and their values at its ball speed.
function nodesAtSpeed(ready, grid, nodeOf, index) {
  const width = grid.spin.length;
  const out = new Float64Array(FIELDS_OF_NODE * grid.launch.length * width);
  const done = new Uint8Array(grid.launch.length * width);
  const { first, weights } = cubicWeights(grid.ball, ready.ball[index]);
  ready.reach.runs[index].forEach(([i, from, to]) => {
    const top = grid.byLaunch[i].first;
    const [left, right] = [grid.bySpin[from].first, grid.bySpin[to].first + 3];
    for (let b = top; b < top + 4; b += 1) {
      for (let node = b * width + left; node <= b * width + right; node += 1) {
        if (done[node]) continue;
        done[node] = 1;
        for (let a = 0; a < 4; a += 1) {
          const plane = nodeOf(first + a, node);
          for (let f = 0; f < FIELDS_OF_NODE; f += 1) out[FIELDS_OF_NODE * node + f] += weights[a] * plane[FIELDS_OF_NODE * node + f];
        }
      }
    }
  });
  return out;
}

// Gives a function that hands over, for each reachable delivery of a club speed, its place on the reach's grid, what the
// place adds to its carry, and its run there, yd.
function flownFlights(ready, place) {
  const { data: { flight }, reach } = ready;
  const grid = gridOf(ready);
  const nodeOf = nodesFlown(ready, place);
  const width = grid.spin.length;
  const row = new Float64Array(FIELDS_OF_NODE * width);
  const at = new Float64Array(FIELDS_OF_NODE);
  return (index, each) => {
    const nodes = nodesAtSpeed(ready, grid, nodeOf, index);
    reach.runs[index].forEach(([i, from, to]) => {
      const { first: top, weights: byLaunch } = grid.byLaunch[i];
      const start = FIELDS_OF_NODE * grid.bySpin[from].first;
      const end = FIELDS_OF_NODE * (grid.bySpin[to].first + 4);
      for (let k = start; k < end; k += 1) {
        row[k] = 0;
        for (let b = 0; b < 4; b += 1) row[k] += byLaunch[b] * nodes[FIELDS_OF_NODE * width * (top + b) + k];
      }
      for (let j = from; j <= to; j += 1) {
        const { first: left, weights: bySpin } = grid.bySpin[j];
        at.fill(0);
        for (let c = 0; c < 4; c += 1) {
          for (let f = 0; f < FIELDS_OF_NODE; f += 1) at[f] += bySpin[c] * row[FIELDS_OF_NODE * (left + c) + f];
        }
        const fall = clip(at[2], 0, 90) * Math.PI / 180;
        const run = runMetres(flight, place.turf, at[1] * Math.cos(fall), at[1] * Math.sin(fall), Math.max(at[3], 0) * RPM);
        each(i * reach.spins.length + j, at[0], run / flight.metres_per_yard);
      }
    });
  };
}
