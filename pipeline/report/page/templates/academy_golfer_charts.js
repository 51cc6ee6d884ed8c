// The charts of one golfer, drawn with Observable Plot. Each gives an SVG whose words stand in its label. Colors are the
// page's variables, so dark mode and print need no second drawing. `size` is that of the letters in CSS pixels.

const GOLFER_CHARTS = (() => {
  const { known, unitOf, scaled, losses, shownFigure, extent, spanOf, quarterText } = GOLFER_FIGURES;
  const HALO = { stroke: "var(--paper)", strokeWidth: 4, paintOrder: "stroke", strokeLinejoin: "round", fill: "var(--ink)", fontWeight: 650 };
  // Bars of two golfers can be compared up to this loss, yd; a golfer who loses more has a longer axis.
  const COMPARED_YD = 40;
  // Room that a figure and a quarter's name take, in sizes of the letters.
  const FIGURE_LETTERS = 3.6;
  const QUARTER_LETTERS = 5;
  const DOT_PX = 3.2;
  const inside = (value, [from, to]) => value >= from && value <= to;

  function drawn(size, options) {
    const plot = Plot.plot({ ...options, style: { fontSize: `${size}px`, background: "none", color: "var(--ink)", overflow: "visible", fontFamily: "inherit" } });
    plot.setAttribute("role", "img");
    // The picture's label says it all; labels of groups inside, which have no role, would only be in the way.
    plot.querySelectorAll("[aria-label]").forEach((mark) => {
      mark.dataset.mark = mark.getAttribute("aria-label");
      mark.removeAttribute("aria-label");
    });
    return plot;
  }

  // Where the yards go: a bar for each part in its color, its yards beside it, and the sum below.
  function parts(story, { width, size, fill, units }) {
    const { lost, parts: rows } = losses(story.quarters.at(-1), units);
    const bars = [
      ...rows.map((part) => ({ ...part, label: fill(`part_${part.name}`), color: `var(--part-${part.name})` })),
      { yards: lost, label: fill("parts_sum"), color: "var(--paper)" },
    ];
    const compared = COMPARED_YD / units.distance.each;
    const unit = units.distance.text;
    return drawn(size, {
      width, height: bars.length * 2 * size + 8,
      marginLeft: 7.6 * size, marginRight: 3.6 * size, marginTop: 4, marginBottom: 4,
      x: { axis: null, domain: [Math.min(0, ...bars.map((one) => one.yards)), Math.max(compared, ...bars.map((one) => one.yards))] },
      y: { domain: bars.map((one) => one.label), label: null, tickSize: 0, padding: 0.25 },
      ariaLabel: bars.map((one) => `${one.label} ${numberText(one.yards)} ${unit}`).join(", "),
      marks: [
        // Each bar is a mark of its own, so that its color is a constant and not a scale's.
        ...bars.map((one) => Plot.barX([one], { x: "yards", y: "label", stroke: "var(--ink)", strokeWidth: 0.75, fill: one.color })),
        Plot.ruleX([0], { stroke: "var(--ink)" }),
        Plot.text(bars, {
          x: (one) => Math.max(one.yards, 0), y: "label", text: (one) => `${numberText(one.yards)} ${unit}`, textAnchor: "start", dx: 5,
          fill: "var(--ink)", fontVariant: "tabular-nums", fontWeight: 650,
        }),
      ],
    });
  }

  // One measure by quarter: dots joined where quarters follow each other, each with its figure; ranges are bars.
  function quarters(story, measure, { width, height, size, fill, units }) {
    const unit = unitOf(measure, units);
    const points = story.quarters.map((one) => ({
      quarter: quarterText(one.quarter), value: scaled(one[measure.key], measure, units), text: shownFigure(one, measure, units),
      low: scaled(one[measure.low], measure, units), high: scaled(one[measure.high], measure, units),
    }));
    const seen = points.filter((one) => known(one.value));
    const ranged = seen.filter((one) => known(one.low) && known(one.high));
    // Where figures would run into each other, the first, the newest, the least and the largest have theirs.
    const each = width / points.length;
    const roomy = each >= FIGURE_LETTERS * size;
    const [least, most] = [d3.least(seen, (one) => one.value), d3.greatest(seen, (one) => one.value)];
    const labelled = roomy ? seen : seen.filter((one) => [seen[0], seen.at(-1), least, most].includes(one));
    const ticks = each >= QUARTER_LETTERS * size ? undefined : [points[0].quarter, points.at(-1).quarter];
    const domain = spanOf([...seen.map((one) => one.value), ...ranged.flatMap((one) => [one.low, one.high])], scaled(measure.span, measure, units));
    return drawn(size, {
      width, height, marginLeft: 4, marginRight: 4, marginTop: 1.8 * size, marginBottom: 2 * size,
      x: { type: "point", domain: points.map((one) => one.quarter), padding: 0.5, label: null, ticks, tickSize: 0 },
      y: { domain, axis: null },
      ariaLabel: points.map((one) => `${one.quarter} ${one.text === null ? fill("not_known") : `${one.text} ${unit}`.trim()}`).join(", "),
      marks: [
        Plot.ruleY([domain[0]], { stroke: "var(--faint)", dy: 0.5 * size }),
        measure.name === "lost" && inside(0, domain) ? Plot.ruleY([0], { stroke: "var(--line)", strokeDasharray: "3 3" }) : null,
        Plot.ruleX(ranged, { x: "quarter", y1: "low", y2: "high", stroke: "var(--line)", strokeWidth: 0.6 * size, strokeOpacity: 0.4 }),
        Plot.lineY(points, { x: "quarter", y: "value", stroke: "var(--ink)", strokeWidth: 1.5 }),
        Plot.dot(seen.slice(0, -1), { x: "quarter", y: "value", r: 4, stroke: "var(--ink)", strokeWidth: 1.5, fill: "var(--paper)" }),
        Plot.dot(seen.slice(-1), { x: "quarter", y: "value", r: 4.5, fill: "var(--ink)" }),
        Plot.text(labelled, { x: "quarter", y: "value", text: "text", dy: -1.05 * size, fontVariant: "tabular-nums", ...HALO }),
        Plot.text(points.filter((one) => !known(one.value)), { x: "quarter", y: () => d3.mean(domain), text: () => fill("not_known"), fill: "var(--soft)" }),
      ],
    });
  }

  // The window's name stands below it where the best point is in its upper half or above, else above it; it runs toward the
  // middle of the picture.
  const below = (frame, best) => !best || best.launch >= (frame.l1 + frame.l2) / 2;
  function windowName(frame, best, middle) {
    const left = frame.s1 + frame.s2 < 2 * middle;
    return { x: left ? "s1" : "s2", textAnchor: left ? "start" : "end", y: below(frame, best) ? "l1" : "l2" };
  }

  // Launch against spin: each drive, the window, the best point and the typical drive, zoomed to where drives are.
  function delivery(story, { width, height, size, fill }) {
    const { window: edges, best } = story.place;
    const now = story.quarters.at(-1);
    const drives = story.drives.map(([launch, spin]) => ({ launch, spin })).filter((one) => known(one.launch) && known(one.spin));
    const typical = known(now.spin_rpm) && known(now.launch_deg) ? [{ launch: now.launch_deg, spin: now.spin_rpm }] : [];
    const targets = best ? [{ launch: best.launch_deg, spin: best.spin_rpm }] : [];
    const frame = edges ? [{ l1: edges.launch_deg[0], l2: edges.launch_deg[1], s1: edges.spin_rpm[0], s2: edges.spin_rpm[1] }] : [];
    const marked = [...targets, ...typical];
    const launches = extent(drives.map((one) => one.launch), [...frame.flatMap((one) => [one.l1, one.l2]), ...marked.map((one) => one.launch)]);
    const spins = extent(drives.map((one) => one.spin), [...frame.flatMap((one) => [one.s1, one.s2]), ...marked.map((one) => one.spin)]);
    const shown = drives.filter((one) => inside(one.launch, launches) && inside(one.spin, spins));
    // A name stands right of its mark, or left of it where the frame ends.
    const middle = d3.mean(spins);
    const beside = (row) => (row.spin > middle ? { textAnchor: "end", dx: -10 } : { textAnchor: "start", dx: 10 });
    // Names of marks that are close stand above and below.
    const high = targets.length && typical.length && targets[0].launch >= typical[0].launch ? -1 : 1;
    const named = (rows, text, side) => rows.map((row) => Plot.text([row], { x: "spin", y: "launch", text: () => text, ...HALO, ...beside(row), dy: 0.55 * size * side }));
    const plot = drawn(size, {
      width, height, marginLeft: 4 * size, marginBottom: 3.3 * size, marginTop: 0.8 * size, marginRight: 1.2 * size,
      x: { domain: spins, label: fill("axis_spin"), labelAnchor: "center", labelArrow: "none", ticks: Math.max(2, Math.floor(width / 95)), tickFormat: ",d", tickSize: 3 },
      y: { domain: launches, label: fill("axis_launch"), labelAnchor: "center", labelArrow: "none", ticks: 5, tickSize: 3 },
      ariaLabel: fill("picture_label", { drives: String(shown.length) }),
      marks: [
        Plot.frame({ stroke: "var(--faint)" }),
        Plot.rect(frame, { x1: "s1", x2: "s2", y1: "l1", y2: "l2", fill: "var(--pale)", stroke: "var(--accent)", strokeWidth: 2 }),
        Plot.dot(shown, { x: "spin", y: "launch", r: 3, fill: "var(--line)", fillOpacity: 0.65 }),
        Plot.dot(targets, { x: "spin", y: "launch", r: 7, symbol: "plus", stroke: "var(--accent)", strokeWidth: 3.5 }),
        Plot.dot(typical, { x: "spin", y: "launch", r: 6, symbol: "diamond", fill: "var(--ink)", stroke: "var(--paper)", strokeWidth: 1.5 }),
        ...frame.map((one) => Plot.text([one], {
          ...windowName(one, targets[0], middle), text: () => fill("picture_window"), ...HALO, fill: "var(--accent)", dy: (below(one, targets[0]) ? 0.8 : -0.8) * size,
        })),
        ...named(targets, fill("picture_best"), high).concat(named(typical, fill("picture_typical"), -high)),
      ],
    });
    return { plot, drawn: shown.length, outside: drives.length - shown.length };
  }

  // Dots small enough that the highest stack of them keeps below the names.
  function dotSize(values, pxEach, roomPx) {
    const highest = d3.max(d3.rollup(values, (some) => some.length, (value) => Math.round(value * pxEach / (2 * DOT_PX))).values()) ?? 1;
    return Math.min(DOT_PX, roomPx / (2.3 * highest));
  }

  // The carry of each drive, stacked where they are alike, with the mean and the efficient carry.
  function carries(story, { width, height, size, fill, units }) {
    const now = story.quarters.at(-1);
    const drives = story.drives.map((one) => one[2]).filter(known).map((yd) => ({ carry: yd / units.distance.each }));
    const lines = [["mean", now.carry_yd, "5 3", "var(--ink)"], ["efficient", now.efficient_yd, null, "var(--accent)"]]
      .filter(([, yd]) => known(yd)).map(([name, yd, dash, color]) => ({ name, carry: yd / units.distance.each, dash, color, text: distanceFigure(yd, units) }));
    const domain = extent(drives.map((one) => one.carry), lines.map((one) => one.carry));
    const shown = drives.filter((one) => inside(one.carry, domain));
    const middle = d3.mean(domain);
    const [marginTop, marginBottom] = [3.2 * size, 3.3 * size];
    const r = dotSize(shown.map((one) => one.carry), width / (domain[1] - domain[0]), height - marginTop - marginBottom);
    const plot = drawn(size, {
      width, height, marginLeft: 8, marginRight: 8, marginTop, marginBottom,
      x: { domain, label: fill("axis_carry", { unit: units.distance.text }), labelAnchor: "center", labelArrow: "none", ticks: Math.max(3, Math.floor(width / 80)), tickSize: 3 },
      y: { axis: null },
      ariaLabel: [fill("carries_label", { drives: String(shown.length) }), ...lines.map((one) => fill(`carries_${one.name}`, { carry: one.text }))].join(", "),
      marks: [
        Plot.dot(shown, Plot.dodgeY("bottom", { x: "carry", r, fill: "var(--line)", fillOpacity: 0.8, padding: 0.5 })),
        ...lines.flatMap((one, row) => [
          Plot.ruleX([one], { x: "carry", stroke: one.color, strokeWidth: 2.5, strokeDasharray: one.dash }),
          // A row for each name, so that the two can't meet.
          Plot.text([one], {
            x: "carry", frameAnchor: "top", dy: (row ? -2.4 : -1) * size, ...HALO, fill: one.color, text: () => fill(`carries_${one.name}`, { carry: one.text }),
            ...(one.carry > middle ? { textAnchor: "end", dx: 3 } : { textAnchor: "start", dx: -3 }),
          }),
        ]),
      ],
    });
    return { plot, drawn: shown.length, outside: drives.length - shown.length };
  }

  return { parts, quarters, delivery, carries, drawn, HALO };
})();
