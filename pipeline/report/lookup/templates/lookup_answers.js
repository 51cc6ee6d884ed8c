// From an answer of the model to the places of the page: the two questions, the picture, and what a screen reader
// hears. Text is set as text, never as markup.

let speaking = 0;
function speak(text) {
  clearTimeout(speaking);
  speaking = setTimeout(() => { element("announcement").textContent = text; }, SPEAK_MS);
}

function showFace(face) {
  ["say", "far", "takes"].forEach((id) => element(id).classList.toggle("away", id !== face));
}

function say(sentence, isRefusal) {
  showFace("say");
  element("results").dataset.shown = isRefusal ? "refusal" : "start";
  setText("message", sentence);
  setText("stamp", "");
  element("stamp").parentElement.classList.remove("still");
  show("picture", false);
  show("landing", false);
  speak(sentence);
}

// A number is still being typed: the last answer stays, marked, or else the range that holds stands there.
function wait(question, sentence) {
  const last = state.last[question];
  if (!last) {
    say(sentence, false);
    return;
  }
  showFace(question);
  element("results").dataset.shown = "still";
  setText("stamp", filledText(T.still, { what: last }));
  element("stamp").parentElement.classList.add("still");
  speak("");
}

function fill(question, words, values, what) {
  showFace(question);
  element("results").dataset.shown = "answer";
  // A page that doesn't say how often has no places for it.
  Object.entries(words.places).filter(([id]) => element(id)).forEach(([id, text]) => setPlace(id, text));
  Object.entries(values).forEach(([id, value]) => { element(id).value = value ?? ""; });
  const { student } = state;
  const quarter = student && student.row.quarter.replace(/Q/, " Q");
  setText("stamp", student ? filledText(T.student_of, { speed: what.speed, quarter }) : words.stamp);
  element("stamp").parentElement.classList.remove("still");
  state.last[question] = what.still;
  speak(words.spoken);
}

function answerFar(readings, conditions) {
  const asked = askedOf(readings);
  const found = lookUp(DATA, asked, conditions, state.units);
  if (!found.supported) return found.reason;
  const reached = distancesReached(DATA, asked, conditions);
  const words = farWords(found, asked, reached, state.units, T);
  const names = ["expected_carry", "efficient_carry", "expected_total", "efficient_total", "yards_available"];
  const speed = speedTyped(asked.club, state.units);
  fill("far", words, Object.fromEntries(names.map((name) => [name, found[`${name}_yd`]])), { speed, still: speed });
  state.found = found;
  setNotes(found.ball_unused ? T.ball_unused : null, reached && T.often_far);
  showPicture(found, asked, conditions, words);
  showLanding(found, conditions);
  return null;
}

const PICTURE_TEXTS = {
  launch: { below: "picture_launch_below", above: "picture_launch_above", just: "picture_launch_just" },
  spin: { below: "picture_spin_below", above: "picture_spin_above", just: "picture_spin_just" },
};

function pictureTitle({ launch, spin }, isTypical) {
  const part = (name, one) => {
    if (one.side === "inside") return null;
    return filledText(T[PICTURE_TEXTS[name][Number(one.away) === 0 ? "just" : one.side]], { away: one.away });
  };
  if (launch.side === null) return T.spoken_no_aim;
  const parts = [part("launch", launch), part("spin", spin)];
  const said = parts.filter((text) => text !== null);
  if (said.length === 0) return isTypical ? T.picture_usual_inside : T.picture_inside;
  const text = said.length === 2 ? filledText(T.picture_both, { launch: said[0], spin: said[1] }) : said[0];
  return text[0].toUpperCase() + text.slice(1);
}

function showPicture(found, asked, conditions, words) {
  const region = regionAt(DATA, asked.club, conditions);
  show("picture", Boolean(region));
  if (!region) return;
  const isTypical = asked.launch === null || asked.spin === null;
  const speed = speedTyped(asked.club, state.units);
  drawPicture(element("drawing"), region, { launch: found.launch, spin: found.spin, isTypical }, T);
  setText("picture-title", pictureTitle(words, isTypical));
  setText("picture-topic", filledText(T.picture_topic, { speed }));
  const tolerance = distanceText(SETTINGS.tolerance_yd, state.units);
  const [launch, spin] = [angleFigure(region.best[0]), spinFigure(region.best[1])];
  const sentence = region.window ? T.picture_words : T.picture_words_no_window;
  setText("picture-words", filledText(sentence, { speed, tolerance, launch, spin }));
}

function showLanding(found, conditions) {
  const turf = TEXTS.turf[conditions.turf ?? DATA.standard.turf];
  Object.entries(landingWords(found, turf, DATA.told_from_yd, state.units, T)).forEach(([id, text]) => setText(id, text));
  show("landing", true);
}

const setNotes = (...notes) => setText("notes", notes.filter(Boolean).join(" "));

// A student whose drive is as it was filled in is the golfer's row; another club speed leaves the row's delivery.
function wishOf(readings) {
  const asked = askedOf(readings);
  const wish = { goal_yd: readings.goal.value, distance: chosen("distance"), ...asked };
  const { student } = state;
  if (!student || ["ball", "launch", "spin"].some((field) => asked[field] !== student.row[DRIVE_COLUMNS[field]])) {
    return wish;
  }
  const isOwn = asked.club === student.row.club_speed_mph;
  const { goal_yd: goalYards, distance } = wish;
  return { goal_yd: goalYards, distance, golfer: student.row, club: isOwn ? null : asked.club };
}

function answerTakes(readings, conditions) {
  const plan = planGoal(DATA, wishOf(readings), conditions, state.units);
  if (!plan.supported) {
    if (isTyping()) wait("takes", plan.note);
    else say(plan.note, true);
    return;
  }
  const shares = sharesOfGoal(DATA, askedOf(readings), plan, conditions);
  const words = takesWords(plan, shares, state.units, T);
  const goal = distanceText(plan.goal_yd, state.units);
  const speed = plan.club_speed_mph === null ? "" : speedTyped(plan.club_speed_mph, state.units);
  const what = chosen("distance") === "carry" ? T.goal_carry : T.goal_total;
  words.stamp = filledText(speed ? T.goal_at : T.goal_only, { goal: filledText(what, { goal }), speed });
  const values = {
    efficient_speed: plan.efficient_speed_mph,
    present_speed: plan.present_speed_mph,
    delivery: plan.delivery_yd,
    speed: plan.speed_yd,
    quarters: plan.quarters,
  };
  fill("takes", words, values, { speed: filledText(what, { goal }), still: goal });
  state.plan = plan;
  setNotes(plan.note, shares && T.often_takes);
  show("picture", false);
  show("landing", false);
}

// Other air takes some tenths of a second on a phone, a slice at a time, so that nothing blocks; `then` comes after it.
let working = 0;
function workOn(conditions, then) {
  clearTimeout(working);
  const slice = () => {
    if (!workAhead(DATA, conditions, SLICE_MS)) working = setTimeout(slice, 0);
    else then();
  };
  slice();
}
