// How often a golfer reaches the goal, in words: shares of drives in tenths, as people count them.

const GOLFER_REACHING = (() => {
  const { known } = GOLFER_FIGURES;

  const tenthsOf = (share) => wholeOf(10 * share);

  // "about 3 of 10"; at the ends, "hardly any" and "nearly all".
  function shareText(context, share) {
    const n = tenthsOf(share);
    if (n < 1) return GOLFER_BLOCKS.say(context, "reach_none");
    return n > 9 ? GOLFER_BLOCKS.say(context, "reach_all") : GOLFER_BLOCKS.say(context, "reach_tenths", { n: String(n) });
  }

  // The interval in tenths, or nothing where both ends are the share's own tenth.
  function rangeText(context, key, { value, lo, hi }) {
    if (!known(lo) || !known(hi)) return "";
    const ends = [lo, hi].map(tenthsOf);
    return ends.every((end) => end === tenthsOf(value)) ? "" : GOLFER_BLOCKS.say(context, key, { lo: String(ends[0]), hi: String(ends[1]) });
  }

  // Whether the goal takes more club speed than today's.
  const hasMoreSpeed = (goal) => !["reached", "delivery"].includes(goal.reach);

  // How often the goal is reached, today and with better drives, what most drives carry, and what all this rests on.
  function reaching(context, goal) {
    const { reaching: shares } = goal;
    if (!shares) return null;
    const { say, paragraph } = GOLFER_BLOCKS;
    const yards = (yd) => distanceText(yd, context.data.settings.units);
    const [efficient, faster] = [shares.efficient, hasMoreSpeed(goal) ? shares.at_goal_speed : null].map((share) => (known(share) ? shareText(context, share) : null));
    const told = [
      say(context, "reach_today", {
        share: shareText(context, shares.today), goal: yards(goal.goal_yd), range: rangeText(context, "reach_range", { ...shares, value: shares.today }),
      }),
      efficient ? say(context, "reach_efficient", { share: efficient }) : "",
      // Said where it says more than the sentence before it.
      faster && faster !== efficient ? say(context, efficient ? "reach_both" : "reach_speed", { share: faster }) : "",
    ];
    const distances = [shares.nine_yd, shares.five_yd, shares.one_yd].every(known)
      ? say(context, "reach_distances", { nine: yards(shares.nine_yd), five: yards(shares.five_yd), one: yards(shares.one_yd) }) : "";
    return context.el("div", { class: "reaching", dataset: { part: "reaching" } },
      paragraph(context, told.filter(Boolean).join(" ")),
      paragraph(context, distances),
      paragraph(context, say(context, `reach_from_${shares.from}`), { class: "note" }));
  }

  return { reaching, shareText, rangeText };
})();
