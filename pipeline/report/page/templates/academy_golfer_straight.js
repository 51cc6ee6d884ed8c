// How straight a golfer drives: the picture of where drives come down, on the scale of the hole, and what it means in
// words; carry and spread side by side where a quarter is compared with the one before.

const GOLFER_STRAIGHT = (() => {
  const { known } = GOLFER_FIGURES;
  // Of normal drives the ellipse holds nine in ten: its axes are the root of chi-square on two degrees of freedom.
  const REACH = Math.sqrt(-2 * Math.log(1 - 0.9));
  const STEPS = 96; // of the ellipse's outline; four of them are the ends of its axes
  const ROOM = 1.25; // of what is drawn, so that nothing touches the frame and most drives outside the ellipse show too
  // To each side at least, so that many golfers' pictures have one scale: of the demo's golfers the middle one's ellipse
  // reaches 34 yd off the target line, and takes 43 yd with room.
  const LEAST_SIDE_YD = 45;
  const MEASURES = [{ name: "carry", unit: "distance", key: "carry_yd" }, { name: "offline_sd", unit: "distance" }, { name: "offline_mean", unit: "distance" }];

  const say = (context, key, words) => GOLFER_BLOCKS.say(context, `straight_${key}`, words);
  const unitsOfPage = (context) => context.data.settings.units;

  // --- The picture -------------------------------------------------------------------------------------------------------

  // From the center to the ends of the long and of the short axis: (side, carry) each, in shown units.
  function armsOf(ellipse, each) {
    const turned = ellipse.tilt_deg * Math.PI / 180;
    const [sin, cos] = [Math.sin(turned), Math.cos(turned)];
    return [[sin, cos, ellipse.long_yd], [cos, -sin, ellipse.short_yd]].map(([side, along, yd]) => [side * REACH * yd / each, along * REACH * yd / each]);
  }

  const outlineOf = ([side, carry], [long, short]) => d3.range(STEPS + 1).map((step) => {
    const angle = 2 * Math.PI * step / STEPS;
    return { side: side + Math.cos(angle) * long[0] + Math.sin(angle) * short[0], carry: carry + Math.cos(angle) * long[1] + Math.sin(angle) * short[1] };
  });

  // How far the picture goes: what must be in it sets the scale, which is the same across and along, and the frame is
  // filled.
  function frameOf(center, arms, halfCorridor, least, [across, along]) {
    const [wide, tall] = [0, 1].map((axis) => Math.hypot(arms[0][axis], arms[1][axis]));
    const must = [Math.max(ROOM * (wide + Math.abs(center[0])), ROOM * halfCorridor, least), ROOM * tall];
    const each = Math.max(must[0] / across, must[1] / along); // shown units in a CSS pixel
    return { side: [-each * across, each * across], carry: [center[1] - each * along, center[1] + each * along] };
  }

  const within = (value, [from, to]) => value >= from && value <= to;

  // The picture, and how many drives lie outside of it.
  function landing(straight, { width, height, size, fill, units, label }) {
    const { each } = units.distance;
    const { ellipse } = straight;
    const center = [straight.offline_yd.value / each, ellipse.carry_yd / each];
    const arms = armsOf(ellipse, each);
    const half = straight.corridor_yd / 2 / each;
    const margins = { marginLeft: 4 * size, marginRight: 0.6 * size, marginTop: 1.6 * size, marginBottom: 3.3 * size };
    const inner = [(width - margins.marginLeft - margins.marginRight) / 2, (height - margins.marginTop - margins.marginBottom) / 2];
    const frame = frameOf(center, arms, half, LEAST_SIDE_YD / each, inner);
    const drives = straight.drives.map(([side, carry]) => ({ side: side / each, carry: carry / each }));
    const shown = drives.filter((one) => within(one.side, frame.side) && within(one.carry, frame.carry));
    const average = [{ side: center[0], carry: center[1] }];
    const ranged = known(straight.offline_yd.lo) && known(straight.offline_yd.hi)
      ? [{ lo: straight.offline_yd.lo / each, hi: straight.offline_yd.hi / each, carry: center[1] }] : [];
    const top = d3.greatest(outlineOf(center, arms), (one) => one.carry);
    const leansLeft = ellipse.tilt_deg < 0;
    const word = GOLFER_CHARTS.HALO;
    const plot = GOLFER_CHARTS.drawn(size, {
      width, height, ...margins,
      x: { domain: frame.side, label: fill("straight_axis_side", { unit: units.distance.text }), labelAnchor: "center", labelArrow: "none", ticks: Math.max(4, Math.floor(width / 70)), tickFormat: (value) => numberText(Math.abs(value)), tickSize: 3 },
      y: { domain: frame.carry, label: fill("straight_axis_carry", { unit: units.distance.text }), labelAnchor: "center", labelArrow: "none", ticks: Math.max(3, Math.floor(height / 55)), tickSize: 3 },
      ariaLabel: label(shown.length),
      marks: [
        Plot.rect([{ lo: -half, hi: half }], { x1: "lo", x2: "hi", y1: frame.carry[0], y2: frame.carry[1], fill: "var(--pale)" }),
        Plot.frame({ stroke: "var(--faint)" }),
        Plot.ruleX([-half, half], { stroke: "var(--accent)", strokeWidth: 1 }),
        Plot.ruleX([0], { stroke: "var(--line)", strokeWidth: 1.5, strokeDasharray: "6 4" }),
        Plot.dot(shown, { x: "side", y: "carry", r: 3, fill: "var(--line)", fillOpacity: 0.75 }),
        Plot.line(outlineOf(center, arms), { x: "side", y: "carry", stroke: "var(--accent)", strokeWidth: 2.5 }),
        Plot.ruleY(ranged, { x1: "lo", x2: "hi", y: "carry", stroke: "var(--ink)", strokeWidth: 6, strokeOpacity: 0.4 }),
        Plot.dot(average, { x: "side", y: "carry", r: 7, symbol: "plus", stroke: "var(--ink)", strokeWidth: 3 }),
        Plot.text([{ side: 0 }], { x: "side", frameAnchor: "top", dy: -1.4 * size, text: () => fill("straight_target"), ...word }),
        // On the side from which the ellipse's near end is farther.
        Plot.text([{ side: leansLeft ? -half : half }], { x: "side", frameAnchor: "bottom", textAnchor: leansLeft ? "end" : "start", dx: leansLeft ? -5 : 5, dy: -0.5 * size, text: () => fill("straight_corridor"), ...word, fill: "var(--accent)" }),
        Plot.text([top], { x: "side", y: "carry", text: () => fill("straight_nine"), dy: -0.7 * size, ...word, fill: "var(--accent)" }),
        Plot.text(average, { x: "side", y: "carry", text: () => fill("straight_average"), textAnchor: center[0] > 0 ? "end" : "start", dx: center[0] > 0 ? -10 : 10, dy: 1 * size, ...word }),
      ],
    });
    return { plot, outside: drives.length - shown.length };
  }

  // --- The words ---------------------------------------------------------------------------------------------------------

  // "6 yd right of the target line", or short: "6 yd right".
  function sideText(context, yd, short = "") {
    const units = unitsOfPage(context);
    const shown = distanceWhole(Math.abs(yd), units);
    if (!shown) return say(context, `${short}on_line`);
    return say(context, `${short}${yd > 0 ? "right" : "left"}`, { yards: `${numberText(shown)} ${units.distance.text}` });
  }

  // "2 to 10 yd right", "3 to 7 yd left" or "2 yd left to 6 yd right".
  function sidesText(context, { lo, hi }) {
    if (!known(lo) || !known(hi)) return "";
    const units = unitsOfPage(context);
    const ends = [lo, hi].map((yd) => Math.sign(yd) * distanceWhole(Math.abs(yd), units));
    const isOneSided = Math.min(...ends) >= 0 || Math.max(...ends) <= 0;
    // On one side the nearer end comes first, and the unit and the side stand once.
    const [near, far] = ends[0] < 0 && isOneSided ? [hi, lo] : [lo, hi];
    return say(context, "mean_range", { lo: isOneSided ? distanceFigure(Math.abs(near), units) : sideText(context, near, "short_"), hi: sideText(context, far, "short_") });
  }

  function meanAndSpread(context, straight) {
    const units = unitsOfPage(context);
    const { lo, hi, value } = straight.spread_yd;
    const range = known(lo) && known(hi) ? GOLFER_BLOCKS.say(context, "likely_range", { lo: distanceFigure(lo, units), hi: distanceFigure(hi, units) }) : "";
    return [
      say(context, "mean", { side: sideText(context, straight.offline_yd.value), range: sidesText(context, straight.offline_yd) }),
      known(value) ? say(context, "spread", { yards: distanceText(value, units), range: range && ` ${range}` }) : say(context, "no_spread"),
    ];
  }

  // Two paragraphs: the figures, and what to know of them.
  const wordsOf = (context, straight) => [
    [GOLFER_REACHING.rangeText(context, "straight_share", straight.in_corridor), ...meanAndSpread(context, straight)],
    [...straight.notes, "shown"].map((name) => say(context, name)),
  ].map((sentences) => GOLFER_BLOCKS.paragraph(context, sentences.filter(Boolean).join(" ")));

  function labelOf(context, straight) {
    const units = unitsOfPage(context);
    const { ellipse } = straight;
    const [long, short] = [ellipse.long_yd, ellipse.short_yd].map((yd) => distanceText(2 * REACH * yd, units));
    const lean = Math.abs(ellipse.tilt_deg) < 5 || Math.abs(ellipse.tilt_deg) > 85 ? "" : say(context, ellipse.tilt_deg > 0 ? "label_right" : "label_left");
    const words = { corridor: distanceText(straight.corridor_yd, units), side: sideText(context, straight.offline_yd.value), carry: distanceText(ellipse.carry_yd, units), long, short };
    return (drives) => say(context, "label", { ...words, leaning: lean, drives: drives ? `${say(context, "label_drives", { n: String(drives) })} ` : "" });
  }

  function picture(context, straight, look) {
    if (!straight.ellipse) return [];
    const units = unitsOfPage(context);
    const [long, short] = [straight.ellipse.long_yd, straight.ellipse.short_yd].map((yd) => distanceText(2 * REACH * yd, units));
    const { plot, outside } = landing(straight, { ...GOLFER_BLOCKS.toolsOf(context, look), label: labelOf(context, straight) });
    const key = units.distance.text === "yd" ? "words" : "words_metric";
    return [GOLFER_BLOCKS.chartFigure(context, plot), GOLFER_BLOCKS.paragraph(context, say(context, key, { long, short }), { class: "note" }), GOLFER_BLOCKS.outsideText(context, outside)];
  }

  // Carry and straightness since the quarter before, each with its verdict.
  function changed(context, story) {
    const { changesOf, changesTable, quarterText } = GOLFER_BLOCKS;
    const found = changesOf(story, MEASURES);
    if (!found.some(([measure]) => measure.name !== "carry")) return [];
    const since = quarterText(found[0][1].since);
    const { together } = story.straight;
    return [
      context.el("h3", {}, together ? say(context, together) : say(context, "changes", { quarter: since })),
      changesTable(context, story, found, since),
    ];
  }

  // --- The block ---------------------------------------------------------------------------------------------------------

  const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

  function titleOf(context, found) {
    const share = capital(GOLFER_REACHING.shareText(context, found.in_corridor.value));
    return say(context, "title", { share, corridor: distanceText(found.corridor_yd, unitsOfPage(context)) });
  }

  // The picture beside its words; a line where the logs don't tell; null in a study that knows nothing of it.
  function straight(context, story, look) {
    const found = story.straight;
    if (!found) return null;
    const { block, paragraph } = GOLFER_BLOCKS;
    if (!found.known) return block(context, "straight", say(context, "none"), null, paragraph(context, say(context, `no_${found.why}`)));
    return block(context, "straight", titleOf(context, found), say(context, "topic"), context.el("div", { class: "two" },
      context.el("div", {}, ...picture(context, found, look)),
      context.el("div", { class: "words" }, ...wordsOf(context, found), ...changed(context, story))));
  }

  // The same for a column of the sheet, where the table of changes beside it has the spread's row; null where there is no
  // picture.
  function printed(context, story, look) {
    const found = story.straight;
    if (!found?.ellipse) return null;
    const { block, paragraph } = GOLFER_BLOCKS;
    const [plot] = picture(context, found, look);
    return block(context, "straight", titleOf(context, found), say(context, "topic"), plot,
      paragraph(context, meanAndSpread(context, found).join(" "), { class: "note" }),
      found.together ? paragraph(context, say(context, found.together), { class: "note together" }) : null);
  }

  return { straight, printed, SPREAD: MEASURES[1] };
})();
