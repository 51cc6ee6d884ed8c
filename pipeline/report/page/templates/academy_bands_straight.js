// How straight a band's golfers drive, beside its other figures: as published, so that what is too little to publish is
// said and not shown. Nothing in a study whose logs don't say where drives came down.

const BAND_STRAIGHT = (() => {
  const few = () => fill("bands_few");

  // The middle golfer's spread, and the range in which half of the golfers' spreads lie.
  function spread({ spread_p25: low, spread_p50: middle, spread_p75: high }, { fmt }) {
    if (middle === null) return few();
    const half = low === null || high === null ? "" : `; ${fill("bands_straight_half", { range: fmt.yardsRange(low, high) })}`;
    return `${fmt.yardsUnit(middle)}${half}`;
  }

  // Names and texts of the facts about a band.
  function facts({ straight }, { data, fmt }) {
    if (!straight) return [];
    const corridor = fill("bands_fact_corridor", { corridor: fmt.yardsUnit(straight.corridor_yd) });
    if (straight.suppressed) {
      return [[fill("bands_fact_spread"), fill("bands_straight_suppressed", { min: data.study.min_golfers })]];
    }
    return [
      [fill("bands_fact_spread"), spread(straight, { fmt })],
      [corridor, straight.in_corridor_p50 === null ? few() : fmt.percent(straight.in_corridor_p50)],
      [fill("bands_fact_straight_golfers"), numberText(straight.golfers)],
    ];
  }

  return { facts };
})();
