// The view #bands: how far drives carry at each club speed, the newest quarter's bands, and those before it. #bands/90 is
// one band: where its drives carry farthest, and its golfers.

(() => {
  const NARROW_PX = 560; // charts below this width have fewer ticks and smaller marks
  const golferLink = (code, { el, nameOf }) => el("a", { href: `#golfer/${code}` }, nameOf(code));
  const rowsOf = ({ data }, quarter) => data.bands.filter((row) => row.quarter === quarter);
  const bandName = (row, { fmt }) => fmt.speedUnitText(row.band_mph);

  function bandEnds(row, { data, fmt }) {
    const half = data.study.half_width_mph;
    return fill("bands_ends", { lo: fmt.speed(row.band_mph - half), hi: fmt.speedUnitText(row.band_mph + half) });
  }

  // Efficient carry with its range, such as `224 yd (223 to 225)`, without unit for a table.
  function efficientText({ efficient: { value, lo, hi } }, { fmt }) {
    if (value === null) return NOT_KNOWN;
    return lo === null ? fmt.yards(value) : `${fmt.yards(value)} (${fmt.yards(lo)} to ${fmt.yards(hi)})`;
  }

  // --- The finding -----------------------------------------------------------------------------------------------------

  // How much less than efficient the middle golfer carries, as the difference of what is shown.
  const shortOf = (row) => wholeOf(row.efficient.value / unitsOf().distance.each) - wholeOf(row.carry_p50 / unitsOf().distance.each);

  function finding(rows, { fmt }) {
    const short = rows.filter((row) => !row.suppressed && row.efficient.value !== null && row.carry_p50 !== null).map(shortOf);
    if (!short.length) return fill("bands_finding_none");
    const [lo, hi] = [Math.min(...short), Math.max(...short)];
    const key = short.length === 1 ? "bands_finding_one" : lo === hi ? "bands_finding_same" : "bands_finding";
    return fill(key, { lo, hi: `${hi} ${fmt.distanceUnit}` });
  }

  // --- The curve with golfers --------------------------------------------------------------------------------------------

  const MARKS = {
    flagged: { symbol: "diamond2", fill: "var(--attention-mark)", stroke: "var(--paper)", r: 5 },
    clear: { symbol: "circle", fill: "var(--line)", stroke: "var(--paper)", r: 4.5 },
    not_assessed: { symbol: "circle", fill: "var(--paper)", stroke: "var(--ink)", r: 4 },
  };

  function dotsOf(status, dots, { golfers, nameOf, fmt }) {
    const data = dots.filter(({ code }) => golfers().byCode.get(code)?.row.status === status);
    return Plot.dot(data, {
      x: "speed", y: "carry", ...MARKS[status], href: ({ code }) => `#golfer/${code}`,
      ariaLabel: ({ code, mph, yd }) => fill("bands_dot", { golfer: nameOf(code), speed: fmt.speedUnitText(mph), carry: fmt.yardsUnit(yd), status: fill(`bands_${status}`) }),
      title: ({ code, mph, yd }) => `${nameOf(code)}\n${fmt.speedUnitText(mph)}, ${fmt.yardsUnit(yd)}`,
    });
  }

  // The golfers in the chart are links, so it is a group and no single picture. Plot names each mark's group and path, where
  // a name isn't allowed; the link that a path stands in takes it.
  function asGroupOfLinks(made) {
    made.setAttribute("role", "group");
    made.querySelectorAll("a").forEach((link) => {
      const mark = link.querySelector("[aria-label]");
      link.setAttribute("aria-label", mark.getAttribute("aria-label"));
      mark.removeAttribute("aria-label");
    });
    made.querySelectorAll("g[aria-label]").forEach((group) => group.removeAttribute("aria-label"));
    return made;
  }

  function chart(rows, context, width) {
    const { data, fmt } = context;
    const { distance, speed } = unitsOf();
    const carry = (yd) => yd / distance.each;
    const fast = (mph) => mph / speed.each;
    const curve = data.curve.map((one) => ({ speed: fast(one.speed_mph), carry: carry(one.efficient_yd), lo: carry(one.lo), hi: carry(one.hi) }));
    const known = rows.filter((row) => !row.suppressed && row.carry_p50 !== null);
    const bands = known.map((row) => ({ at: fast(row.band_mph), low: row.carry_p25 === null ? null : carry(row.carry_p25), middle: carry(row.carry_p50), high: row.carry_p75 === null ? null : carry(row.carry_p75) }));
    const dots = data.dots.map(([mph, yd, code]) => ({ speed: fast(mph), carry: carry(yd), mph, yd, code }));
    const narrow = width < NARROW_PX;
    const named = curve[Math.floor(curve.length * 0.6)];
    const made = Plot.plot({
      width, height: Math.round(Math.min(width * (narrow ? 1 : 0.5), 520)), marginLeft: 44, marginBottom: 44, marginTop: 26, marginRight: 14,
      style: { fontSize: "14px" },
      ariaLabel: fill("bands_chart", { quarter: fmt.quarter(data.study.newest) }),
      x: { label: `${fill("bands_speed")}, ${fmt.speedUnit}`, ticks: narrow ? 5 : 8, nice: false, labelAnchor: "center", labelArrow: "none" },
      y: { label: `${fill("bands_carry")}, ${fmt.distanceUnit}`, ticks: narrow ? 5 : 8, grid: true, labelArrow: "none" },
      marks: [
        Plot.areaY(curve, { x: "speed", y1: "lo", y2: "hi", fill: "var(--good-mark)", fillOpacity: 0.3 }),
        Plot.line(curve, { x: "speed", y: "carry", stroke: "var(--good-mark)", strokeWidth: 2.5 }),
        Plot.ruleX(bands.filter(({ low, high }) => low !== null && high !== null), { x: "at", y1: "low", y2: "high", stroke: "var(--good-pale)", strokeWidth: narrow ? 10 : 18 }),
        Plot.ruleY(bands, { y: "middle", x1: ({ at }) => at - 1.6 / speed.each, x2: ({ at }) => at + 1.6 / speed.each, stroke: "var(--ink)", strokeWidth: 2.5 }),
        ["not_assessed", "clear", "flagged"].map((status) => dotsOf(status, dots, context)),
        named ? Plot.text([named], { x: "speed", y: "carry", text: () => fill("bands_efficient"), textAnchor: "end", dx: -10, dy: -8, fontWeight: 650, fontSize: 15, fill: "var(--ink)", stroke: "var(--paper)", strokeWidth: 4 }) : null,
      ],
    });
    return asGroupOfLinks(made);
  }

  // A sign beside each word, since the chart's marks are told apart by shape as well as by color.
  function key({ el }) {
    const item = (name) => el("li", {}, el("span", { class: `sign sign-${name}`, "aria-hidden": "true" }), fill(`bands_${name}`));
    return el("ul", { class: "key" }, ["flagged", "clear", "not_assessed", "half", "middle"].map(item));
  }

  function figure(rows, context) {
    const { el } = context;
    const room = el("div", { class: "chart" });
    const made = el("figure", {}, room, key(context));
    let drawn = 0;
    const draw = () => {
      const width = Math.floor(room.clientWidth);
      if (width && width !== drawn) { drawn = width; room.replaceChildren(chart(rows, context, width)); }
    };
    const watch = new ResizeObserver(draw);
    watch.observe(room);
    return { made, redraw: () => { drawn = 0; draw(); }, leave: () => watch.disconnect() };
  }

  // --- Tables of bands -----------------------------------------------------------------------------------------------------

  const COLUMNS = ["band", "golfers", "p50", "p75", "efficient", "launch", "spin"];

  function cells(row, context) {
    const { fmt, el } = context;
    if (row.suppressed) return [el("td", { colSpan: COLUMNS.length - 1, class: "words" }, fill("bands_suppressed", { min: context.data.study.min_golfers }))];
    const few = (yd) => (yd === null ? el("td", { class: "few" }, fill("bands_few")) : el("td", {}, fmt.yards(yd)));
    const window = row.window
      ? [row.window.launch, row.window.spin].map((text) => el("td", {}, text.replace(/ (deg|rpm)$/, "")))
      : [el("td", { colSpan: 2, class: "words" }, fill("bands_no_window"))];
    return [el("td", {}, numberText(row.golfers)), few(row.carry_p50), few(row.carry_p75), el("td", {}, efficientText(row, context)), ...window];
  }

  function table(rows, quarter, context) {
    const { el, fmt, data } = context;
    const units = { speed: fmt.speedUnit, distance: fmt.distanceUnit };
    const head = el("thead", {}, el("tr", {}, COLUMNS.map((name) => el("th", { scope: "col" }, fill(`bands_col_${name}`, units)))));
    const body = el("tbody", {}, rows.map((row) => {
      const name = fmt.speed(row.band_mph);
      const told = quarter === data.study.newest ? el("a", { href: `#bands/${row.band_mph}`, "aria-label": bandName(row, context) }, name) : name;
      return el("tr", {}, el("th", { scope: "row" }, told), cells(row, context));
    }));
    const label = fill("bands_table", { quarter: fmt.quarter(quarter) });
    return el("div", { class: "wide", tabIndex: 0, role: "region", "aria-label": label }, el("table", { class: "bands" }, head, body));
  }

  function earlier(context) {
    const { data, el, fmt } = context;
    const quarters = data.study.quarters.slice(0, -1).reverse().filter((quarter) => rowsOf(context, quarter).length);
    if (!quarters.length) return "";
    return el("details", {}, el("summary", {}, fill("bands_earlier")),
      quarters.flatMap((quarter) => [el("h3", {}, fmt.quarter(quarter)), table(rowsOf(context, quarter), quarter, context)]));
  }

  function showAll(root, context) {
    const { data, el, fmt } = context;
    const { newest, tolerance_yd: tolerance } = data.study;
    const rows = rowsOf(context, newest);
    const picture = figure(rows, context);
    root.replaceChildren(
      el("header", {}, el("h1", {}, finding(rows, context)), el("p", { class: "soft" }, fill("bands_topic", { quarter: fmt.quarter(newest) }))),
      picture.made,
      rows.length ? el("section", {}, el("h2", {}, fill("bands_table", { quarter: fmt.quarter(newest) })), table(rows, newest, context)) : "",
      earlier(context),
      el("details", {}, el("summary", {}, fill("bands_means")), ["bands_means_carry", "bands_means_efficient", "bands_means_window", "bands_means_range"].map((name) => el("p", {}, fill(name, { tolerance: fmt.yardsUnit(tolerance), min: data.study.min_golfers })))),
      // Where a machine serves the pages, workbooks aren't among them.
      location.protocol === "file:" ? el("p", { class: "screen" }, el("a", { href: "../benchmarks/bands.xlsx" }, fill("bands_workbook"))) : "");
    context.onNames(picture.redraw);
    return picture.leave;
  }

  // --- One band -----------------------------------------------------------------------------------------------------------

  function facts(row, best, { el, fmt, data }) {
    const { efficient, window } = row;
    const told = [
      ["bands_fact_efficient", efficient.value === null ? null : `${fmt.yardsUnit(efficient.value)}${efficient.lo === null ? "" : `, ${fill("bands_likely", { range: fmt.yardsRange(efficient.lo, efficient.hi) })}`}`],
      ["bands_fact_best", best && `${fmt.angle(best.launch_deg)}, ${fmt.spin(best.spin_rpm)}`],
      ["bands_fact_window", window ? `${window.launch}, ${window.spin}` : fill("bands_no_window")],
      ["bands_fact_half", row.carry_p25 === null || row.carry_p75 === null ? null : fmt.yardsRange(row.carry_p25, row.carry_p75)],
      ["bands_fact_ratio", row.speed_ratio_p50 === null ? null : fmt.ratio(row.speed_ratio_p50)],
      ["bands_fact_inside", row.in_window_share === null ? null : fmt.percent(row.in_window_share)],
      ["bands_fact_drives", `${numberText(row.shots)}, ${fmt.quarter(data.study.newest)}`],
    ];
    const named = told.map(([name, text]) => [fill(name), text]).concat(BAND_STRAIGHT.facts(row, { data, fmt }));
    return el("dl", { class: "facts" }, named.filter(([, text]) => text).map(([name, text]) => el("div", {}, el("dt", {}, name), el("dd", {}, text))));
  }

  function picture(row, found, context) {
    const { el, fmt } = context;
    const { best } = found;
    const words = best ? fill("bands_picture", { speed: bandName(row, context), launch: fmt.angle(best.launch_deg), spin: fmt.spin(best.spin_rpm) }) : fill("bands_picture_none", { speed: bandName(row, context) });
    const address = (theme) => `data:image/png;base64,${found[theme]}`;
    return el("figure", { class: "map" },
      el("picture", {},
        el("source", { media: "screen and (prefers-color-scheme: dark)", srcset: address("dark") }),
        el("img", { src: address("light"), alt: words, width: 735, height: 765 })),
      best ? el("figcaption", {}, fill("bands_picture_how")) : "");
  }

  const GOLFER_COLUMNS = ["golfer", "status", "carry", "lost", "cause"];

  function golfersOf(row, context) {
    const { data, el, fmt, golfers } = context;
    const here = golfers().list.filter((one) => one.band_mph === row.band_mph && one.quarter === data.study.newest)
      .sort((a, b) => (b.lost_yd ?? -Infinity) - (a.lost_yd ?? -Infinity));
    const units = { distance: fmt.distanceUnit };
    const lines = here.map((one) => el("tr", { class: one.status },
      el("th", { scope: "row" }, golferLink(one.golfer, context)),
      el("td", { class: "words" }, el("span", { class: `sign sign-${one.status}`, "aria-hidden": "true" }), fill(`bands_${one.status}`)),
      el("td", {}, fmt.yards(one.carry_yd)),
      el("td", {}, fmt.yards(one.lost_yd)),
      el("td", { class: "words" }, one.status === "flagged" ? fill(`bands_cause_${one.cause}`) : "")));
    // Who hit too few drives belongs to the band, but its figures don't rest on them.
    const title = fill(row.suppressed || row.golfers === here.length ? "bands_golfers" : "bands_golfers_some", { n: numberText(here.length), behind: numberText(row.golfers ?? 0) });
    return el("section", {}, el("h2", {}, title),
      el("div", { class: "wide", tabIndex: 0, role: "region", "aria-label": title }, el("table", { class: "bands" },
        el("thead", {}, el("tr", {}, GOLFER_COLUMNS.map((name) => el("th", { scope: "col", class: ["status", "cause"].includes(name) ? "words" : "" }, fill(`bands_gcol_${name}`, units))))), el("tbody", {}, lines))));
  }

  function oneFinding(row, context) {
    const { fmt } = context;
    const words = { speed: bandName(row, context), golfers: row.golfers, min: context.data.study.min_golfers };
    if (row.suppressed) return fill("bands_one_suppressed", words);
    if (row.carry_p50 === null) return fill("bands_one_few", words);
    words.middle = fmt.yardsUnit(row.carry_p50);
    if (row.efficient.value === null) return fill("bands_one_no_efficient", words);
    return fill("bands_one", { ...words, efficient: fmt.yardsUnit(row.efficient.value) });
  }

  function neighbors(row, context) {
    const { data, el } = context;
    const rows = rowsOf(context, data.study.newest);
    const links = rows.map((one) => el("a", { href: `#bands/${one.band_mph}`, ...(one === row ? { "aria-current": "page" } : {}) }, bandName(one, context)));
    return el("nav", { class: "neighbors screen", "aria-label": fill("bands_neighbors") }, el("a", { href: "#bands" }, fill("bands_all")), links);
  }

  function showOne(root, row, context) {
    const { data, el } = context;
    const found = data.pictures[String(row.band_mph)];
    const draw = () => root.replaceChildren(
      neighbors(row, context),
      el("header", {}, el("h1", {}, oneFinding(row, context)), el("p", { class: "soft" }, bandEnds(row, context))),
      el("div", { class: "pair-of" }, found ? picture(row, found, context) : "", el("div", {}, row.suppressed ? "" : facts(row, found?.best, context), LANDING.ofBand(context, row), golfersOf(row, context))));
    draw();
    context.onNames(draw);
  }

  const rowOf = (argument, context) => rowsOf(context, context.data.study.newest).find((row) => String(row.band_mph) === argument);

  VIEWS.bands = {
    title(argument, context) {
      const row = rowOf(argument, context);
      return row ? bandName(row, context) : context.texts.bands;
    },
    show(root, argument, context) {
      const row = rowOf(argument, context);
      return row ? showOne(root, row, context) : showAll(root, context);
    },
  };
})();
