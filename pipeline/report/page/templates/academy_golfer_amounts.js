// Figures of one golfer as they are shown. Rounding and units are those of lookup_shown.js.

const GOLFER_FIGURES = (() => {
  const PARTS = ["contact", "launch", "spin", "consistency", "curve", "other"];

  // What is charted by quarter. `span` is the least that an axis covers, in yd, mph, deg or rpm, the same for every
  // golfer, so that two sheets can be compared: three times the change that nine golfers in ten of the demo stay under
  // from quarter to quarter (6 yd of carry, 1.6 mph, 0.01, 0.8 deg, 120 rpm), so that an ordinary quarter looks like one;
  // half as much again for yards, whose ranges take room.
  const MEASURES = [
    { name: "lost", key: "lost_yd", unit: "distance", span: 27, low: "lo", high: "hi" },
    { name: "carry", key: "carry_yd", unit: "distance", span: 27 },
    { name: "club_speed", key: "club_speed_mph", unit: "speed", span: 5 },
    { name: "speed_ratio", key: "speed_ratio", unit: "", span: 0.03 },
    { name: "launch", key: "launch_deg", unit: "deg", span: 2.5 },
    { name: "spin", key: "spin_rpm", unit: "rpm", span: 360 },
  ];

  const known = (value) => value !== null && value !== undefined;

  const each = (measure, units) => ({ distance: units.distance.each, speed: units.speed.each }[measure.unit] ?? 1);
  const unitOf = (measure, units) => ({ distance: units.distance.text, speed: units.speed.text }[measure.unit] ?? measure.unit);
  const scaled = (value, measure, units) => (known(value) ? value / each(measure, units) : null);

  // A figure without its unit, as it is shown wherever it stands.
  function figure(value, measure, units) {
    if (!known(value)) return null;
    if (measure.unit === "distance") return distanceFigure(value, units);
    if (measure.unit === "speed") return speedFigure(value, units);
    return { deg: angleFigure, rpm: spinFigure }[measure.unit]?.(value) ?? numberText(value, 2);
  }

  // A change: speeds in tenths, since a quarter rarely changes them by a whole mph; launch in half degrees, spin in fifties.
  function change(value, measure, units) {
    if (!known(value)) return null;
    const steps = { deg: [ANGLE_STEP_DEG, 1], rpm: [SPIN_STEP_RPM, 0], distance: [1, 0], speed: [0.1, 1] }[measure.unit] ?? [0.01, 2];
    return signedText(roundedTo(value / each(measure, units), steps[0]), steps[1]);
  }

  // Yards lost and their parts as shown: the whole is the difference of the carries that stand beside it, and the parts
  // are rounded so that they add up to it. Null for a golfer who wasn't assessed.
  function losses(quarter, units) {
    if (!known(quarter?.lost_yd)) return null;
    const both = known(quarter.efficient_yd) && known(quarter.carry_yd);
    const lost = both
      ? distanceWhole(quarter.efficient_yd, units) - distanceWhole(quarter.carry_yd, units)
      : distanceWhole(quarter.lost_yd, units);
    const names = PARTS.filter((name) => known(quarter.parts?.[name]));
    const shown = partsWhole(names.map((name) => quarter.parts[name]), units, lost);
    return { lost, parts: names.map((name, index) => ({ name, yards: shown[index] })) };
  }

  // A quarter's figure as it is shown, without unit: yards lost as the difference of the carries beside them.
  const shownFigure = (quarter, measure, units) => (
    measure.name === "lost" ? losses(quarter, units) && numberText(losses(quarter, units).lost) : figure(quarter[measure.key], measure, units)
  );

  // From where to where a picture of drives goes. A drive farther than three times the middle half's width outside of
  // it (Tukey's "far out") would shrink the rest to a blot: it is counted in words instead.
  function extent(values, more) {
    const sorted = d3.sort(values);
    const [low, high] = [d3.quantileSorted(sorted, 0.25), d3.quantileSorted(sorted, 0.75)];
    const far = 3 * (high - low);
    const near = sorted.filter((value) => value >= low - far && value <= high + far);
    const [from, to] = d3.extent([...near, ...more.filter(known)]);
    const room = 0.06 * (to - from || 1);
    return [from - room, to + room];
  }

  // An axis that covers the values and at least `least`, its middle where theirs is.
  function spanOf(values, least) {
    if (!values.length) return [0, 1];
    const [low, high] = d3.extent(values);
    const more = Math.max(0, least - (high - low)) / 2;
    return [low - more, high + more];
  }

  const quarterText = (quarter) => (quarter ?? "").replace("Q", " Q");

  return { PARTS, MEASURES, known, unitOf, scaled, figure, change, losses, shownFigure, extent, spanOf, quarterText };
})();
