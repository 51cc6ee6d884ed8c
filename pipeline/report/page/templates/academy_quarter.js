// The view #quarter: the first screen and the first printed page. Three sentences, whom to see first, the good news, who
// could not be assessed, how quarters move, and the sums that the counts make.

(() => {
  const CHART = { width: 250, height: 84 };
  const MOST_GOOD = 5; // on the first screen; the table has them all
  const TICK_PX = 14; // as small as chart text may be

  // --- Small parts ---------------------------------------------------------------------------------------------------------

  const golferLink = (code, { el, nameOf }) => el("a", { href: `#golfer/${code}`, class: "golfer" }, nameOf(code));

  function linked(count, filters, { el }) {
    const text = numberText(count);
    return count ? el("a", { href: `#golfers?${new URLSearchParams(filters)}`, class: "number" }, text) : el("span", { class: "number" }, text);
  }

  function sentences(context) {
    const { data, el, namedText, texts } = context;
    const heads = [texts.changed, texts.costs, texts.whom];
    return el("ol", { class: "sentences" }, data.quarter.sentences.map((text, at) => el("li", {}, el("h2", {}, heads[at]), el("p", {}, namedText(text)))));
  }

  // --- Whom to see first, and who got better ---------------------------------------------------------------------------------

  function firstOne(one, context) {
    const { el, fmt, namedText, sureMark } = context;
    const { value, lo, hi } = one.yards;
    return el("li", {},
      el("p", { class: "who" }, golferLink(one.golfer, context)),
      el("p", { class: "lost" }, el("strong", { class: "number" }, fmt.yardsUnit(value)), el("span", { class: "range number" }, fmt.yardsRange(lo, hi)), sureMark(one.sure)),
      el("p", { class: "why" }, namedText(one.why)),
      el("p", { class: "do" }, namedText(one.do)));
  }

  function first(context) {
    const { data, el, texts } = context;
    const list = data.quarter.first;
    return el("section", { class: "first" },
      el("h2", {}, el("span", { "aria-hidden": "true", class: "attention" }, "▲ "), fill(list.length ? "first" : "first_none", { count: list.length })),
      list.length ? el("p", { class: "soft note" }, texts.first_note) : "",
      el("ol", {}, list.map((one) => firstOne(one, context))));
  }

  function good(context) {
    const { data, el, namedText, texts } = context;
    const { good: better, goals_reached: reached } = data.quarter;
    return el("section", { class: "good-news" },
      el("h2", {}, el("span", { "aria-hidden": "true", class: "good" }, "✓ "), better.length || reached.length ? texts.good : texts.good_none),
      el("ul", {}, better.slice(0, MOST_GOOD).map((one) => el("li", {}, golferLink(one.golfer, context), ` ${namedText(one.what)}`))),
      better.length > MOST_GOOD ? el("p", {}, linked(better.length, { good: "better" }, context), ` ${texts.good_all}`) : "",
      reached.length ? el("p", {}, linked(reached.length, { goal: "reached" }, context), ` ${reached.length === 1 ? texts.reached_one : texts.reached}`) : "");
  }

  function unassessed(context) {
    const { data, el, texts } = context;
    const reasons = data.quarter.unassessed;
    return el("section", { class: "unassessed" },
      el("h2", {}, reasons.length ? texts.unassessed : texts.unassessed_none),
      el("ul", {}, reasons.map(({ reason, golfers }) => el("li", {}, linked(golfers.length, { reason }, context), ` ${golfers.length === 1 ? texts.golfer_one : texts.golfer_many}: ${reason}`))));
  }

  // --- How quarters move -------------------------------------------------------------------------------------------------------

  const MOVES = [
    { key: "flagged_share", write: (fmt) => fmt.percent },
    { key: "lost_yd", write: (fmt) => fmt.yardsUnit },
    { key: "speed_mph", write: (fmt) => fmt.speedUnitText },
  ];

  function chart(moves, { key, write }, { fmt }) {
    const text = write(fmt);
    const rows = moves.map((row) => ({ quarter: fmt.quarter(row.quarter), ...row[key] })).filter((row) => row.value !== null);
    const ends = rows.flatMap(({ value, lo, hi }) => [value, lo ?? value, hi ?? value]);
    const known = rows.filter((row) => row.lo !== null);
    const few = rows.length > 4 ? [rows[0].quarter, rows.at(-1).quarter] : rows.map((row) => row.quarter);
    const words = `${DATA.texts[`move_${key}`]}: ${rows.map((row) => `${row.quarter} ${text(row.value)}`).join(", ")}`;
    return asPicture(Plot.plot({
      ...CHART, marginTop: 20, marginBottom: 24, marginLeft: 34, marginRight: 34,
      style: { fontSize: `${TICK_PX}px` },
      x: { type: "point", domain: rows.map((row) => row.quarter), ticks: few, tickSize: 0, label: null, padding: rows.length === 1 ? 1 : 0.25 },
      y: { domain: [Math.min(...ends), Math.max(...ends)], axis: null },
      marks: [
        Plot.lineY(rows, { x: "quarter", y: "value", stroke: "var(--line)" }),
        Plot.ruleX(known, { x: "quarter", y1: "lo", y2: "hi", stroke: "var(--line)", strokeWidth: 6, strokeOpacity: 0.45 }),
        Plot.dot(rows, { x: "quarter", y: "value", r: 4.5, fill: "var(--ink)", stroke: "var(--paper)" }),
        Plot.text(rows.length > 4 ? [rows[0], rows.at(-1)] : rows, { x: "quarter", y: "value", text: (row) => text(row.value).split(" ")[0], dx: 8, textAnchor: "start", fontWeight: 650, stroke: "var(--paper)", strokeWidth: 4, fill: "var(--ink)" }),
      ],
    }), words);
  }

  function move(moves, one, context) {
    const { el, fmt, texts } = context;
    const now = moves.at(-1)?.[one.key];
    if (!now || now.value === null) return el("figure", {}, el("figcaption", {}, texts[`move_${one.key}`]), el("p", {}, texts.move_none));
    const text = one.write(fmt);
    const range = now.lo === null ? "" : `(${text(now.lo).split(" ")[0]} to ${text(now.hi)})`;
    return el("figure", {},
      el("figcaption", {}, el("strong", {}, `${text(now.value)} `), `${texts[`move_${one.key}`]} `, el("span", { class: "soft" }, range)),
      chart(moves, one, context));
  }

  function moving(context) {
    const { data, el, texts } = context;
    const { moves } = data.quarter;
    return el("section", { class: "moves" }, el("h2", {}, moves.length > 1 ? texts.moves : texts.moves_first), el("div", { class: "charts" }, MOVES.map((one) => move(moves, one, context))));
  }

  // --- Sums of states: every count opens the golfers behind it --------------------------------------------------------------------

  const NOW = ["still", "new", "no_longer", "clear", "first_seen", "not_assessed"];

  function sum(total, parts, context) {
    const { el, texts } = context;
    const [count, word, filters] = total;
    const terms = parts.flatMap(([number, text, chosen], at) => [el("span", { class: "sign" }, at ? "+" : "="), el("span", { class: "term" }, linked(number, chosen, context), ` ${text}`)]);
    return el("p", { class: "sum" }, el("span", { class: "term" }, linked(count, filters, context), ` ${texts[word] ?? word}`), terms);
  }

  function sums(context) {
    const { data, el, texts } = context;
    const { counts } = data.quarter;
    const quarter = data.study.newest;
    const state = (name) => texts[`state_${name}`].toLowerCase();
    const of = (name, count, more = {}) => [count, state(name), { movement: name, ...more }];
    const flagged = counts.flagged_now;
    return el("section", { class: "sums" },
      el("h2", {}, texts.sums),
      flagged ? sum([flagged.total, "sum_flagged", { status: "flagged" }], ["still", "new", "first_seen"].map((name) => of(name, flagged[name], { status: "flagged" })), context) : "",
      sum([counts.now, "sum_golfers", { quarter }], NOW.map((name) => of(name, counts[name])), context),
      counts.not_seen ? el("p", {}, linked(counts.not_seen, { movement: "not_seen" }, context), ` ${counts.not_seen === 1 ? texts.not_seen_one : texts.not_seen_many}`) : "");
  }

  function draw(root, context) {
    const { data, el, fmt, texts } = context;
    const { made_from: from, title, newest } = data.study;
    root.replaceChildren(
      el("header", { class: "head" }, el("h1", {}, `${title}, ${fmt.quarter(newest)}`),
        el("p", { class: "soft" }, fill("made_from", { drives: numberText(from.drives), golfers: numberText(from.golfers) }))),
      sentences(context),
      el("div", { class: "people" }, first(context), el("div", { class: "beside" }, good(context), unassessed(context))),
      el("div", { class: "lower" }, moving(context), sums(context)));
  }

  VIEWS.quarter = {
    title: (_, { data, fmt }) => fmt.quarter(data.study.newest),
    show(root, _, context) {
      draw(root, context);
      context.onNames(() => draw(root, context));
    },
  };
})();
