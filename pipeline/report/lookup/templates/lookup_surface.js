// The fitted model: expected carry over speed, launch and spin, and what is usual at a club speed. Step for step what
// pipeline/fit/surface.py, flight_surface.py, tabulated.py, model.py and trend.py do; the tests keep them equal.

// --- Bases along one axis --------------------------------------------------------------------------------------------

// As `Axis.basis`: powers, or the natural cubic spline terms of Hastie, Tibshirani and Friedman (2009), 5.4 and 5.5.
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

// The natural cubic spline through values at knots, as a matrix from the values to the second derivatives at the knots.
// Flight's splines come by their values, which need far fewer digits than the terms of a basis.
function curvatures(knots) {
  const n = knots.length;
  const gap = knots.slice(1).map((knot, i) => knot - knots[i]);
  const found = Array.from({ length: n }, () => new Float64Array(n));
  const above = new Float64Array(n); // Thomas' algorithm; the curvature at both ends is zero
  for (let i = 1; i < n - 1; i += 1) {
    const pivot = 2 * (gap[i - 1] + gap[i]) - gap[i - 1] * above[i - 1];
    above[i] = gap[i] / pivot;
    found[i][i - 1] += 6 / gap[i - 1];
    found[i][i] -= 6 / gap[i - 1] + 6 / gap[i];
    found[i][i + 1] += 6 / gap[i];
    for (let j = 0; j < n; j += 1) found[i][j] = (found[i][j] - gap[i - 1] * found[i - 1][j]) / pivot;
  }
  for (let i = n - 2; i > 0; i -= 1) for (let j = 0; j < n; j += 1) found[i][j] -= above[i] * found[i + 1][j];
  return found;
}

// What each knot's value weighs in the spline at x; beyond the outer knots it goes on as a straight line.
function splineWeights({ knots, bend }, x) {
  const n = knots.length;
  if (n === 1) return [1]; // it doesn't vary along this axis
  let i = 0;
  while (i < n - 2 && x > knots[i + 1]) i += 1;
  const gap = knots[i + 1] - knots[i];
  const at = clip(x, knots[0], knots[n - 1]);
  const right = (at - knots[i]) / gap;
  const left = 1 - right;
  let [b0, b1] = [(left ** 3 - left) * gap ** 2 / 6, (right ** 3 - right) * gap ** 2 / 6];
  let [w0, w1] = [left, right];
  if (x !== at) {
    const beyond = x - at;
    w0 -= beyond / gap;
    w1 += beyond / gap;
    b0 -= beyond * gap * (3 * left ** 2 - 1) / 6;
    b1 += beyond * gap * (3 * right ** 2 - 1) / 6;
  }
  const weights = new Float64Array(n);
  for (let j = 0; j < n; j += 1) weights[j] = b0 * bend[i][j] + b1 * bend[i + 1][j];
  weights[i] += w0;
  weights[i + 1] += w1;
  return weights;
}

// --- Carry -----------------------------------------------------------------------------------------------------------

// The surface made ready once: knots in the inputs' own units, curvatures, and as `parts` the sums of fitted terms that
// stand over each set of axes. Flight's fitted multipliers enter in a straight line, as tabulated terms do.
function preparedSurface(surface) {
  const ready = (knots) => ({ knots, bend: curvatures(knots) });
  const { flight, coefficients } = surface;
  const flown = flight && {
    axes: flight.axes.map((axis) => ready(axis.knots.map((z) => axis.centre + axis.scale * z))),
    drag: Float64Array.from(flight.drag),
    lift: Float64Array.from(flight.lift),
  };
  if (flown) {
    const [drag, lift] = coefficients;
    flown.carry = Float64Array.from(flight.carry, (y, k) => y + drag * flown.drag[k] + lift * flown.lift[k]);
  }
  const tables = surface.tables.map((table) => {
    const values = table.values.map((each) => Float64Array.from(each));
    const carry = new Float64Array(values[0].length);
    values.forEach((each, k) => each.forEach((y, at) => { carry[at] += coefficients[table.terms[k]] * y; }));
    return { axes: table.knots.map(ready), terms: table.terms, values, carry };
  });
  return { ...surface, flown, tables, parts: flown ? [flown] : tables };
}

const weightsAt = (part, inputs) => part.axes.map((axis, k) => splineWeights(axis, inputs[k]));

function contracted(values, speed, launch, spin) {
  let sum = 0;
  let k = 0;
  for (let a = 0; a < speed.length; a += 1) {
    for (let b = 0; b < launch.length; b += 1) {
      let row = 0;
      for (let c = 0; c < spin.length; c += 1, k += 1) row += values[k] * spin[c];
      sum += row * speed[a] * launch[b];
    }
  }
  return sum;
}

// The terms of the fitted correction, one by one.
function correctionTerms(surface, inputs) {
  const [s, l, p] = surface.axes.map((axis, index) => basis(axis, inputs[index]));
  return surface.terms.map(([a, b, c]) => s[a] * l[b] * p[c]);
}

