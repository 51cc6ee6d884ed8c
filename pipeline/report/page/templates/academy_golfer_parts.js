// What the view of a golfer and the printed sheet are put together from: a block for each question. A block gives an
// element, or null where there is nothing to say. `look` has the width in CSS pixels that a chart may take, and `size`,
// the letters' in it.

const GOLFER_BLOCKS = (() => {
  const { MEASURES, known, unitOf, figure, change, losses, shownFigure, quarterText } = GOLFER_FIGURES;

  // Each mark stands beside its word, so that color alone says nothing.
  const VERDICT_MARKS = { better: "▲", worse: "▼", changed: "◆", no_clear_change: "–" };

  const MOVED = new Set(["new", "still", "no_longer", "clear"]);

  const unitsOfPage = (context) => context.data.settings.units;
  const say = (context, key, words) => context.fill(`golfer_${key}`, words);
  const toolsOf = (context, look) => ({ ...look, units: unitsOfPage(context), fill: (key, words) => say(context, key, words) });
  const newest = (story) => story.quarters.at(-1);
  const isAssessed = (quarter) => quarter.status !== "not_assessed" && known(quarter.lost_yd);
  const paragraph = (context, text, given = {}) => (text ? context.el("p", given, text) : null);

  function block(context, name, title, topic, ...content) {
    const id = `golfer-${name}`;
    const heading = context.el("h2", {}, title);
    return context.el("section", { class: `block block-${name}`, dataset: { block: name } }, heading,
      topic ? context.el("p", { class: "topic" }, topic) : null, ...content);
  }

  function chartFigure(context, plot, ...words) {
    return context.el("figure", { class: "golfer-chart" }, plot, ...words);
  }

  // --- What to do --------------------------------------------------------------------------------------------------------

  function sureText(context, story, row) {
    const now = newest(story);
    if (!isAssessed(now) || now.quarter !== context.data.study.newest || !SURE_DOTS[row.sure]) return null;
    const threshold = `${numberText(context.data.study.lost_yd / unitsOfPage(context).distance.each)} ${unitsOfPage(context).distance.text}`;
    const side = now.lost_yd >= context.data.study.lost_yd ? "more" : "less";
    const key = { sure: "sure", likely: "likely", "can't tell": "cant_tell" }[row.sure];
    return context.el("p", { class: "how-sure", dataset: { sure: row.sure } },
      context.el("span", { class: "dots", "aria-hidden": "true" }, SURE_DOTS[row.sure]), ` ${say(context, `${key}_${side}`, { threshold })}`);
  }

  // The first piece of advice: what, how sure, why, what to try; good news before it.
  function toDo(context, story, row) {
    const [first] = story.advice;
    const now = newest(story);
    const good = now.movement === "no_longer" ? context.el("p", { class: "golfer-good" }, `✓ ${say(context, "resolved", { quarter: quarterText(story.quarters.at(-2)?.quarter) })}`) : null;
    return context.el("section", { class: "block block-do", dataset: { block: "do" } },
      good,
      context.el("p", { class: "topic" }, say(context, "do_topic")),
      context.el("h2", {}, first ? first.what : say(context, "no_advice")),
      sureText(context, story, row),
      first ? paragraph(context, first.why, { class: "why" }) : null,
      first?.try ? context.el("p", { class: "try" }, context.el("b", {}, say(context, "try")), ` ${first.try}`) : null);
  }

  // "Still flagged": the newest quarter's status and how it moved; a golfer not seen now says since when.
  function statusText(context, story) {
    const now = newest(story);
    const { newest: quarter } = context.data.study;
    if (now.quarter !== quarter) return say(context, "not_seen", { quarter: quarterText(now.quarter), newest: quarterText(quarter) });
    return say(context, MOVED.has(now.movement) ? `moved_${now.movement}` : `is_${now.status}`);
  }

  // The rest of the advice.
  function moreAdvice(context, story) {
    const rest = story.advice.slice(1);
    if (!rest.length && !story.first) return null;
    return block(context, "advice", story.first?.text ?? say(context, "advice_title"), rest.length ? say(context, "advice_topic") : null,
      rest.length ? context.el("div", { class: rest.length > 1 ? "two" : null }, ...rest.map((one) => (
        context.el("div", { class: "advice" }, context.el("h3", {}, one.what), paragraph(context, one.why), paragraph(context, one.try))))) : null);
  }

  // --- Where the yards go ------------------------------------------------------------------------------------------------

  function lossTitle(context, story) {
    const now = newest(story);
    const unit = unitsOfPage(context).distance.text;
    const shown = losses(now, unitsOfPage(context));
    if (!isAssessed(now) || !shown) return say(context, "not_assessed");
    if (shown.lost <= 0) return say(context, shown.lost < 0 ? "gained" : "none_lost", { yards: `${-shown.lost} ${unit}` });
    const most = d3.greatest(shown.parts, (part) => part.yards);
    if (!most || most.yards <= 0) return say(context, "lost_plain", { lost: `${shown.lost} ${unit}` });
    const words = { part: say(context, `part_${most.name}`), yards: numberText(most.yards), lost: `${shown.lost} ${unit}`, back: `${most.yards - shown.lost} ${unit}` };
    if (most.yards === shown.lost) return say(context, "lost_all", words);
    return say(context, most.yards < shown.lost ? "lost_part" : "lost_more", { ...words, yards: most.yards > shown.lost ? `${words.yards} ${unit}` : words.yards });
  }

  // Carry, what it could be and the yards between: they subtract as shown. Then the swing.
  function facts(context, story) {
    const now = newest(story);
    const units = unitsOfPage(context);
    const yards = units.distance.text;
    const range = known(now.lo) && known(now.hi) ? say(context, "likely_range", { lo: distanceFigure(now.lo, units), hi: distanceFigure(now.hi, units) }) : null;
    const shown = [
      ["efficient", now.efficient_yd, "distance", yards], ["carry", now.carry_yd, "distance", yards],
      ["lost", now.lost_yd, "lost", yards], ["club_speed", now.club_speed_mph, "speed", units.speed.text],
      ["speed_ratio", now.speed_ratio, "", ""], ["launch", now.launch_deg, "deg", "deg"], ["spin", now.spin_rpm, "rpm", "rpm"],
    ];
    return context.el("dl", { class: "golfer-facts" }, ...shown.map(([name, value, unit, text]) => context.el("div", { dataset: { fact: name } },
      context.el("dt", {}, say(context, `fact_${name}`)),
      known(value)
        ? context.el("dd", {}, context.el("data", { value: String(value) }, unit === "lost" ? shownFigure(now, MEASURES[0], units) : figure(value, { unit }, units)), text ? ` ${text}` : "",
          unit === "lost" && range ? context.el("small", {}, ` ${range}`) : null)
        : context.el("dd", { class: "unknown" }, say(context, `no_${name}`)))));
  }

  function yardsLost(context, story, look) {
    const now = newest(story);
    const content = isAssessed(now)
      ? [chartFigure(context, GOLFER_CHARTS.parts(story, toolsOf(context, look)))]
      : [paragraph(context, now.note)];
    const missing = isAssessed(now) && !known(now.parts?.contact) ? paragraph(context, say(context, "no_contact")) : null;
    return block(context, "lost", lossTitle(context, story), say(context, "lost_topic"), ...content, missing,
      isAssessed(now) && now.note ? paragraph(context, now.note, { class: "note" }) : null);
  }

  function carries(context, story, look) {
    const units = unitsOfPage(context);
    const values = d3.sort(story.drives.map((one) => one[2]).filter(known));
    if (values.length < 4) return null;
    const [low, high] = [0.25, 0.75].map((share) => d3.quantileSorted(values, share));
    const { plot, outside } = GOLFER_CHARTS.carries(story, toolsOf(context, look));
    return block(context, "carries", say(context, "carries_title", { lo: distanceFigure(low, units), hi: distanceText(high, units) }), say(context, "carries_topic", { drives: String(values.length) }),
      chartFigure(context, plot), outsideText(context, outside));
  }

  const outsideText = (context, outside) => (outside
    ? context.el("p", { class: "note" }, say(context, outside === 1 ? "one_outside" : "outside", { n: String(outside) })) : null);

  // --- Launch and spin ---------------------------------------------------------------------------------------------------

  const windowOf = (story) => {
    const edges = story.place?.window;
    if (!edges) return null;
    const launch = inwardTo(...edges.launch_deg, ANGLE_STEP_DEG);
    const spin = inwardTo(...edges.spin_rpm, SPIN_STEP_RPM);
    return launch && spin ? { launch, spin } : null;
  };

  // Where launch or spin lies against its range of the window, in steps that add up as shown; null inside.
  function offBy(context, name, value, [low, high], step, text) {
    if (value >= low && value <= high) return null;
    const side = value < low ? "low" : "high";
    const away = side === "low" ? low - roundedTo(value, step) : roundedTo(value, step) - high;
    return away === 0 ? say(context, `${name}_just_${side}`) : say(context, `${name}_${side}`, { away: text(away) });
  }

  function deliveryTitle(context, story) {
    const now = newest(story);
    const edges = windowOf(story);
    if (!edges) return say(context, "no_window");
    if (!known(now.spin_rpm) || !known(now.launch_deg)) return say(context, "no_spin_title");
    const off = [
      offBy(context, "launch", now.launch_deg, edges.launch, ANGLE_STEP_DEG, (deg) => `${angleFigure(deg)} deg`),
      offBy(context, "spin", now.spin_rpm, edges.spin, SPIN_STEP_RPM, (rpm) => `${spinFigure(rpm)} rpm`),
    ].filter(Boolean);
    if (!off.length) return say(context, "inside");
    return off.length === 1 ? off[0] : say(context, "both_off", { launch: off[0], spin: off[1].charAt(0).toLowerCase() + off[1].slice(1) });
  }

  function delivery(context, story, look) {
    if (!story.place) return null;
    const edges = windowOf(story);
    const measured = story.drives.filter((one) => known(one[0]) && known(one[1]));
    const words = [];
    if (edges) words.push(say(context, "window_words", { launch: edges.launch.map(angleFigure).join(" to "), spin: edges.spin.map(spinFigure).join(" to ") }));
    if (story.place.best) words.push(say(context, "best_words", { launch: angleFigure(story.place.best.launch_deg), spin: spinFigure(story.place.best.spin_rpm) }));
    if (!story.drives.length && newest(story).quarter !== context.data.study.newest) {
      const quarter = quarterText(context.data.study.newest);
      return block(context, "delivery", say(context, "no_drives_title"), say(context, "delivery_topic"), paragraph(context, say(context, "no_drives_words", { quarter })), paragraph(context, words.join(" ")));
    }
    if (!measured.length) {
      return block(context, "delivery", say(context, "no_spin_title"), say(context, "delivery_topic"), paragraph(context, say(context, "no_spin_words")), paragraph(context, words.join(" ")));
    }
    const { plot, outside } = GOLFER_CHARTS.delivery(story, toolsOf(context, look));
    return block(context, "delivery", deliveryTitle(context, story), say(context, "delivery_topic"), chartFigure(context, plot),
      paragraph(context, words.join(" "), { class: "note" }), outsideText(context, outside));
  }

  // --- What changed ------------------------------------------------------------------------------------------------------

  const changesOf = (story, measures = MEASURES) => measures.map((measure) => [
    measure, story.changes.find((one) => one.measure === measure.name && one.quarter === newest(story).quarter),
  ]).filter(([, one]) => one);

  const hasChanges = (story) => changesOf(story).length > 0;

  function changeTitle(context, story, since, found) {
    if (!found.length) return say(context, story.quarters.length < 2 ? "first_quarter" : "no_comparison");
    const with_ = (verdict) => found.filter(([, one]) => one.verdict === verdict).map(([measure]) => say(context, `measure_${measure.name}`).toLowerCase());
    const told = ["better", "worse", "changed"].map((verdict) => [verdict, with_(verdict)]).filter(([, names]) => names.length)
      .map(([verdict, names]) => say(context, `changes_${verdict}`, { what: names.join(", ") }));
    return told.length ? told.join("; ") : say(context, "nothing_changed", { quarter: since });
  }

  function verdictText(context, verdict) {
    if (!verdict) return [say(context, "verdict_unknown")];
    return [context.el("span", { class: "mark", "aria-hidden": "true" }, VERDICT_MARKS[verdict]), ` ${say(context, `verdict_${verdict}`)}`];
  }

  // A change of carry or of yards lost is the difference of the two figures that stand on the page; where it was estimated
  // otherwise, as after a change of device, it is the estimate.
  function changeText(story, measure, one, units) {
    const before = story.quarters.find((row) => row.quarter === one.since);
    const [now, then] = [newest(story), before].map((row) => row && shownFigure(row, measure, units));
    if (measure.unit === "distance" && now && then) {
      const difference = [now, then].map((text) => Number(text.replaceAll(",", "").replace(MINUS, "-"))).reduce((a, b) => a - b);
      if (Math.abs(difference - one.change / units.distance.each) <= 1) return signedText(difference);
    }
    return change(one.change, measure, units);
  }

  // A table of changes since a quarter: what, by how much, the likely range, the verdict.
  function changesTable(context, story, found, since) {
    const units = unitsOfPage(context);
    const heads = ["what", "change", "range", "verdict"].map((name, place) => context.el("th", { scope: "col", class: place === 0 || place === 3 ? "text" : null }, say(context, `head_${name}`, { quarter: since })));
    const rows = found.map(([measure, one]) => {
      const unit = unitOf(measure, units);
      const ends = known(one.lo) && known(one.hi) ? say(context, "from_to", { lo: change(one.lo, measure, units), hi: change(one.hi, measure, units) }) : "";
      return context.el("tr", { dataset: { measure: measure.name, verdict: one.verdict ?? "" } },
        context.el("th", { scope: "row", class: "text" }, say(context, `measure_${measure.name}`)),
        context.el("td", {}, known(one.change) ? `${changeText(story, measure, one, units)} ${unit}`.trim() : say(context, "not_known")),
        context.el("td", {}, ends), context.el("td", { class: "text verdict" }, ...verdictText(context, one.verdict)));
    });
    return context.el("table", {}, context.el("thead", {}, context.el("tr", {}, ...heads)), context.el("tbody", {}, ...rows));
  }

  function changes(context, story, measures = MEASURES) {
    const found = changesOf(story, measures);
    const since = quarterText(found[0]?.[1].since);
    const title = changeTitle(context, story, since, found);
    if (!found.length) {
      return block(context, "changes", title, say(context, "changes_topic_first"), paragraph(context, say(context, story.quarters.length < 2 ? "first_quarter_words" : "no_comparison_words")));
    }
    return block(context, "changes", title, say(context, "changes_topic", { quarter: since }),
      changesTable(context, story, found, since));
  }

  // --- History -----------------------------------------------------------------------------------------------------------

  // "Club speed 101 mph", and below it the verdict on its change.
  function measureTitle(context, story, measure) {
    const units = unitsOfPage(context);
    const text = shownFigure(newest(story), measure, units);
    const name = say(context, `measure_${measure.name}`);
    if (text === null) return [say(context, "measure_unknown", { name })];
    const verdict = changesOf(story).find(([one]) => one === measure)?.[1].verdict;
    const title = say(context, "measure_title", { name, value: `${text} ${unitOf(measure, units)}`.trim() });
    return [title, verdict ? context.el("span", { class: "verdict", dataset: { verdict } }, ...verdictText(context, verdict)) : null];
  }

  function measureChart(context, story, measure, look) {
    return context.el("figure", { class: "golfer-chart", dataset: { measure: measure.name } },
      context.el("figcaption", {}, ...measureTitle(context, story, measure)),
      GOLFER_CHARTS.quarters(story, measure, toolsOf(context, look)));
  }

  // Every quarter, the newest first: the charts' figures as a table, or some of them.
  function quartersTable(context, story, { most = Infinity, measures = MEASURES } = {}) {
    const units = unitsOfPage(context);
    const rows = story.quarters.slice(-most).reverse();
    const heads = [["quarter", ""], ["drives", ""], ...measures.map((measure) => [`short_${measure.name}`, unitOf(measure, units)]), ["status", ""]];
    const isText = (name) => ["quarter", "status"].includes(name);
    const table = context.el("table", { class: "quarters" },
      context.el("thead", {}, context.el("tr", {}, ...heads.map(([name, unit]) => context.el("th", { scope: "col", class: isText(name) ? "text" : null }, say(context, `head_${name}`), unit ? context.el("small", {}, ` ${unit}`) : null)))),
      context.el("tbody", {}, ...rows.map((one) => context.el("tr", { dataset: { quarter: one.quarter } },
        context.el("th", { scope: "row", class: "text" }, quarterText(one.quarter)), context.el("td", {}, numberText(one.shots)),
        ...measures.map((measure) => context.el("td", { dataset: { measure: measure.name } }, shownFigure(one, measure, units) ?? say(context, "dash"))),
        context.el("td", { class: "text" }, say(context, `status_${one.status}`))))));
    const left = story.quarters.length - rows.length;
    return [table, left ? paragraph(context, say(context, left === 1 ? "one_earlier" : "earlier", { n: String(left) }), { class: "note" }) : null];
  }

  // --- Goal and practice -------------------------------------------------------------------------------------------------

  // Today's carry, what better drives and more speed add, and the goal: a sum as shown.
  function goal(context, story) {
    const { goal } = story;
    const units = unitsOfPage(context);
    const yards = (yd) => distanceText(yd, units);
    if (!goal) return block(context, "goal", say(context, "goal_none"), say(context, "goal_topic"), paragraph(context, say(context, "goal_none_words")));
    const reached = goal.reach === "reached";
    const title = reached ? say(context, "goal_reached", { goal: yards(goal.goal_yd) }) : say(context, "goal_title", { goal: yards(goal.goal_yd), gap: yards(goal.gap_yd) });
    const sum = reached ? [] : [["carry_yd", ""], ["strike_yd", "+"], ["speed_yd", "+"], ["goal_yd", "="]].filter(([name]) => known(goal[name]));
    const rows = sum.map(([name, sign]) => context.el("tr", { dataset: { goal: name } },
      context.el("th", { scope: "row", class: "text" }, say(context, `goal_${name}`)), context.el("td", {}, sign), context.el("td", {}, distanceFigure(goal[name], units)), context.el("td", { class: "text" }, units.distance.text)));
    const words = [goalPace(context, goal), goalSpeeds(context, goal)];
    return block(context, "goal", title, say(context, `goal_from_${goal.from.replaceAll(/[^a-z]+/g, "_")}`),
      rows.length ? context.el("table", { class: "sum" }, context.el("tbody", {}, ...rows)) : null, paragraph(context, words.filter(Boolean).join(" ")),
      GOLFER_REACHING.reaching(context, goal));
  }

  function goalPace(context, goal) {
    if (goal.reach === "reached") return "";
    if (goal.reach === "delivery") return say(context, "goal_by_strike");
    if (!known(goal.quarters)) return say(context, "goal_no_pace");
    const n = numberText(goal.quarters);
    const range = known(goal.quarters_lo)
      ? say(context, known(goal.quarters_hi) ? "goal_pace_range" : "goal_pace_open", { lo: numberText(goal.quarters_lo), hi: known(goal.quarters_hi) ? numberText(goal.quarters_hi) : "" }) : "";
    return `${say(context, n === "1" ? "goal_pace_one" : "goal_pace", { n })}${range}.`;
  }

  function goalSpeeds(context, goal) {
    if (goal.reach === "reached" || !known(goal.present_speed_mph)) return "";
    return say(context, "goal_present", { speed: speedText(goal.present_speed_mph, unitsOfPage(context)) });
  }

  const dayText = (day) => new Date(day).toLocaleDateString("en-US", { month: "short", day: "numeric", year: "numeric", timeZone: "UTC" });

  function practice(context, story) {
    const { practice } = story;
    if (!practice) return block(context, "practice", say(context, "practice_none"), say(context, "practice_topic"), paragraph(context, say(context, "practice_none_words")));
    const { units } = context.data.settings;
    const rise = practice.per_week_mph;
    const told = [
      say(context, "practice_done", {
        sessions: numberText(practice.sessions), swings: numberText(practice.swings), from: dayText(practice.first_on), to: dayText(practice.last_on), week: numberText(practice.per_week, 1),
      }),
      practice.misreads ? say(context, "practice_misreads", { n: numberText(practice.misreads) }) : "",
      known(practice.best_mph.value) ? say(context, known(practice.best_mph.lo) ? "practice_best_range" : "practice_best", {
        speed: speedText(practice.best_mph.value, units), lo: known(practice.best_mph.lo) ? speedFigure(practice.best_mph.lo, units) : "", hi: known(practice.best_mph.hi) ? speedFigure(practice.best_mph.hi, units) : "",
      }) : say(context, "practice_few"),
      practiceAhead(context, practice),
    ];
    const words = known(rise.value) ? { rise: `${signedText(rise.value / units.speed.each, 2)} ${units.speed.text}` } : {};
    return block(context, "practice", say(context, `practice_${practice.trend}`, words), say(context, "practice_topic"), paragraph(context, told.filter(Boolean).join(" ")));
  }

  function practiceAhead(context, practice) {
    if (practice.projection === "no_band_above") return say(context, "practice_no_band");
    if (!known(practice.next_band_mph)) return "";
    const words = { band: speedText(practice.next_band_mph, context.data.settings.units) };
    if (practice.projection === "dated") return say(context, "practice_dated", { ...words, day: dayText(practice.projected_on) });
    return say(context, practice.projection === "beyond_a_year" ? "practice_beyond" : "practice_cant_tell", words);
  }

  // --- Words -------------------------------------------------------------------------------------------------------------

  const WORDS = ["lost", "efficient", "contact", "launch_spin", "consistency", "curve", "other", "window", "range", "sure", "verdicts"];

  // Words of what the golfer's logs don't tell are left out.
  const isTold = (name, story) => name !== "curve" || known(newest(story).parts?.curve);

  function words(context, story) {
    const { study } = context.data;
    const units = unitsOfPage(context);
    const filled = {
      tolerance: `${numberText(study.tolerance_yd / units.distance.each)} ${units.distance.text}`,
      threshold: `${numberText(study.lost_yd / units.distance.each)} ${units.distance.text}`,
      luck: numberText(100 * study.false_discovery_rate),
      better: study.better,
    };
    const parts = (text) => text.split(": ");
    return block(context, "words", say(context, "words_title"), null, context.el("dl", { class: "golfer-words" }, ...WORDS.filter((name) => isTold(name, story)).map((name) => {
      const [term, ...rest] = parts(say(context, `word_${name}`, filled));
      return context.el("div", { dataset: { word: name } }, context.el("dt", {}, term), context.el("dd", {}, rest.join(": ")));
    })));
  }

  function cautions(context) {
    return block(context, "cautions", say(context, "cautions_title"), null,
      context.el("ul", {}, ...context.data.settings.cautions.map((text) => context.el("li", {}, text))), paragraph(context, say(context, "cautions_more"), { class: "note" }));
  }

  return { hasChanges, statusText, goal, practice, words, cautions, MEASURES, say, newest, isAssessed, block, toDo, moreAdvice, facts, yardsLost, carries, delivery, changes, changesOf, changesTable, outsideText, chartFigure, toolsOf, measureChart, quartersTable, paragraph, known, quarterText };
})();
