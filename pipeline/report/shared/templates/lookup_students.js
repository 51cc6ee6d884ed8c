// Students from files that a person opens: the run's golfers.csv and the academy's names.csv. Pure functions on plain
// values; the page keeps what they give in memory and nowhere else.

const STUDENT_TEXTS = new Set(["golfer", "quarter", "main_cause", "flagged", "status", "note"]);
const DRIVE_COLUMNS = { club: "club_speed_mph", ball: "ball_speed_mph", launch: "launch_deg", spin: "spin_rpm" };
const LETTERS_NEEDED = 3;
const NO_STUDENTS = { golfers: new Map(), names: new Map() };

// Spreadsheets save what they opened as UTF-8 or in the old Western code page.
function decodedText(bytes) {
  try {
    return new TextDecoder("utf-8", { fatal: true }).decode(bytes);
  } catch {
    return new TextDecoder("windows-1252").decode(bytes);
  }
}

// Rows of texts; quotes may hold separators, line ends and doubled quotes. Some spreadsheets save semicolons.
function csvRows(text) {
  const clean = text.replace(/^\uFEFF/, "");
  const head = clean.split(/\r?\n/, 1)[0];
  const separator = head.includes(";") && !head.includes(",") ? ";" : ",";
  const rows = [];
  let row = [];
  let cell = "";
  let isQuoted = false;
  const endCell = () => { row.push(cell); cell = ""; };
  const endRow = () => {
    endCell();
    if (row.length > 1 || row[0] !== "") rows.push(row);
    row = [];
  };
  for (let at = 0; at < clean.length; at += 1) {
    const sign = clean[at];
    if (isQuoted && sign === "\"" && clean[at + 1] === "\"") {
      cell += sign;
      at += 1;
    } else if (sign === "\"" && (isQuoted || cell === "")) isQuoted = !isQuoted;
    else if (isQuoted) cell += sign;
    else if (sign === separator) endCell();
    else if (sign === "\n") endRow();
    else if (sign !== "\r") cell += sign;
  }
  endRow();
  return rows;
}

function golferRow(header, cells) {
  const value = (name, text) => {
    if (text === undefined || text === "") return null;
    return STUDENT_TEXTS.has(name) ? text : Number(text);
  };
  return Object.fromEntries(header.map((name, index) => [name, value(name, cells[index])]));
}

// The roster with a file's rows in place of earlier ones of its kind; null for a file of neither kind.
function withFile(roster, text) {
  const [header = [], ...lines] = csvRows(text);
  const columns = header.map((name) => name.trim());
  const has = (...names) => names.every((name) => columns.includes(name));
  if (has("golfer", "quarter", ...Object.values(DRIVE_COLUMNS))) {
    const golfers = new Map();
    lines.map((cells) => golferRow(columns, cells)).filter((row) => row.golfer && row.quarter).forEach((row) => {
      const known = golfers.get(row.golfer);
      if (!known || known.quarter <= row.quarter) golfers.set(row.golfer, row);
    });
    return { ...roster, golfers };
  }
  if (has("golfer", "name")) {
    const [code, name] = ["golfer", "name"].map((wanted) => columns.indexOf(wanted));
    const named = lines.filter((cells) => cells[code] && cells[name]);
    return { ...roster, names: new Map(named.map((cells) => [cells[code].trim(), cells[name].trim()])) };
  }
  return null;
}

const foldedText = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase().trim();

// Students whose name, a word of it or whose code begins with what was typed, then those that hold it; null when less
// than three letters were typed.
function foundStudents(roster, typed) {
  const wanted = foldedText(typed);
  if ([...wanted].length < LETTERS_NEEDED) return null;
  const rank = ({ code, label }) => {
    const name = foldedText(label);
    if (code.startsWith(wanted) || code.startsWith(`g${wanted}`)) return 0;
    if (name.startsWith(wanted)) return 0;
    if (name.split(/[^\p{L}\p{N}]+/u).some((word) => word.startsWith(wanted))) return 1;
    return name.includes(wanted) ? 2 : 3;
  };
  return [...roster.golfers.values()]
    .map((row) => ({ code: row.golfer, label: roster.names.get(row.golfer) ?? row.golfer, row }))
    .map((one) => ({ ...one, rank: rank(one) }))
    .filter((one) => one.rank < 3)
    .sort((a, b) => a.rank - b.rank || a.label.localeCompare(b.label) || a.code.localeCompare(b.code));
}

// What a student's newest quarter puts into the fields; null is not known.
const driveOf = (row) => Object.fromEntries(Object.entries(DRIVE_COLUMNS).map(([field, name]) => [field, row[name]]));
