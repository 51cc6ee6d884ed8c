// An answer in words and shown figures, without the page: what `fill` in lookup_page.js puts into its places. Pure
// functions of the answer, the units and the catalogue's texts `t` ([page]).

const NONE = "\u2013"; // a dash where there is no figure

// How a value lies to a range: { side, away } with the shown distance to it; side is inside, below or above.
function besideRange(value, [lo, hi], step) {
  if (value >= lo && value <= hi) return { side: "inside", away: 0 };
  const below = value < lo;
  return { side: below ? "below" : "above", away: roundedTo(below ? lo - value : value - hi, step) };
}

const MEASURES = {
  launch: { window: "launch_window_deg", best: "efficient_launch_deg", step: ANGLE_STEP_DEG, figure: angleFigure },
  spin: { window: "spin_window_rpm", best: "efficient_spin_rpm", step: SPIN_STEP_RPM, figure: spinFigure },
};

// What to aim at in launch or spin, and where this drive is beside it.
function aimOf(measure, found, t) {
  const { window, best, step, figure } = MEASURES[measure];
  const edges = windowFigures(found[window], step, figure);
  const value = figure(found[measure]);
  if (!edges) {
    const near = !Number.isFinite(found[best]) ? NONE : filledText(t.about, { value: figure(found[best]) });
    return { aim: near, state: value, side: null, away: null };
  }
  const { side, away } = besideRange(found[measure], found[window], step);
  const words = away === 0 ? { inside: "inside", below: "just_below", above: "just_above" }[side] : side;
  return {
    aim: filledText(t.range, { lo: edges[0], hi: edges[1] }),
    state: filledText(t[words], { value, away: figure(away) }),
    side,
    away: figure(away),
  };
}

function stampOf(asked, units, t) {
  const speed = speedTyped(asked.club, units);
  const open = ["ball", "launch", "spin"].filter((field) => asked[field] === null);
  if (open.length === 0) return filledText(t.at_speed, { speed });
  if (open.length === 3) return filledText(t.all_typical, { speed });
  const names = open.map((field) => t[field].toLowerCase());
  const what = names.length === 1 ? names[0] : filledText(t.and, { a: names[0], b: names[1] });
  return filledText(t.some_typical, { speed, what });
}

// A typed speed with its own digits, a tenth at most.
const speedTyped = (mph, units) => `${roundedTo(mph / units.speed.each, 0.1)} ${units.speed.text}`;

function rangeOf(lo, hi, figure, t) {
  const isLow = lo === null || lo === undefined;
  const isHigh = hi === null || hi === undefined;
  if (isLow && isHigh) return "";
  if (!isLow && !isHigh && figure(lo) === figure(hi)) return filledText(t.about, { value: figure(lo) });
  if (isLow) return filledText(t.up_to, { hi: figure(hi) });
  if (isHigh) return filledText(t.from_on, { lo: figure(lo) });
  return filledText(t.range, { lo: figure(lo), hi: figure(hi) });
}

// How many of ten; nearly none and nearly all have words of their own.
function tenthsText(share, t) {
  const n = wholeOf(10 * share);
  if (n === 0) return t.hardly_any;
  return n === 10 ? t.nearly_all : filledText(t.of_ten, { n });
}

// How many drives reach the goal: today, with an efficient delivery, and with that at the goal's speed; `spoken` says
// whose drives they are. `shares` is null where nobody can say.
function oftenWords(plan, shares, t) {
  if (!shares) return { places: { share_reaching: "", share_efficient: "", share_at_goal_speed: "" }, spoken: "" };
  const [lo, hi] = ["lo90", "hi90"].map((end) => wholeOf(10 * shares[`share_reaching_${end}`]));
  const words = { share: tenthsText(shares.share_reaching, t), range: rangeOf(lo, hi, String, t) };
  const then = (share) => (share === null ? "" : filledText(t.then_share, { share: tenthsText(share, t) }));
  const isOutside = [0, 10].includes(wholeOf(10 * shares.share_reaching));
  const unsure = isOutside ? t.share_outside : t.share_today;
  const share = filledText(lo === hi ? t.share_sure : unsure, words);
  // A goal that takes less speed than today's has no "then" behind what speed gives.
  const isFaster = plan.efficient_speed_mph > plan.club_speed_mph;
  return {
    places: { share_reaching: share[0].toUpperCase() + share.slice(1), share_efficient: then(shares.share_efficient),
      share_at_goal_speed: isFaster ? then(shares.share_at_goal_speed) : "" },
    spoken: filledText(t.spoken_share, words),
  };
}

