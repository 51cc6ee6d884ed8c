// STAND-IN until lookup_model.js has these; see the report.
function readNumber(text, field) {
  let plain = text.trim().replace("\u2212", "-");
  if (["spin", "altitude", "pressure"].includes(field)) plain = plain.replace(/^([+-]?[1-9]\d{0,2})[.,' ](\d{3})$/, "$1$2");
  return /^[+-]?(\d+[.,]?\d*|[.,]\d+)$/.test(plain) ? Number(plain.replace(",", ".")) : null;
}
function nearOf(data, club) {
  const place = nearest(data.frontier.speed_mph, club);
  const [[a, b], [, d]] = data.frontier.near.inverse[place];
  const det = a * d - b * b;
  return { place, mean: data.frontier.near.mean[place], inverse: [[a, b], [b, d]],
    room: [Math.sqrt(data.inside * d / det), Math.sqrt(data.inside * a / det)] };
}
function limitsOf(data, field, club) {
  const speeds = data.frontier.speed_mph;
  if (!speeds.length) return null;
  if (field === "club") return [speeds[0], speeds[speeds.length - 1]];
  if (field === "goal") return [20, 450];
  if (club === null || outOfSpeed(data, club)) return { ball: [20, 300], launch: [-20, 60], spin: [0, 20000] }[field] ?? null;
  const { place, mean, room } = nearOf(data, club);
  const { near } = data.frontier;
  if (field === "ball") return near.ratio_lo[place] === null ? null : [near.ratio_lo[place] * club, near.ratio_hi[place] * club];
  const at = field === "launch" ? 0 : 1;
  return [mean[at] - room[at], mean[at] + room[at]];
}
function lookUp(data, asked, conditions) {
  const found = answer(data, asked);
  if (!found.supported) return found;
  const w = found.window;
  const at = (name) => interpolated(data.frontier, name, asked.club);
  return { ...found, launch_window_deg: w && [w[0], w[1]], spin_window_rpm: w && [w[2], w[3]],
    efficient_launch_deg: at("launch_deg"), efficient_spin_rpm: at("spin_rpm"), in_reach: true };
}
function planGoal(data, wish, conditions) {
  const row = wish.golfer;
  const asked = row ? { club: row.club_speed_mph, ball: row.ball_speed_mph, launch: row.launch_deg, spin: row.spin_rpm } : wish;
  const ys = wish.distance === "carry" ? data.frontier.carry_yd : data.frontier.total_yd;
  const speedFor = (goal) => {
    const i = ys.findIndex((y) => y !== null && y >= goal);
    if (i < 1) return null;
    const v = data.frontier.speed_mph;
    return v[i - 1] + (v[i] - v[i - 1]) * (goal - ys[i - 1]) / (ys[i] - ys[i - 1]);
  };
  const known = asked.club !== null && [asked.ball, asked.launch, asked.spin].some((v) => v !== null);
  const found = known ? answer(data, asked) : null;
  const now = found && found.supported ? (wish.distance === "carry" ? found.expected_carry_yd : found.expected_total_yd) : null;
  const eff = asked.club === null ? null : (wish.distance === "carry" ? interpolated(data.frontier, "carry_yd", asked.club) : interpolated(data.frontier, "total_yd", asked.club));
  const gap = now === null ? null : wish.goal_yd - now;
  const delivery = gap > 0 ? Math.max(0, Math.min(gap, eff - now)) : null;
  const speed = speedFor(wish.goal_yd);
  const band = (name, unit, v, d) => ({ [`${name}_${unit}`]: v, [`${name}_lo90_${unit}`]: v === null ? null : v - d, [`${name}_hi90_${unit}`]: v === null ? null : v + d });
  const later = now === null ? null : speedFor(wish.goal_yd + eff - now);
  return { goal_yd: wish.goal_yd, distance: wish.distance, club_speed_mph: asked.club, ...band("present", "yd", now, 12), ...band("efficient", "yd", eff, 3),
    ...band("gap", "yd", gap, 12), ...band("delivery", "yd", delivery, 4), ...band("speed", "yd", delivery === null ? null : gap - delivery, 6),
    ...band("efficient_speed", "mph", speed, 2), ...band("present_speed", "mph", later, 4), supported: speed !== null, reach: gap <= 0 ? "reached" : "both", note: null,
    quarters: later && asked.club && later > asked.club ? (later - asked.club) / 0.3 : null, quarters_lo90: 3.2, quarters_hi90: 31 };
}
function regionAt(data, club, conditions) {
  const { mean, inverse, room } = nearOf(data, club);
  const reach = [];
  for (let launch = Math.ceil((mean[0] - room[0] * 0.7) * 2) / 2; launch <= mean[0] + room[0] * 0.7; launch += 0.5) {
    const dl = launch - mean[0];
    const [[a, b], [, d]] = inverse;
    const c = a * dl * dl - data.inside * 0.5;
    const root = b * b * dl * dl - d * c;
    if (root > 0) reach.push([launch, mean[1] + (-b * dl - Math.sqrt(root)) / d, mean[1] + (-b * dl + Math.sqrt(root)) / d]);
  }
  const at = (name) => interpolated(data.frontier, name, club);
  const edges = ["launch_lo_deg", "launch_hi_deg", "spin_lo_rpm", "spin_hi_rpm"].map(at);
  return { ellipse: { mean, inverse, inside: data.inside }, reach, best: [at("launch_deg"), at("spin_rpm")],
    window: edges.includes(null) ? null : [[edges[0], edges[1]], [edges[2], edges[3]]] };
}
