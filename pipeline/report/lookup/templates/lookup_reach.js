// How often drives reach a distance. Step for step what pipeline/statistics/drive_spread.py, benchmark/reaching.py and
// coach/goals/goal_shares.py do for the usual golfer of a speed; the tests keep them equal.
//
// A spread is { quantiles, center, doubt, worth }, in yards; see `DriveSpread`. Nobody's own drives are on the page.

const TENTHS = [0.9, 0.5, 0.1];

// --- Of one spread ---------------------------------------------------------------------------------------------------

const farther = (spread, by) => (
  { ...spread, quantiles: spread.quantiles.map((yards) => yards + by), center: spread.center + by }
);

// The same scatter, as shares of the center, about another one.
const spreadAbout = (spread, center, doubt) => (
  { ...spread, quantiles: spread.quantiles.map((yards) => yards * (center / spread.center)), center, doubt }
);

// The share of drives beyond a distance, the doubt of the center left out.
function shareBeyond({ levels }, { quantiles }, distance) {
  if (Number.isNaN(distance + quantiles[0])) return NaN;
  let after = 0; // the first quantile beyond the distance, by halves: every answer asks some hundred times
  for (let end = quantiles.length; after < end;) {
    const middle = (after + end) >> 1;
    if (quantiles[middle] <= distance) after = middle + 1;
    else end = middle;
  }
  if (after === 0) return 1;
  if (after === quantiles.length) return 0;
  const [low, high] = [quantiles[after - 1], quantiles[after]];
  const way = high > low ? (distance - low) / (high - low) : 0;
  return 1 - (levels[after - 1] + way * (levels[after] - levels[after - 1]));
}

// The shares at each place of the doubt, and the mean of values over it.
const sharesOverDoubt = (reaching, spread, distance) => (
  reaching.nodes.map((node) => shareBeyond(reaching, spread, distance - spread.doubt * node))
);
const meanOver = ({ weights }, values) => values.reduce((sum, value, k) => sum + weights[k] * value, 0);

// The share of drives that reach a distance, with the edges of its interval; see `share_reaching`.
function shareReaching(data, spread, distance) {
  const { reaching, z90 } = data;
  const shares = sharesOverDoubt(reaching, spread, distance);
  const share = clip(meanOver(reaching, shares), 0, 1);
  const angles = shares.map((one) => Math.asin(Math.sqrt(one)));
  const middle = meanOver(reaching, angles);
  const variance = meanOver(reaching, angles.map((angle) => (angle - middle) ** 2)) + 1 / (4 * spread.worth);
  const reach = z90 * Math.sqrt(variance);
  const edge = (side) => Math.sin(clip(middle + side * reach, 0, Math.PI / 2)) ** 2;
  return [share, Math.min(edge(-1), share), Math.max(edge(1), share)];
}

// The distance that a share of drives reach, yd; 0.9 for nine of ten.
function distanceReached({ reaching }, spread, share) {
  const { quantiles, doubt } = spread;
  if (Number.isNaN(doubt + quantiles[0])) return NaN;
  const { nodes, weights, halvings } = reaching;
  const arm = doubt * Math.max(...nodes.map(Math.abs));
  let [low, high] = [quantiles[0] - arm, quantiles[quantiles.length - 1] + arm];
  for (let turn = 0; turn < halvings; turn += 1) {
    const middle = (low + high) / 2;
    let found = 0;
    for (let k = 0; k < nodes.length; k += 1) {
      found += weights[k] * shareBeyond(reaching, spread, middle - doubt * nodes[k]);
    }
    if (found >= share) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

// --- Of the usual golfer of a speed ----------------------------------------------------------------------------------

// Where the drives of golfers of such a speed and delivery come down in a place; null where nobody can say. See
// `usual_here`.
function usualSpread(ready, place, asked, isCarry) {
  const { data, model } = ready;
  const scatter = data.reaching && data.reaching[isCarry ? "carry" : "total"];
  const { drive, usual } = filledDrive(model, asked);
  if (!scatter || refusalOf(ready, drive, usual)) return null;
  const ball = drive.club * ratioOf(model, drive.club, drive.ratio);
  const flownIn = (one) => changeAndLanding(data, one, ball, drive.launch, drive.spin);
  const [standardRun] = isCarry ? [0] : flownIn(placeOf(data, null)).run;
  const expected = expectedCarry(model, drive) + standardRun;
  const known = data.reaching.known[knownKey(model, asked)];
  const mix = ([a, b]) => known * a + (1 - known) * b;
  const center = expected * (1 + mix(scatter.beyond_share));
  const doubt = center * Math.sqrt(mix(scatter.differ_share.map((share) => share ** 2)));
  const quantiles = Float64Array.from(scatter.shape, (score) => center * (1 + scatter.spread_share * score));
  const { change, run: [run, runLo, runHi] } = flownIn(place);
  const added = isCarry || place.isStandard ? change : change + run - standardRun;
  const moved = farther({ quantiles, center, doubt, worth: scatter.worth }, added);
  const runError = isCarry ? 0 : (runHi - runLo) / (2 * data.z90);
  return { ...moved, doubt: Math.hypot(doubt, data.moved_share * change, runError) };
}

// The distances that nine, five and one of ten drives reach, yd; null where nobody can say.
function distancesReached(data, asked, conditions = null, isCarry = true) {
  const ready = prepared(data);
  if ((asked.club ?? null) === null) return null;
  const spread = usualSpread(ready, frontierIn(data, conditions).place, asked, isCarry);
  return spread && TENTHS.map((share) => distanceReached(data, spread, share));
}

// How often golfers of such a speed and delivery reach a goal: today, with the edges of its interval, with an efficient
// delivery, and with that at the goal's speed (null is not known). Null where nobody can say.
function sharesOfGoal(data, asked, plan, conditions = null) {
  const ready = prepared(data);
  if ((asked.club ?? null) === null || !plan.supported) return null;
  const isCarry = plan.distance === "carry";
  const { place, frontier } = frontierIn(data, conditions);
  const spread = usualSpread(ready, place, asked, isCarry);
  if (!spread) return null;
  const [share, lo90, hi90] = shareReaching(data, spread, plan.goal_yd);
  const curve = distanceCurve(ready, frontier, isCarry);
  const efficientAt = (speed) => {
    const [center, lo, hi] = [curve.yards, curve.lo90, curve.hi90].map((yards) => between(ready, yards, speed));
    return orNull(shareReaching(data, spreadAbout(spread, center, (hi - lo) / (2 * data.z90)), plan.goal_yd)[0]);
  };
  return { share_reaching: share, share_reaching_lo90: lo90, share_reaching_hi90: hi90,
    share_efficient: efficientAt(asked.club), share_at_goal_speed: efficientAt(plan.efficient_speed_mph) };
}
