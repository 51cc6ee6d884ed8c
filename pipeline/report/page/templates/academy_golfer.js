// The view #golfer/CODE: one golfer's whole story, what to do first, then how sure, then why. It prints as the sheet.

(() => {
  // CSS pixels: from these widths on, small charts stand in three and in two columns, and other blocks in two.
  const WIDE = 900;
  const MIDDLE = 560;
  const GAP = 32;
  const SIZE = 16; // letters in charts
  const RESIZED_MS = 120; // after the last change of a window's width, charts are drawn again

  function head(context, code, story, row) {
    const { say, newest, quarterText, el = context.el } = { ...GOLFER_BLOCKS };
    const now = newest(story);
    const facts = [
      context.nameOf(code) === row.short ? null : row.short,
      say(context, now.shots === 1 ? "one_drive" : "drives", { n: numberText(now.shots), quarter: quarterText(now.quarter) }),
      now.days ? say(context, now.days === 1 ? "one_day" : "days", { n: numberText(now.days) }) : null,
      now.device, now.ball, row.group,
    ].filter(Boolean);
    const tellNames = context.el("label", { class: "screen want", hidden: !context.hasNames() },
      context.el("input", { type: "checkbox", checked: GOLFER_SHEET.wanted.names, onchange: (event) => { GOLFER_SHEET.wanted.names = event.target.checked; } }),
      ` ${say(context, "want_names")}`);
    return el("header", { class: "golfer-head" },
      el("div", {}, el("h1", {}, context.nameOf(code)), el("p", { class: "topic" }, facts.join(" · ")),
        el("p", { class: "golfer-status" }, GOLFER_BLOCKS.statusText(context, story))),
      el("div", { class: "actions screen" }, el("button", { type: "button", id: "print-sheet", onclick: () => window.print() }, say(context, "print")), tellNames,
        row.band_mph === null ? null : el("a", { href: `#bands/${row.band_mph}` }, say(context, "band_link", { band: speedText(row.band_mph, context.data.settings.units) })),
        el("a", { href: "#golfers" }, say(context, "all_golfers"))));
  }

  function columnsOf(root) {
    const width = root.clientWidth;
    const share = (columns) => Math.floor((width - (columns - 1) * GAP) / columns);
    const small = width >= WIDE ? 3 : width >= MIDDLE ? 2 : 1;
    return { half: { width: share(width >= WIDE ? 2 : 1), size: SIZE }, small: { width: share(small), size: SIZE, height: small === 1 ? 105 : 125 } };
  }

  // What stands on the first screen.
  function firstScreen(root, code, story, row, context) {
    const blocks = GOLFER_BLOCKS;
    const { half } = columnsOf(root);
    return [
      head(context, code, story, row), blocks.toDo(context, story, row), blocks.facts(context, story),
      context.el("div", { class: "two" }, blocks.yardsLost(context, story, half), blocks.carries(context, story, { ...half, height: 220 })),
    ];
  }

  // What is below it.
  function below(root, story, context) {
    const blocks = GOLFER_BLOCKS;
    const { half, small } = columnsOf(root);
    const { el } = context;
    const title = blocks.say(context, "history_title");
    const plan = PLAN.block(context, story);
    const pair = (...some) => context.el("div", { class: "two" }, ...some.filter(Boolean));
    return [
      el("div", { class: "two" }, blocks.delivery(context, story, { ...half, height: Math.min(420, Math.round(0.8 * half.width)) }), blocks.changes(context, story)),
      GOLFER_STRAIGHT.straight(context, story, { ...half, height: Math.min(420, Math.round(0.7 * half.width)) }) ?? "",
      pair(LANDING.direction(context, story), LANDING.block(context, story)),
      blocks.block(context, "history", title, null,
        el("div", { class: "three" }, ...blocks.MEASURES.map((measure) => blocks.measureChart(context, story, measure, small))),
        el("div", { class: "wide", tabIndex: 0, role: "region", "aria-label": title }, ...blocks.quartersTable(context, story).filter(Boolean))),
      el("div", { class: "two" }, blocks.goal(context, story), blocks.practice(context, story)),
      // Cautions stand beside a plan of speed practice, else with the words.
      plan ? pair(plan, blocks.cautions(context)) : "",
      blocks.moreAdvice(context, story) ?? "",
      el("details", {}, el("summary", {}, blocks.say(context, "words_title")), blocks.words(context, story), plan ? "" : blocks.cautions(context)),
    ];
  }

  // Draws the first screen at once, and in the next frame what is below it: opening stays quick, and nothing moves. Gives
  // a function that stops the second part.
  function draw(root, code, story, row, context) {
    root.dataset.golfer = code;
    root.replaceChildren(...firstScreen(root, code, story, row, context));
    let waiting = 0;
    const frame = requestAnimationFrame(() => { waiting = setTimeout(() => root.append(...below(root, story, context))); });
    return () => { cancelAnimationFrame(frame); clearTimeout(waiting); };
  }

  VIEWS.golfer = {
    needsStories: true,
    onPrint: true,
    title: (argument) => argument,
    show(root, argument, context) {
      const code = context.codeOf(argument);
      const story = code && context.story(code);
      if (!story) {
        root.append(context.el("h1", {}, GOLFER_BLOCKS.say(context, "unknown")), context.el("p", {}, context.el("a", { href: "#golfers" }, GOLFER_BLOCKS.say(context, "all_golfers"))));
        return null;
      }
      if (context.printing) {
        root.append(GOLFER_SHEET.sheet(context, code));
        GOLFER_FIT.fit(root);
        return null;
      }
      const { row } = context.golfers().byCode.get(code);
      let stop = draw(root, code, story, row, context);
      const again = () => { stop(); stop = draw(root, code, story, row, context); };
      context.onNames(again);
      let [width, waiting] = [root.clientWidth, 0];
      const resized = () => {
        clearTimeout(waiting);
        waiting = setTimeout(() => { if (root.clientWidth !== width) { width = root.clientWidth; again(); } }, RESIZED_MS);
      };
      addEventListener("resize", resized);
      return () => { stop(); clearTimeout(waiting); removeEventListener("resize", resized); };
    },
  };
})();
