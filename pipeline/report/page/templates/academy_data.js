// The view #data: what became of every row, what was wrong, devices, what drives lack, and the model card.

(() => {
  const COUNTS = ["rows", "accepted", "rejected", "duplicates"];

  function tableOf(name, columns, rows, { el }, words = []) {
    const head = el("thead", {}, el("tr", {}, columns.map((column) => el("th", { scope: "col", class: words.includes(column) ? "words" : "" }, fill(`data_col_${column}`)))));
    const cell = (row, column, at) => el(at ? "td" : "th", { ...(at ? {} : { scope: "row" }), class: words.includes(column) ? "words" : "" }, typeof row[column] === "number" ? numberText(row[column]) : row[column] ?? "");
    const body = el("tbody", {}, rows.map((row) => el("tr", {}, columns.map((column, at) => cell(row, column, at)))));
    return el("div", { class: "wide", tabIndex: 0, role: "region", "aria-label": fill(`data_${name}`) }, el("table", { class: "bands", id: `data-table-${name}` }, head, body));
  }

  const section = (name, { el }, ...children) => el("section", { "data-part": name }, el("h2", {}, fill(`data_${name}`)), ...children);
  const paragraphs = (texts, { el }) => texts.filter(Boolean).map((text) => el("p", {}, text));

  // --- Logs and rejected rows ----------------------------------------------------------------------------------------------

  function totalsOf(logs) {
    const sums = Object.fromEntries(COUNTS.map((name) => [name, logs.reduce((sum, log) => sum + log[name], 0)]));
    return { logs: logs.length, refused: logs.filter(({ status }) => status === "refused").length, ...sums };
  }

  function finding(totals) {
    const shown = Object.fromEntries(Object.entries(totals).map(([name, value]) => [name, numberText(value)]));
    if (!totals.rows) return fill("data_finding_none");
    return fill(totals.refused ? "data_finding_refused" : "data_finding", { ...shown, percent: FMT.percent(totals.accepted / totals.rows) });
  }

  // The one sum that everything must fit: every row is a drive, was rejected, or was there already.
  function sumOf(totals, { el }) {
    const [rows, ...parts] = COUNTS;
    const term = (name) => el("span", {}, el("strong", {}, numberText(totals[name])), ` ${fill(`data_sum_${name}`)}`);
    return el("p", { class: "sum-of-rows" }, term(rows), parts.map((name, at) => [` ${at ? "+" : "="} `, term(name)]).flat());
  }

  function logs(quality, totals, context) {
    const { el } = context;
    const rows = quality.logs.map((log) => ({ ...log, source: el("span", {}, log.source, log.reason ? el("small", { class: "remark" }, log.status === "refused" ? fill("data_refused", { reason: log.reason }) : log.reason) : "") }));
    return section("logs", context, sumOf(totals, context), tableOf("logs", ["source", "device", ...COUNTS], rows, context, ["source", "device"]));
  }

  function rejects(quality, context) {
    if (!quality.rejects.length) return section("rejects", context, ...paragraphs([fill("data_no_rejects")], context));
    // One line for a reason: the values that it befell stand in it, the commonest first.
    const reasons = new Map();
    quality.rejects.forEach((one) => reasons.set(one.what, [...(reasons.get(one.what) ?? []), one]));
    const rows = [...reasons].map(([what, ones]) => ({
      what, values: ones.map(({ value, rows: n }) => `${value} ${numberText(n)}`).join(", "), rows: ones.reduce((sum, one) => sum + one.rows, 0),
    })).sort((a, b) => b.rows - a.rows);
    return section("rejects", context, tableOf("rejects", ["what", "values", "rows"], rows, context, ["what", "values"]));
  }

  // --- Devices -------------------------------------------------------------------------------------------------------------

  function device(one, { el }) {
    const words = { device: one.device, reference: one.reference, golfers: numberText(one.golfers), differences: one.differences.join(", ") };
    const told = fill(`data_device_${one.found}`, words);
    return el("li", {}, el("strong", {}, told), el("details", {}, el("summary", {}, fill("data_device_more")), el("p", {}, `${one.note}.`)));
  }

  function devices(quality, context) {
    const { el } = context;
    if (!quality.compared.length) return section("devices", context, ...paragraphs([fill("data_one_device")], context));
    return section("devices", context, el("ul", { class: "plain-list" }, quality.compared.map((one) => device(one, context))));
  }

  // --- What drives lack, and what is left out ----------------------------------------------------------------------------

  const UNKNOWN = ["air", "spin", "ball"];

  function unknown(quality, context) {
    const { drives } = quality.unknown;
    const told = (name) => {
      const n = quality.unknown[`no_${name}`];
      return n ? fill(`data_no_${name}`, { n: numberText(n), all: numberText(drives) }) : fill(`data_all_${name}`);
    };
    return section("unknown", context, context.el("ul", { class: "plain-list" }, UNKNOWN.map((name) => context.el("li", {}, told(name)))));
  }

  function suppressed(context) {
    const { data, fmt } = context;
    const hidden = data.bands.filter((row) => row.suppressed).map((row) => `${fmt.quarter(row.quarter)} ${fmt.speedUnitText(row.band_mph)}`);
    const words = { min: data.study.min_golfers, bands: hidden.join(", ") };
    return section("privacy", context, ...paragraphs([fill(hidden.length ? "data_suppressed" : "data_none_suppressed", words), fill("data_pseudonyms")], context));
  }

  // --- The model card --------------------------------------------------------------------------------------------------------

  // Elements of the card, of these tags alone and without attributes: nothing that the card says can be anything else.
  const CARD_TAGS = new Set(["h1", "h2", "h3", "h4", "p", "ul", "ol", "li", "table", "thead", "tbody", "tr", "th", "td", "strong", "em", "code", "pre", "blockquote", "hr"]);
  const LOWER = { h1: "h3", h2: "h4", h3: "h5", h4: "h6" };
  const NUMBER = /^[-+\u2212]?[\d.,]+%?$/;

  function cardElement(node, { el }) {
    if (typeof node === "string") return node;
    const [tag, ...children] = node;
    const inside = children.map((child) => cardElement(child, { el }));
    if (!CARD_TAGS.has(tag)) return el("span", {}, inside);
    const made = el(LOWER[tag] ?? tag, {}, inside);
    if (tag === "td" && !NUMBER.test(made.textContent)) made.className = "words";
    if (tag !== "table") return made;
    made.className = "bands";
    return el("div", { class: "wide", tabIndex: 0, role: "region", "aria-label": made.querySelector("th")?.textContent ?? "" }, made);
  }

  function card(context) {
    const { data, el } = context;
    return el("details", { class: "card" }, el("summary", {}, fill("data_card")), data.card.map((node) => cardElement(node, context)));
  }

  // A page that a machine serves has the folder of pages alone; files beside it are there when it is opened as a file.
  const isHere = (href) => location.protocol === "file:" || !href.startsWith("../");

  function links({ el }) {
    const files = { diagnostics: "../model/diagnostics.html", golfers: "../golfers/golfers.xlsx", bands: "../benchmarks/bands.xlsx", lookup: "lookup.html", logs: "../sources.csv", rejects: "../rejects.csv" };
    return el("section", { class: "screen" }, el("h2", {}, fill("data_links")), el("ul", { class: "plain-list links" }, Object.entries(files).filter(([, href]) => isHere(href)).map(([name, href]) => el("li", {}, el("a", { href }, fill(`data_link_${name}`))))));
  }

  VIEWS.data = {
    title: (_, { texts }) => texts.data,
    show(root, _, context) {
      const { data, el } = context;
      const totals = totalsOf(data.quality.logs);
      root.append(
        el("header", {}, el("h1", {}, finding(totals)), el("p", { class: "soft" }, fill("data_topic"))),
        logs(data.quality, totals, context),
        rejects(data.quality, context),
        devices(data.quality, context),
        unknown(data.quality, context),
        suppressed(context),
        card(context),
        links(context));
    },
  };
})();
