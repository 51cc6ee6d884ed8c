// The columns of the golfers' table: what a cell says, and how a column is sorted.

const GOLFER_COLUMNS = (() => {
  const LINE = { width: 96, height: 26, inset: 3 };

  // --- What a golfer's cells say ----------------------------------------------------------------------------------------------

  const SIGNS = { flagged: "▲", clear: "✓", not_assessed: "?", not_seen: "–" };
  const SURE_ORDER = ["sure", "likely", "can't tell"];

  const wordOf = (kind, value) => {
    if (value === null || value === undefined) return DATA.texts.none_given;
    if (kind === "practice") return value ? DATA.texts.yes : DATA.texts.no;
    if (kind === "band_mph") return FMT.speedUnitText(value);
    if (kind === "quarter") return FMT.quarter(value);
    if (kind === "status" || kind === "cause" || kind === "movement") return DATA.texts[`${kind === "movement" ? "state" : kind}_${value}`] ?? value;
    return value;
  };
  const known = (value, write) => (value === null || value === undefined ? "–" : write(value));

  function statusCell(row) {
    return el("span", { class: `status ${row.status}` }, el("span", { class: "sign", "aria-hidden": "true" }, SIGNS[row.status] ?? ""), ` ${statusWord(row)}`);
  }
  // The state says more than the status, but for those without a result before.
  const statusWord = (row) => (["still", "new", "no_longer"].includes(row.movement) ? wordOf("movement", row.movement) : wordOf("status", row.status));

  function sureCell(row) {
    if (!row.sure) return "–";
    return el("span", {}, el("span", { class: "range number" }, row.lost_lo90_yd === null ? "" : `${FMT.yards(row.lost_lo90_yd)} to ${FMT.yards(row.lost_hi90_yd)}`), " ", sureMark(row.sure));
  }

  // One scale for every golfer's line, so that they can be compared.
  const lineScale = (() => {
    let kept;
    return () => {
      if (kept) return kept;
      const every = GOLFERS().list.flatMap((row) => row.history.filter((value) => value !== null));
      const count = DATA.study.quarters.length;
      kept = {
        x: d3.scaleLinear([0, Math.max(count - 1, 1)], [LINE.inset, LINE.width - LINE.inset]),
        y: d3.scaleLinear([Math.min(0, ...every), Math.max(DATA.study.lost_yd, ...every)], [LINE.height - LINE.inset, LINE.inset]),
      };
      kept.path = d3.line((_, at) => kept.x(at), (value) => kept.y(value)).defined((value) => value !== null);
      return kept;
    };
  })();

  function svg(tag, given) {
    const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
    Object.entries(given).forEach(([name, value]) => made.setAttribute(name, value));
    return made;
  }

  function historyCell(row) {
    const { x, y, path } = lineScale();
    const told = row.history.map((value, at) => `${FMT.quarter(DATA.study.quarters[at])} ${known(value, FMT.yards)}`).join(", ");
    const made = svg("svg", { class: "history", viewBox: `0 0 ${LINE.width} ${LINE.height}`, width: LINE.width, height: LINE.height, role: "img", "aria-label": told });
    const limit = y(DATA.study.lost_yd);
    made.append(svg("line", { class: "limit", x1: 0, x2: LINE.width, y1: limit, y2: limit }), svg("path", { d: path(row.history) ?? "" }));
    row.history.forEach((value, at) => {
      if (value === null) return;
      made.append(svg("circle", { cx: x(at), cy: y(value), r: at === row.history.length - 1 ? 3 : 1.75 }));
    });
    return made;
  }

  // --- Columns: seven before a person asks for more ---------------------------------------------------------------------------

  const numberColumn = (field, write, more = {}) => ({ field, write: (row) => known(row[field], write), number: true, ...more });
  // Columns of what no log of the study tells are left out.
  const isTold = (field) => GOLFERS().list.some((row) => (row[field] ?? null) !== null);
  const COLUMNS = () => [
    { field: "golfer", title: DATA.texts.column_golfer, cell: (row) => el("a", { href: `#golfer/${row.golfer}`, class: "golfer" }, nameOf(row.golfer)), order: (row) => foldedText(nameOf(row.golfer)), width: innerWidth < 640 ? 112 : 150 },
    numberColumn("lost_yd", FMT.yards, { title: `${DATA.texts.column_lost}, ${FMT.distanceUnit}`, width: 95 }),
    { field: "cause", title: DATA.texts.column_cause, write: (row) => known(row.cause, (cause) => wordOf("cause", cause)), order: (row) => row.cause, width: 135 },
    { field: "status", title: DATA.texts.column_status, cell: statusCell, order: (row) => `${Object.keys(SIGNS).indexOf(row.status)} ${statusWord(row)}`, width: 175 },
    { field: "sure", title: DATA.texts.column_sure, cell: sureCell, order: (row) => (row.sure ? SURE_ORDER.indexOf(row.sure) : null), width: 210 },
    { field: "history", title: DATA.texts.column_history, cell: historyCell, order: (row) => { const [a, b] = row.history.slice(-2); return b === undefined || a === null || b === null ? null : b - a; }, width: 135 },
    numberColumn("club_speed_mph", FMT.speed, { title: `${DATA.texts.column_speed}, ${FMT.speedUnit}`, width: 150 }),
    ...[
      numberColumn("carry_yd", FMT.yards, { title: `${DATA.texts.column_carry}, ${FMT.distanceUnit}`, width: 115 }),
      numberColumn("efficient_yd", FMT.yards, { title: `${DATA.texts.column_efficient}, ${FMT.distanceUnit}`, width: 160 }),
      { field: "do", title: DATA.texts.column_do, write: (row) => known(row.do, String), order: (row) => row.do, width: 290 },
      numberColumn("goal_yd", FMT.yards, { title: `${DATA.texts.column_goal}, ${FMT.distanceUnit}`, width: 110 }),
      { field: "first", title: DATA.texts.column_first, write: (row) => known(row.first, (first) => DATA.texts[`work_${first}`] ?? first), order: (row) => row.first, width: 140 },
      { field: "group", title: DATA.texts.column_group, write: (row) => known(row.group, String), order: (row) => row.group, width: 120 },
      { field: "device", title: DATA.texts.column_device, write: (row) => known(row.device, String), order: (row) => row.device, width: 120 },
      { field: "practice", title: DATA.texts.column_practice, write: (row) => wordOf("practice", row.practice), order: (row) => (row.practice ? 0 : 1), width: 130 },
      ...[
        numberColumn("spread_yd", FMT.yards, { title: `${DATA.texts.column_spread}, ${FMT.distanceUnit}`, width: 130 }),
        numberColumn("in_corridor", FMT.percent, { title: DATA.texts.column_in_corridor, width: 130 }),
      ].filter(({ field }) => isTold(field)),
      numberColumn("shots", numberText, { title: DATA.texts.column_shots, width: 110 }),
      { field: "quarter", title: DATA.texts.column_quarter, write: (row) => FMT.quarter(row.quarter), order: (row) => row.quarter, width: 130 },
    ].map((column) => ({ ...column, more: true })),
  ];

  const orderOf = (column) => column.order ?? ((row) => row[column.field]);

  // What Tabulator holds of a golfer: the code, and by each column what the golfer is sorted by, worked out once.
  function sortable(rows, columns) {
    const orders = columns.map((column) => [column.field, orderOf(column)]);
    return rows.map((row) => {
      const made = { code: row.golfer };
      orders.forEach(([field, order]) => { made[field] = order(row); });
      return made;
    });
  }

  // Nothing known comes last whichever way a column is sorted: Tabulator turns the sign when it sorts down.
  function compare(a, b, rowA, rowB, column, direction) {
    const [isNone, isOtherNone] = [a === null || a === undefined, b === null || b === undefined];
    if (isNone || isOtherNone) return (isNone - isOtherNone) * (direction === "desc" ? -1 : 1);
    return a < b ? -1 : a > b ? 1 : 0;
  }

  function columnOf(column) {
    return {
      title: column.title, field: column.field, minWidth: column.width, frozen: column.field === "golfer", sorter: compare,
      hozAlign: column.number ? "right" : "left", headerHozAlign: column.number ? "right" : "left",
      headerSortStartingDir: column.number ? "desc" : "asc", cssClass: column.number ? "figure" : undefined,
      formatter: (cell) => {
        const made = (column.cell ?? column.write)(GOLFERS().byCode.get(cell.getData().code).row);
        // A text goes in as a node: Tabulator would take it for markup.
        return typeof made === "string" ? document.createTextNode(made) : made;
      },
    };
  }

  return { list: COLUMNS, columnOf, compare, orderOf, sortable, wordOf };
})();