// The coefficients of these terms: those of flight or of tables stand in `parts`.
function correctionCoefficients(surface) {
  return surface.coefficients.slice(surface.flown ? 2 : 0);
}

function surfaceCarry(surface, speed, launch, spin) {
  const inputs = [speed, launch, spin];
  const fitted = correctionCoefficients(surface);
  const correction = correctionTerms(surface, inputs).reduce((sum, term, k) => sum + term * fitted[k], 0);
  return surface.parts.reduce((sum, part) => sum + contracted(part.carry, ...weightsAt(part, inputs)), correction);
}

// Every fitted term at one drive: what `design` of the surfaces gives.
function surfaceDesign(surface, speed, launch, spin) {
  const inputs = [speed, launch, spin];
  const { flown } = surface;
  const terms = correctionTerms(surface, inputs);
  surface.tables.forEach((table) => {
    const weights = weightsAt(table, inputs);
    table.terms.forEach((place, k) => { terms[place] = contracted(table.values[k], ...weights); });
  });
  if (!flown) return terms;
  const weights = weightsAt(flown, inputs);
  return [...[flown.drag, flown.lift].map((values) => contracted(values, ...weights)), ...terms];
}

// Carry at one speed over launch and spin, row by row, as `on_grid` gives it.
function surfaceOnGrid(surface, speed, launches, spins) {
  const out = new Float64Array(launches.length * spins.length);
  const fitted = correctionCoefficients(surface);
  if (surface.terms.length) {
    const s = basis(surface.axes[0], speed);
    addOnGrid(out, surface.axes.slice(1).map((axis, k) => [launches, spins][k].map((x) => basis(axis, x))), (set) => {
      surface.terms.forEach(([a, b, c], k) => set(b, c, fitted[k] * s[a]));
    });
  }
  surface.parts.forEach((part) => {
    const [speedAxis, ...across] = part.axes;
    const [m, n] = across.map((axis) => axis.knots.length);
    addOnGrid(out, across.map((axis, k) => [launches, spins][k].map((x) => splineWeights(axis, x))), (set) => {
      splineWeights(speedAxis, speed).forEach((weight, a) => {
        for (let b = 0; b < m; b += 1) {
          for (let c = 0; c < n; c += 1) set(b, c, weight * part.carry[(a * m + b) * n + c]);
        }
      });
    });
  });
  return out;
}

// Adds a sum of products of launch and spin terms to a grid; `fill` hands over what each product is times.
function addOnGrid(out, [byLaunch, bySpin], fill) {
  const [m, n] = [byLaunch[0].length, bySpin[0].length];
  const table = new Float64Array(m * n);
  fill((b, c, value) => { table[b * n + c] += value; });
  const row = new Float64Array(n);
  byLaunch.forEach((launch, i) => {
    row.fill(0);
    for (let b = 0; b < m; b += 1) {
      if (launch[b] !== 0) for (let c = 0; c < n; c += 1) row[c] += launch[b] * table[b * n + c];
    }
    bySpin.forEach((spin, j) => {
      let sum = 0;
      for (let c = 0; c < n; c += 1) sum += row[c] * spin[c];
      out[i * bySpin.length + j] += sum;
    });
  });
}

// --- What is usual at a club speed -----------------------------------------------------------------------------------

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

// Ball over club speed: a drive's own where it is known (not NaN), else the usual one; or the better quarter's.
function usualRatio(model, club) {
  return model.usual.speed_ratio ? lineAt(model.usual.speed_ratio, club) : model.assumed_ratio;
}

const ratioOf = (model, club, ratio) => (Number.isNaN(ratio) ? usualRatio(model, club) : ratio);

// The better strike is never the worse: the two lines are fitted apart and may cross.
function betterRatio(model, club) {
  const usual = usualRatio(model, club);
  if (!model.usual.better_ratio) return usual;
  const better = lineAt(model.usual.better_ratio, club);
  return model.usual.speed_ratio ? Math.max(better, usual) : better;
}

// Expected carry, yd, of a drive { club, ratio, launch, spin }; a ratio that isn't known is NaN.
function expectedCarry(model, drive) {
  const { surface } = model;
  const speed = surface.speed === "ball" ? drive.club * ratioOf(model, drive.club, drive.ratio) : drive.club;
  return surfaceCarry(surface, speed, drive.launch, drive.spin);
}

function designOf(model, drive) {
  const { surface } = model;
  const speed = surface.speed === "ball" ? drive.club * ratioOf(model, drive.club, drive.ratio) : drive.club;
  return surfaceDesign(surface, speed, drive.launch, drive.spin);
}

// Carry over launch and spin struck as the better quarter of golfers do; see `better_on_grid`.
function betterOnGrid(model, club, launches, spins) {
  const { surface } = model;
  const speed = surface.speed === "ball" ? club * betterRatio(model, club) : club;
  return surfaceOnGrid(surface, speed, launches, spins).map((carry) => carry * (1 + model.better_share));
}
