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
    const steps = ready.data.grid;
    const axes = {
      ball: gridNodes(ready.ball, steps.ball_step_mph, steps.ball_step_mph),
      launch: gridNodes(ready.reach.launches, steps.launch_step_deg, -90),
      spin: gridNodes(ready.reach.spins, steps.spin_step_rpm, steps.least_spin_rpm),
    };
    ready.grid = { ...axes,
      byLaunch: ready.reach.launches.map((launch) => cubicWeights(axes.launch, launch)),
      bySpin: ready.reach.spins.map((spin) => cubicWeights(axes.spin, spin)),
      standardCarry: new Float64Array(axes.ball.length * axes.launch.length * axes.spin.length).fill(NaN) };
  }
  return ready.grid;
}

// Carry, m, of a node of the plane of one ball speed in the study's own air, which every other place takes off.
function standardCarry(ready, grid, a, node) {
  const at = a * grid.launch.length * grid.spin.length + node;
  if (Number.isNaN(grid.standardCarry[at])) {
    flyNode(ready, grid, placeOf(ready.data, null).air, a, node);
    grid.standardCarry[at] = LANDING[0];
  }
  return grid.standardCarry[at];
}

function flyNode({ data: { flight } }, grid, air, a, node) {
  const width = grid.spin.length;
  const speed = grid.ball[a] * flight.mps_per_mph;
  flyTo(LANDING, flight, air, speed, grid.launch[Math.floor(node / width)], grid.spin[node % width]);
}

// Gives a function that hands over the plane of one ball speed, in which a node has been flown.
function nodesFlown(ready, place) {
  const grid = gridOf(ready);
  const size = grid.launch.length * grid.spin.length;
  const planes = Array.from(grid.ball, () => null);
  return (a, node) => {
    planes[a] ??= new Float64Array(FIELDS_OF_NODE * size).fill(NaN);
    const plane = planes[a];
    const at = FIELDS_OF_NODE * node;
    if (Number.isNaN(plane[at])) {
      const usual = standardCarry(ready, grid, a, node);
      flyNode(ready, grid, place.air, a, node);
      plane[at] = (LANDING[0] - usual) / ready.data.flight.metres_per_yard;
      plane[at + 1] = Math.sqrt(LANDING[1] * LANDING[1] + LANDING[2] * LANDING[2]);
      plane[at + 2] = Math.atan2(LANDING[2], LANDING[1]) * 180 / Math.PI;
      plane[at + 3] = LANDING[3] / RPM;
    }
    return plane;
  };
}

// Hands over each node of launch and spin that one club speed's reachable deliveries need, once.
function eachNode(ready, grid, index, visit) {
  const width = grid.spin.length;
  const done = new Uint8Array(grid.launch.length * width);
  ready.reach.runs[index].forEach(([i, from, to]) => {
    const top = grid.byLaunch[i].first;
    const [left, right] = [grid.bySpin[from].first, grid.bySpin[to].first + 3];
    for (let b = top; b < top + 4; b += 1) {
      for (let node = b * width + left; node <= b * width + right; node += 1) {
        if (!done[node]) visit(node);
        done[node] = 1;
      }
    }
  });
}

// Those nodes' values at the club speed's ball speed.
function nodesAtSpeed(ready, grid, planeWith, index) {
  const out = new Float64Array(FIELDS_OF_NODE * grid.launch.length * grid.spin.length);
  const { first, weights } = cubicWeights(grid.ball, ready.ball[index]);
  eachNode(ready, grid, index, (node) => {
    const at = FIELDS_OF_NODE * node;
    for (let a = 0; a < 4; a += 1) {
      const plane = planeWith(first + a, node);
      for (let f = 0; f < FIELDS_OF_NODE; f += 1) out[at + f] += weights[a] * plane[at + f];
    }
  });
  return out;
}

// What every place needs of one club speed: done ahead, it halves the wait for the first question about another air.
function workStandard(ready, index) {
  const grid = gridOf(ready);
  const { first } = cubicWeights(grid.ball, ready.ball[index]);
  betterCarries(ready, index);
  eachNode(ready, grid, index, (node) => {
    for (let a = first; a < first + 4; a += 1) standardCarry(ready, grid, a, node);
  });
}

// Gives a function that hands over, for each reachable delivery of a club speed, its place on the reach's grid, what
// the place adds to its carry, and its run there, yd.
function flownFlights(ready, place) {
  const { data: { flight }, reach } = ready;
  const grid = gridOf(ready);
  const planeWith = nodesFlown(ready, place);
  const width = grid.spin.length;
  const row = new Float64Array(FIELDS_OF_NODE * width);
  const at = new Float64Array(FIELDS_OF_NODE);
  return (index, each) => {
    const nodes = nodesAtSpeed(ready, grid, planeWith, index);
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
        const [along, down] = [at[1] * Math.cos(fall), at[1] * Math.sin(fall)];
        const run = runMetres(flight, place.turf, along, down, Math.max(at[3], 0) * RPM);
        each(i * reach.spins.length + j, at[0], run / flight.metres_per_yard);
      }
    });
  };
}
