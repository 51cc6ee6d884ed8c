// What the next weeks of speed practice may bring, when the goal's club speed is due, and the cautions beside it: see
// plan_part.py.

const PLAN = (() => {
  const { known } = GOLFER_FIGURES;
  const unitsOfPage = (context) => context.data.settings.units;
  const dayText = (day) => new Date(day).toLocaleDateString("en-US", { month: "short", day: "numeric", year: "numeric", timeZone: "UTC" });

  // A speed's range in words, such as " (likely 95 to 101)"; nothing where it isn't known.
  function likely(context, key, { lo, hi }) {
    const { units } = context.data.settings;
    return known(lo) && known(hi) ? context.fill(key, { lo: speedFigure(lo, units), hi: speedFigure(hi, units) }) : "";
  }

  function title(context, { weeks }) {
    const units = unitsOfPage(context);
    const last = weeks.findLast((one) => known(one.speed_mph.value));
    if (!last) return context.fill("plan_none");
    const { value, lo, hi } = last.speed_mph;
    const words = { weeks: last.weeks, speed: speedText(value, units) };
    if (!known(lo) || !known(hi)) return context.fill("plan_title_plain", words);
    return context.fill("plan_title", { ...words, lo: speedFigure(lo, units), hi: speedFigure(hi, units) });
  }

  function table(context, { weeks }) {
    const { el } = context;
    const units = unitsOfPage(context);
    const told = weeks.filter((one) => known(one.speed_mph.value));
    if (!told.length) return null;
    const heads = ["weeks", "day", "speed", "sessions"].map((name) => el("th", { scope: "col", class: name === "weeks" ? "text" : null }, context.fill(`plan_col_${name}`, { speed: units.speed.text })));
    const rows = told.map((one) => el("tr", { dataset: { weeks: one.weeks } },
      el("th", { scope: "row", class: "text" }, String(one.weeks)), el("td", {}, dayText(one.on)),
      el("td", {}, `${speedFigure(one.speed_mph.value, units)}${likely(context, "plan_range", one.speed_mph)}`), el("td", {}, numberText(one.sessions))));
    return el("table", { class: "plan" }, el("thead", {}, el("tr", {}, ...heads)), el("tbody", {}, ...rows));
  }

  function due(context, goal) {
    if (!goal || goal.due === "no_goal" || !known(goal.speed_mph.value) || !known(goal.goal_yd)) return "";
    const units = unitsOfPage(context);
    const words = { goal: distanceText(goal.goal_yd, units), speed: speedText(goal.speed_mph.value, units) };
    if (goal.due !== "dated") return context.fill(`plan_${goal.due}`, words);
    const range = !known(goal.due_lo_on) ? "" : known(goal.due_hi_on)
      ? context.fill("plan_dated_range", { lo: dayText(goal.due_lo_on), hi: dayText(goal.due_hi_on) })
      : context.fill("plan_dated_open", { lo: dayText(goal.due_lo_on) });
    return context.fill("plan_dated", { ...words, day: dayText(goal.due_on), likely: range });
  }

  function light(context, goal) {
    if (!goal || goal.due === "reached" || !known(goal.light_mph.value)) return "";
    const range = likely(context, "plan_light_range", goal.light_mph) || context.fill("plan_light_usual");
    return context.fill("plan_light", { light: speedText(goal.light_mph.value, unitsOfPage(context)), likely: range });
  }

  const sets = (context, { sets: all, rising_sets: rising }) => (
    all ? context.fill(all === 1 ? "plan_one_set" : "plan_sets", { rising: numberText(rising), sets: numberText(all) }) : "");

  function rest(context, { rest_days: days }) {
    if (!known(days)) return "";
    const text = typedText(roundedTo(days, 0.5));
    return context.fill({ 0: "plan_rest_none", 1: "plan_rest_one" }[text] ?? "plan_rest", { days: text });
  }

  // On a narrow screen the table scrolls by itself.
  function tableOf(context, plan) {
    const made = table(context, plan);
    return made && context.el("div", { class: "wide", tabIndex: 0, role: "region", "aria-label": title(context, plan) }, made);
  }

  // Null for a golfer who doesn't practice speed.
  function block(context, story) {
    const { plan } = story;
    if (!plan) return null;
    const trending = ["gaining", "losing"].includes(story.practice?.trend) && plan.weeks.some((one) => known(one.speed_mph.value));
    const words = [trending ? context.fill(`plan_if_${story.practice.trend}`) : "", ...plan.notes, due(context, plan.goal), light(context, plan.goal), sets(context, plan), rest(context, plan)];
    return GOLFER_BLOCKS.block(context, "plan", title(context, plan), context.fill(plan.with_ball ? "plan_topic_ball" : "plan_topic"),
      tableOf(context, plan), GOLFER_BLOCKS.paragraph(context, words.filter(Boolean).join(" ")));
  }

  return { block };
})();