// How drives land and run: a finding, this drive, and the delivery with most total. From `toldFrom` yards more with roll
// on, a delivery that gives up carry for it is worth a sentence.
function landingWords(found, turf, toldFrom, units, t) {
  const yards = (yd) => distanceText(yd, units);
  const ends = (name) => ({ lo: distanceFigure(found[`${name}_lo90_yd`], units),
    hi: distanceFigure(found[`${name}_hi90_yd`], units) });
  const [gain, cost] = [found.best_total_gain_yd, found.best_total_carry_cost_yd];
  const isLower = found.best_total_descent_deg < found.efficient_descent_deg;
  const delivery = { launch: angleFigure(found.best_total_launch_deg), spin: spinFigure(found.best_total_spin_rpm) };
  const farther = distanceWhole(cost, units) === 0 ? t.landing_free : t.landing_farther;
  const words = { turf, drive: filledText(isLower ? t.landing_lower : t.landing_other, delivery), gain: yards(gain),
    cost: yards(cost) };
  return {
    "landing-title": filledText(gain >= toldFrom ? farther : t.landing_same, words),
    "landing-drive": filledText(t.landing_drive, { descent: angleFigure(found.expected_descent_deg),
      total: yards(found.expected_total_yd), ...ends("expected_total") }),
    "landing-most": filledText(t.landing_most, { descent: angleFigure(found.best_total_descent_deg),
      total: yards(found.efficient_total_yd), ...ends("efficient_total") }),
  };
}

// What the first question shows, by the id of its place; `reached` are the distances of nine, five and one of ten.
function farWords(found, asked, reached, units, t) {
  const figure = (yd) => (Number.isFinite(yd) ? distanceFigure(yd, units) : NONE);
  const more = distanceWhole(found.efficient_carry_yd, units) - distanceWhole(found.expected_carry_yd, units);
  const [launch, spin] = ["launch", "spin"].map((measure) => aimOf(measure, found, t));
  const ends = (name) => ({ lo: figure(found[`${name}_lo90_yd`]), hi: figure(found[`${name}_hi90_yd`]) });
  const text = (name) => (Number.isFinite(found[`${name}_yd`]) ? distanceText(found[`${name}_yd`], units) : NONE);
  const tenths = reached && Object.fromEntries(["nine", "five", "one"].map((name, k) => [name, figure(reached[k])]));
  const aim = launch.side === null ? t.spoken_no_aim : filledText(t.spoken_aim, { launch: launch.aim, spin: spin.aim });
  return {
    stamp: stampOf(asked, units, t),
    launch,
    spin,
    places: {
      expected_carry: text("expected_carry"),
      efficient_carry: text("efficient_carry"),
      yards_available: more > 0 ? filledText(t.more, { more: numberText(more) }) : "",
      expected_interval: filledText(t.one_in_ten, ends("expected")),
      efficient_interval: filledText(t.doubt, ends("efficient")),
      expected_roll: filledText(t.with_roll, { total: text("expected_total") }),
      efficient_roll: filledText(t.with_roll, { total: text("efficient_total") }),
      launch_window: launch.aim,
      spin_window: spin.aim,
      launch_state: launch.state,
      spin_state: spin.state,
      tenths: tenths ? filledText(t.tenths, tenths) : "",
    },
    spoken: filledText(t.spoken_far, { expected: text("expected_carry"), efficient: text("efficient_carry"), aim }),
  };
}

function changeWords(mph, club, units, t) {
  if (mph === null || club === null || club === undefined) return "";
  const scale = 10 ** units.speed.decimals;
  const steps = Math.round((Number(speedFigure(mph, units)) - roundedTo(club / units.speed.each, 1 / scale)) * scale);
  if (steps === 0) return t.speed_same;
  const change = `${numberText(Math.abs(steps) / scale, units.speed.decimals)} ${units.speed.text}`;
  return filledText(steps > 0 ? t.speed_more : t.speed_less, { change });
}

