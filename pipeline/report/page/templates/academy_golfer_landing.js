// How drives land and run on each turf, of a golfer or a band, and up and straight at once, of a golfer: see
// landing_part.py and direction_part.py.

const LANDING = (() => {
  const WORTH_YD = 2; // from this much more total on, another delivery is worth a word
  const { known } = GOLFER_FIGURES;
  const unitsOfPage = (context) => context.data.settings.units;

  function rangeText(context, { value, lo, hi }) {
    const yards = (yd) => distanceFigure(yd, unitsOfPage(context));
    if (!known(value)) return NOT_KNOWN;
    return known(lo) && known(hi) ? context.fill("landing_range", { value: yards(value), lo: yards(lo), hi: yards(hi) }) : yards(value);
  }

  // "Drives run 6 yd on soft turf and 21 yd on firm".
  function title(context, { turfs }) {
    const [first, last] = [turfs[0], turfs.at(-1)];
    const run = (one) => distanceText(one.run.value, unitsOfPage(context));
    if (first === last) return context.fill("landing_title_one", { run: run(first), turf: context.fill(`landing_${first.turf}`) });
    return context.fill("landing_title", { soft: run(first), firm: run(last) });
  }

  const topic = (context, { descent_deg: descent }) => (
    known(descent) ? context.fill("landing_topic_descent", { descent: angleFigure(descent) }) : context.fill("landing_topic"));

  // The one sentence: on which turf another delivery than the best for carry gives most, and what it costs.
  function sentence(context, { turfs }) {
    const units = unitsOfPage(context);
    const told = turfs.filter((one) => one.best && known(one.gain_yd) && known(one.cost_yd));
    if (!told.length) return null;
    const most = d3.greatest(told, (one) => one.gain_yd);
    if (most.gain_yd < WORTH_YD) return context.fill("landing_best_same");
    const words = {
      turf: context.fill(`landing_${most.turf}`), launch: angleFigure(most.best.launch_deg), spin: spinFigure(most.best.spin_rpm),
      gain: distanceText(most.gain_yd, units), cost: distanceText(most.cost_yd, units),
    };
    return context.fill(distanceWhole(most.cost_yd, units) > 0 ? "landing_best" : "landing_best_free", words);
  }

  // One row for each turf. Paper has room for the run and the total alone.
  function table(context, { turfs }, { brief = false, name = "landing" } = {}) {
    const { el } = context;
    const units = unitsOfPage(context);
    const columns = ["turf", "run", "total", ...(brief ? [] : ["launch", "spin", "gain", "cost"])];
    const yards = (yd) => (known(yd) ? distanceFigure(yd, units) : NOT_KNOWN);
    const cell = {
      turf: (one) => el("th", { scope: "row", class: "text" }, context.fill(`landing_${one.turf}`)),
      run: (one) => el("td", {}, rangeText(context, one.run)),
      total: (one) => el("td", {}, rangeText(context, one.total)),
      launch: (one) => el("td", {}, one.best ? angleFigure(one.best.launch_deg) : NOT_KNOWN),
      spin: (one) => el("td", {}, one.best ? spinFigure(one.best.spin_rpm) : NOT_KNOWN),
      gain: (one) => el("td", {}, yards(one.gain_yd)),
      cost: (one) => el("td", {}, yards(one.cost_yd)),
    };
    const heads = columns.map((column) => el("th", { scope: "col", class: column === "turf" ? "text" : null }, context.fill(`landing_col_${column}`, { distance: units.distance.text })));
    const rows = turfs.map((one) => el("tr", { dataset: { turf: one.turf } }, ...columns.map((column) => {
      const made = cell[column](one);
      made.dataset.landing = column;
      return made;
    })));
    return el("table", { class: name }, el("thead", {}, el("tr", {}, ...heads)), el("tbody", {}, ...rows));
  }

  const notesOf = (context, { notes }) => (notes.length ? context.el("p", { class: "note" }, notes.join(" ")) : null);

  // A golfer's block; null where nothing is known.
  function block(context, story, { brief = false } = {}) {
    const { landing } = story;
    if (!landing) return null;
    const made = table(context, landing, { brief });
    const words = sentence(context, landing);
    return GOLFER_BLOCKS.block(context, "landing", title(context, landing), topic(context, landing),
      brief ? made : context.el("div", { class: "wide", tabIndex: 0, role: "region", "aria-label": title(context, landing) }, made),
      words ? context.el("p", {}, words) : null, brief ? null : notesOf(context, landing));
  }

  // The same of an efficient drive of a band; nothing where there is none.
  function ofBand(context, row) {
    const landing = row.suppressed ? null : context.data.landings?.[String(row.band_mph)];
    if (!landing) return "";
    const { el } = context;
    const heading = title(context, landing);
    const words = sentence(context, landing);
    return el("section", { dataset: { block: "landing" } }, el("h2", {}, heading), el("p", { class: "soft" }, topic(context, landing)),
      el("div", { class: "wide", tabIndex: 0, role: "region", "aria-label": heading }, table(context, landing, { name: "bands landing" })),
      words ? el("p", {}, words) : "", notesOf(context, landing) ?? "");
  }

  // What more attack does to the path, and where face and path start the ball; null where nothing is known.
  function direction(context, story, { brief = false } = {}) {
    const told = story.direction;
    if (!told) return null;
    const { el } = context;
    const words = [told.why, told.hand, told.start, told.try].filter(Boolean);
    return GOLFER_BLOCKS.block(context, "direction", told.what, context.fill("direction_topic"),
      ...(brief ? [words.join(" ")] : words).map((text) => el("p", {}, text)));
  }

  return { block, ofBand, direction };
})();
