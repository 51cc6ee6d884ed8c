// The printed sheet of a golfer: two sides of A4. The front says where the yards go, what to do and whether it helped;
// the back has history, goal, practice and what the words mean. Sides are as wide as the paper less its margins, in CSS
// pixels, so that the charts' letters print at their own size: 12 px are 9 pt.

const GOLFER_SHEET = (() => {
  const SIDE_WIDTH = 710; // 188 mm
  const GAP = 22;
  const SIZE = 12.5; // 9.4 pt
  const column = (count) => Math.floor((SIDE_WIDTH - (count - 1) * GAP) / count);

  // Whether printed sheets carry names, once names are loaded. In memory alone, as the names are.
  const wanted = { names: true };

  function head(context, code, story, side) {
    const blocks = GOLFER_BLOCKS;
    const short = context.golfers().byCode.get(code).row.short;
    const name = wanted.names && context.hasNames() ? context.nameOf(code) : short;
    const now = blocks.newest(story);
    return context.el("header", { class: "sheet-head" }, context.el("h1", {}, name),
      context.el("p", {}, [context.data.study.title, blocks.quarterText(now.quarter), name === short ? null : short, now.quarter === context.data.study.newest ? blocks.statusText(context, story) : null, blocks.say(context, `side_${side}`)].filter(Boolean).join(" · ")));
  }

  // Of the picture of launch and spin and of the chart beside it, by whether more advice follows and what is above them.
  const HEIGHTS = { full: { landing: [195, 55], carries: [240, 80] }, roomy: { landing: [240, 70], carries: [390, 180] } };

  function front(context, code, story, row) {
    const blocks = GOLFER_BLOCKS;
    const half = { width: column(2), size: SIZE };
    // The picture is narrower than the table of changes beside it, which has four columns of words. Where more advice
    // follows, the pictures give it room.
    const [left, right] = [0.45, 0.55].map((share) => ({ width: Math.floor(share * (SIDE_WIDTH - GAP)), size: SIZE }));
    const isFull = story.advice.length > 1;
    // Where the logs say it, where the drives come down stands in place of their carries alone.
    const where = GOLFER_STRAIGHT.printed(context, story, { ...half, height: isFull ? 160 : 225 });
    const [picture, chart] = HEIGHTS[isFull ? "full" : "roomy"][where ? "landing" : "carries"];
    const side = context.el("div", { class: "side front" }, head(context, code, story, "front"),
      blocks.toDo(context, story, row), blocks.facts(context, story),
      context.el("div", { class: "two" }, blocks.yardsLost(context, story, half), where ?? blocks.carries(context, story, { ...half, height: 170 }) ?? empty(context)),
      context.el("div", { class: "uneven" }, blocks.delivery(context, story, { ...left, height: picture }) ?? empty(context), helped(context, story, { ...right, height: chart })),
      blocks.moreAdvice(context, story), story.drives.length ? null : notes(context));
    Object.entries(SPARED_IN_FRONT).forEach(([selector, number]) => side.querySelectorAll(selector).forEach((one) => GOLFER_FIT.spare(one, number)));
    return side;
  }

  // The page's measures, and beside carry the spread to the sides.
  const measuresOf = () => GOLFER_BLOCKS.MEASURES.flatMap((one) => (one.name === "carry" ? [one, GOLFER_STRAIGHT.SPREAD] : [one]));

  // Whether it helped: yards lost by quarter between the finding and the table of changes. Without a table there is room
  // for the goal, which else stands on the back.
  function helped(context, story, look) {
    const changes = GOLFER_BLOCKS.changes(context, story, measuresOf());
    const table = changes.querySelector("table");
    const chart = story.quarters.length > 1 && story.quarters.some((one) => GOLFER_BLOCKS.known(one.lost_yd))
      ? GOLFER_BLOCKS.measureChart(context, story, GOLFER_BLOCKS.MEASURES[0], look) : null;
    if (table) {
      table.before(chart);
      return changes;
    }
    return context.el("div", {}, changes, chart, GOLFER_BLOCKS.goal(context, story));
  }

  const empty = (context) => context.el("div");
  const QUARTERS_SHOWN = 5;
  const MOST_RULES = 16; // lines to write on; what the side has no room for is cut off

  // What a side without room for it spares: the largest first, see academy_golfer_fit.js.
  const SPARED = { direction: 1, landing: 2, practice: 3, charts: 10, no_practice: 11 };
  const SPARED_WORDS = { consistency: 4, contact: 5, window: 6, launch_spin: 7, curve: 8, other: 9 };
  const SPARED_IN_FRONT = { ".block-straight .together": 1, ".block-straight .note:not(.together)": 2, ".block-delivery .note": 3 };

  // Charts by quarter, or where they leave too little room, their figures as a table.
  function history(context, story) {
    const blocks = GOLFER_BLOCKS;
    const third = { width: column(3), size: SIZE, height: 68 };
    const table = (measures) => blocks.quartersTable(context, story, { most: QUARTERS_SHOWN, measures }).filter(Boolean);
    const charts = blocks.MEASURES.slice(1).map((measure) => blocks.measureChart(context, story, measure, third));
    return blocks.block(context, "history", blocks.say(context, "history_title"), null,
      GOLFER_FIT.spare(context.el("div", { class: "three" }, ...charts, context.el("div", {}, ...table([]))), SPARED.charts),
      context.el("div", { class: "instead" }, ...table(blocks.MEASURES)));
  }

  function back(context, code, story) {
    const blocks = GOLFER_BLOCKS;
    const { spare } = GOLFER_FIT;
    const plan = PLAN.block(context, story);
    const more = [spare(LANDING.direction(context, story, { brief: true }), SPARED.direction), spare(LANDING.block(context, story, { brief: true }), SPARED.landing)].filter(Boolean);
    const practice = blocks.practice(context, story);
    if (plan || (more.length && !story.practice)) spare(practice, plan ? SPARED.practice : SPARED.no_practice);
    const goal = blocks.hasChanges(story) ? blocks.goal(context, story) : null; // else it stands on the front
    const told = [goal, practice, plan, ...more].filter(Boolean);
    const words = blocks.words(context, story);
    words.querySelectorAll("[data-word]").forEach((one) => { if (SPARED_WORDS[one.dataset.word]) spare(one, SPARED_WORDS[one.dataset.word]); });
    return context.el("div", { class: "side back" }, head(context, code, story, "back"),
      history(context, story),
      told.length > 1 ? context.el("div", { class: "flow" }, ...told) : practice,
      // Beside a plan of speed practice stand the cautions.
      ...(plan ? [blocks.cautions(context), words] : [words, blocks.cautions(context)]), notes(context));
  }

  // Lines to write on, as many as the side has room for.
  function notes(context) {
    const { el } = context;
    return el("section", { class: "notes" }, el("h2", {}, GOLFER_BLOCKS.say(context, "notes_title")), ...Array.from({ length: MOST_RULES }, () => el("div", { class: "rule" })));
  }

  function sheet(context, code) {
    const story = context.story(code);
    const { row } = context.golfers().byCode.get(code);
    return context.el("article", { class: "sheet", dataset: { golfer: code } }, front(context, code, story, row), back(context, code, story));
  }

  const ID = "sheets";
  const PRINTING = "printing-sheets"; // the class under which paper shows the sheets and nothing else

  function takeOff() {
    document.getElementById(ID)?.remove();
    document.documentElement.classList.remove(PRINTING);
  }

  // Prints the sheets of many golfers, and takes them off the page once they are printed. What is being done is said
  // first: hundreds of sheets take some seconds.
  function printAll(codes, context) {
    takeOff();
    const said = context.el("p", { role: "status", class: "drawing" }, GOLFER_BLOCKS.say(context, "print_waiting", { n: numberText(codes.length) }));
    document.body.append(context.el("div", { id: ID }, said));
    requestAnimationFrame(() => setTimeout(() => {
      document.getElementById(ID).replaceChildren(...codes.filter((code) => context.story(code)).map((code) => sheet(context, code)));
      GOLFER_FIT.fit(document.getElementById(ID));
      document.documentElement.classList.add(PRINTING);
      addEventListener("afterprint", takeOff, { once: true });
      window.print();
    }));
  }

  return { sheet, printAll, wanted };
})();