// The gap as one sentence, and its two parts, which add up as shown.
function gapWords(plan, units, t) {
  const shown = (yd) => distanceWhole(yd, units);
  const unit = (whole) => `${numberText(whole)} ${units.distance.text}`;
  const none = { parts: null };
  if (plan.present_yd !== null && plan.gap_yd !== null) {
    const gap = shown(plan.goal_yd) - shown(plan.present_yd);
    if (plan.gap_yd <= 0 || gap <= 0) {
      return { ...none, sentence: filledText(t.reached, { spare: unit(Math.abs(gap)) }) };
    }
    const sentence = filledText(t.missing, { now: unit(shown(plan.present_yd)), gap: unit(gap) });
    if (plan.delivery_yd === null || plan.speed_yd === null) return { ...none, sentence };
    return { sentence, parts: partsWhole([plan.delivery_yd, plan.speed_yd], units, gap).map(unit) };
  }
  if (plan.golfer) return { ...none, sentence: plan.note ?? "" }; // why the golfer's drive isn't known
  if (plan.efficient_yd === null || plan.club_speed_mph === null) return { ...none, sentence: "" };
  const short = shown(plan.goal_yd) - shown(plan.efficient_yd);
  const words = { yards: unit(shown(plan.efficient_yd)), short: unit(short) };
  return { ...none, sentence: filledText(short > 0 ? t.short : t.enough, words) };
}

// How long it takes at the pace of golfers here; nothing where the way isn't known.
function paceWords(plan, t) {
  const { quarters, quarters_lo90: lo, quarters_hi90: hi } = plan;
  if (!(plan.gap_yd > 0) || plan.present_yd === null) return ["", ""];
  if (quarters === null || quarters === undefined) return [t.no_pace, ""];
  const n = wholeOf(quarters);
  const words = n <= 1 ? t.one_quarter : filledText(t.quarters, { n: numberText(n) });
  return [words, filledText(t.in_brackets, { range: rangeOf(lo, hi, (value) => numberText(value), t) })];
}

// What the second question shows, by the id of its place.
function takesWords(plan, shares, units, t) {
  const yards = (yd) => distanceFigure(yd, units);
  const speeds = (mph) => speedFigure(mph, units);
  const { sentence, parts } = gapWords(plan, units, t);
  const isKnown = plan.present_yd !== null;
  const speedOf = (name, otherwise) => {
    const mph = plan[`${name}_mph`];
    return mph === null ? otherwise : speedText(mph, units);
  };
  const ends = (name, unit, figure) => rangeOf(plan[`${name}_lo90_${unit}`], plan[`${name}_hi90_${unit}`], figure, t);
  const good = speedOf("efficient_speed", NONE);
  const today = speedOf("present_speed", isKnown || plan.golfer ? t.no_speed_today : t.needs_delivery);
  const [quarters, quartersRange] = paceWords(plan, t);
  const often = oftenWords(plan, shares, t);
  const way = parts ? filledText(t.spoken_parts, { delivery: parts[0], speed: parts[1] }) : sentence;
  return {
    places: {
      efficient_speed: good,
      present_speed: today,
      efficient_change: changeWords(plan.efficient_speed_mph, plan.club_speed_mph, units, t),
      present_change: changeWords(plan.present_speed_mph, plan.club_speed_mph, units, t),
      efficient_speed_range: ends("efficient_speed", "mph", speeds),
      present_speed_range: ends("present_speed", "mph", speeds),
      gap: sentence,
      delivery: parts ? parts[0] : NONE,
      speed: parts ? parts[1] : NONE,
      delivery_range: parts ? ends("delivery", "yd", yards) : "",
      speed_range: parts ? ends("speed", "yd", yards) : "",
      quarters,
      quarters_range: quartersRange,
      ...often.places,
    },
    spoken: filledText(t.spoken_takes, { good, today, parts: [way, often.spoken].filter(Boolean).join(" ") }),
  };
}

// The conditions that aren't the standard ones, in a few words; empty where all are.
function conditionsWords(conditions, units, texts) {
  const { page: t, turf } = texts;
  const wind = conditions.wind_mph;
  const kinds = [
    [wind, wind > 0 ? t.condition_tail : t.condition_head, "wind", () => speedTyped(Math.abs(wind), units)],
    [conditions.temp_c, t.condition_temp, "temp", (value) => numberText(value, Number.isInteger(value) ? 0 : 1)],
    [conditions.altitude_m, t.condition_altitude, "altitude", (value) => numberText(value)],
    [conditions.pressure_hpa, t.condition_pressure, "pressure", (value) => typedText(value)],
  ];
  const words = kinds.filter(([value]) => value !== null)
    .map(([value, sentence, name, figure]) => filledText(sentence, { [name]: figure(value) }));
  if (conditions.turf !== null) words.push(turf[conditions.turf]);
  return words.join(", ");
}
