// Taking a student: files that a person opens, kept in `roster` and nowhere else. Names and codes are shown as values
// of read-only inputs: a browser that saves the page writes an input's markup, not its value.

const MOST_SHOWN = 6;
let roster = NO_STUDENTS;

function sayRoster(unread) {
  const { golfers, names } = roster;
  const named = [...golfers.keys()].filter((code) => names.has(code)).length;
  const count = { golfers: numberText(golfers.size), named: numberText(named) };
  let text = filledText(T.students_count, count);
  if (golfers.size === 0) text = names.size ? filledText(T.students_only_names, { named: numberText(names.size) }) : "";
  setText("students-count", [...unread.map(() => T.students_not_read), text].filter(Boolean).join(" "));
  show("finding", golfers.size > 0);
  document.body.classList.toggle("finds", golfers.size > 0);
  show("forget", golfers.size > 0 || names.size > 0);
}

async function openFiles(files) {
  const unread = [];
  for (const file of files) {
    const next = withFile(roster, decodedText(await file.arrayBuffer()));
    if (next) roster = next;
    else unread.push(file);
  }
  element("files").value = "";
  sayRoster(unread);
  if (roster.golfers.size > 0) element("find").focus();
}

function takeStudent({ label, row }) {
  state.isPrivate = true;
  clearDrive();
  state.student = { label, row };
  Object.entries(driveOf(row)).forEach(([field, value]) => write(field, value));
  NUMBER_FIELDS.forEach((field) => state.judged.add(field));
  element("who").value = label;
  show("who", true);
  element("find").value = "";
  showFound();
  document.activeElement.blur();
  scrollTo(0, 0);
  update();
}

function hitOf(one, index, all) {
  const hit = document.createElement("input");
  hit.type = "text";
  hit.readOnly = true;
  hit.className = "hit";
  hit.autocomplete = "off";
  hit.value = one.label;
  hit.setAttribute("aria-label", filledText(T.student_hit, { n: index + 1, all }));
  hit.addEventListener("click", () => takeStudent(one));
  hit.addEventListener("keydown", (event) => { if (event.key === "Enter") takeStudent(one); });
  return hit;
}

function showFound() {
  const found = foundStudents(roster, element("find").value);
  const shown = (found ?? []).slice(0, MOST_SHOWN);
  element("found").replaceChildren(...shown.map((one, index) => hitOf(one, index, shown.length)));
  const n = found ? found.length : 0;
  let text = "";
  if (found) text = n === 0 ? T.students_none : filledText(n > MOST_SHOWN ? T.students_many : T.students_found, { n });
  setText("found-count", text);
}

function forgetStudents() {
  roster = NO_STUDENTS;
  element("find").value = "";
  showFound();
  // What was typed without a student is nobody's secret and stays.
  if (state.isPrivate) nextDrive();
  sayRoster([]);
  setText("students-count", T.forgotten);
}

function wireStudents() {
  element("files").addEventListener("change", (event) => openFiles([...event.target.files]));
  element("find").addEventListener("input", showFound);
  element("find").addEventListener("focus", () => element("finding").scrollIntoView({ block: "start" }));
  element("find").addEventListener("keydown", (event) => {
    const [first] = foundStudents(roster, element("find").value) ?? [];
    if (event.key === "Enter" && first) takeStudent(first);
  });
  element("forget").addEventListener("click", forgetStudents);
}
