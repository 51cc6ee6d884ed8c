// The view #golfers: every golfer in one table of Tabulator, with search, sorting, filters that stand in the address, and
// a small line of the yards lost by quarter. What is typed into the search box may be a name, so it stays here.

(() => {
  const ROW_PX = 44; // a tap target
  const NARROW_PX = 640;
  const EVERY = ""; // of a filter
  const SORT = { column: "lost_yd", dir: "desc" };
  // Filters that stand above the table, and those that only a link brings.
  const CHOICES = ["status", "cause", "movement", "band_mph", "group", "device", "practice", "quarter"];
  const BROUGHT = ["good", "goal", "reason"];
  // What was typed and shown last, for whoever comes back from a golfer; gone with the page.
  const LAST = { search: "", more: false };
  const { list: COLUMNS, columnOf, sorterOf, wordOf } = GOLFER_COLUMNS;

  // --- Which golfers ----------------------------------------------------------------------------------------------------------

  // Golfers behind a count of the first screen that no column tells.
  function broughtSet(name, value) {
    const { quarter } = DATA;
    if (name === "good") return new Set(quarter.good.map(({ golfer }) => golfer));
    if (name === "goal") return new Set(quarter.goals_reached);
    return new Set(quarter.unassessed.find(({ reason }) => reason === value)?.golfers ?? []);
  }

  function chosenGolfers(filters) {
    const plain = CHOICES.filter((name) => filters.get(name)).map((name) => [name, filters.get(name)]);
    const sets = BROUGHT.filter((name) => filters.get(name)).map((name) => broughtSet(name, filters.get(name)));
    return (row) => plain.every(([name, value]) => String(row[name]) === value) && sets.every((some) => some.has(row.golfer));
  }

  function searchOf(typed) {
    const wanted = foldedText(typed);
    if (!wanted) return () => true;
    return (row) => row.golfer.startsWith(wanted) || row.golfer.startsWith(`g${wanted}`) || foldedText(nameOf(row.golfer)).includes(wanted);
  }

  // The address without what was typed. Choosing is no step that "back" should undo one by one.
  function keepInAddress(filters) {
    const query = filters.toString();
    history.replaceState(null, "", query ? `#golfers?${query}` : "#golfers");
  }

  // --- Above the table --------------------------------------------------------------------------------------------------------

  // A value as rows hold it from how the address writes it.
  const valueOf = (name, text) => GOLFERS().list.find((row) => String(row[name]) === text)?.[name] ?? text;

  function choice(name, filters, changed) {
    const values = [...new Set(GOLFERS().list.map((row) => row[name]).filter((value) => value !== null))];
    if (values.length < 2 && !filters.get(name)) return "";
    values.sort((a, b) => (typeof a === "number" ? a - b : String(a).localeCompare(String(b))));
    const options = values.map((value) => el("option", { value: String(value), selected: filters.get(name) === String(value) }, wordOf(name, value)));
    const select = el("select", { id: `filter-${name}`, autocomplete: "off" }, el("option", { value: EVERY }, DATA.texts.all), options);
    select.addEventListener("change", () => changed(name, select.value));
    return el("div", { class: "field" }, el("label", { for: select.id }, DATA.texts[`filter_${name}`]), select);
  }

  // What is chosen, each with a way to drop it: what no choice above the table says, and on a phone everything.
  function chips(filters, changed) {
    const named = innerWidth < NARROW_PX ? [...CHOICES, ...BROUGHT] : BROUGHT;
    const said = (name, value) => {
      if (name === "reason") return value;
      return BROUGHT.includes(name) ? DATA.texts[`brought_${name}`] : `${DATA.texts[`filter_${name}`]}: ${wordOf(name, valueOf(name, value))}`;
    };
    return named.filter((name) => filters.get(name)).map((name) => el("button", { type: "button", class: "chip", onclick: () => changed(name, EVERY) },
      said(name, filters.get(name)), el("span", { "aria-hidden": "true" }, " ×"), el("span", { class: "unseen" }, DATA.texts.drop_filter)));
  }

  function plainTable(rows) {
    const columns = COLUMNS().filter((column) => !column.more);
    return el("table", { class: "plain-table" },
      el("thead", {}, el("tr", {}, columns.map((column) => el("th", { scope: "col", class: column.number ? "figure" : "" }, column.title)))),
      el("tbody", {}, rows.map((row) => el("tr", {}, columns.map((column) => el("td", { class: column.number ? "figure" : "" }, (column.cell ?? column.write)(row)))))));
  }

  const countText = (found) => {
    const all = GOLFERS().list.length;
    return fill(found === all ? "golfers_all" : "golfers_found", { count: numberText(found), all: numberText(all) });
  };
  const sortOf = (filters) => ({ column: filters.get("sort") ?? SORT.column, dir: filters.get("dir") ?? SORT.dir });

  // For paper, where a table of which only the visible rows exist won't do.
  function drawPrinted(root, filters) {
    const { column: field, dir } = sortOf(filters);
    const by = sorterOf(COLUMNS().find((one) => one.field === field));
    const wrap = (row) => ({ getData: () => row });
    const rows = GOLFERS().list.filter(chosenGolfers(filters)).filter(searchOf(LAST.search));
    rows.sort((a, b) => by(null, null, wrap(a), wrap(b), null, dir) * (dir === "desc" ? -1 : 1));
    root.append(el("h1", {}, countText(rows.length)), plainTable(rows));
  }

  class GolfersTable {
    constructor(root, context) {
      this.context = context;
      this.filters = context.filters;
      this.heading = el("h1", { role: "status", id: "golfers-count" });
      this.chips = el("span", { class: "chips" });
      this.choices = el("div", { class: "choices" });
      this.place = el("div", { id: "golfers-table" });
      this.reset = this.button("all-golfers", "all_golfers", () => this.showAll());
      this.more = this.button("more-columns", "more_columns", () => this.toggleMore());
      this.print = this.button("print-sheets", "golfer_print_shown", () => this.printSheets());
      const isOpen = innerWidth >= NARROW_PX; // on a phone, chips say what is chosen
      root.append(
        el("div", { class: "bar" }, this.heading, this.searchField(), this.chips, this.reset, this.more, this.print),
        el("details", { class: "filters", open: isOpen }, el("summary", {}, context.texts.filters), this.choices), this.place);
    }

    button(id, key, onclick) { return el("button", { type: "button", id, onclick }, this.context.texts[key]); }

    searchField() {
      const { texts } = this.context;
      this.search = el("input", { type: "search", id: "search", autocomplete: "off", spellcheck: false, value: LAST.search, placeholder: texts.search_how });
      ["autocorrect", "autocapitalize"].forEach((name) => this.search.setAttribute(name, "off"));
      this.search.addEventListener("input", () => { LAST.search = this.search.value; this.choose(); });
      return el("div", { class: "field search" }, el("label", { for: "search", class: "unseen" }, texts.search), this.search);
    }

    start() {
      const { column, dir } = sortOf(this.filters);
      const isKnown = COLUMNS().some(({ field }) => field === column);
      this.showChoices();
      this.table = new Tabulator(this.place, {
        data: GOLFERS().list, index: "golfer", columns: COLUMNS().map((one) => columnOf(one, LAST.more)),
        initialSort: [isKnown ? { column, dir } : SORT], height: "100%", rowHeight: ROW_PX, layout: "fitColumns",
        headerSortClickElement: "header", headerSortElement: () => el("span", { class: "order", "aria-hidden": "true" }),
        placeholder: el("p", { class: "nobody" }, this.context.texts.nobody), columnDefaults: { resizable: false },
      });
      this.table.on("tableBuilt", () => this.ready());
      this.context.onNames(() => { this.choose(); this.table.redraw(true); });
      return () => this.table.destroy();
    }

    ready() {
      this.isReady = true;
      this.place.setAttribute("aria-label", this.context.texts.golfers);
      this.choose();
      this.headersByKeyboard();
      this.table.on("rowClick", (event, row) => { if (!event.target.closest("a")) go(`golfer/${row.getData().golfer}`); });
      this.table.on("dataSorted", ([sorter]) => { if (sorter) this.keepSort(sorter); });
      this.showMore();
    }

    // Tabulator sorts by clicks alone; Enter and the space bar do the same here.
    headersByKeyboard() {
      this.place.querySelectorAll(".tabulator-col[aria-sort]").forEach((header) => {
        header.tabIndex = 0;
        header.addEventListener("keydown", (event) => {
          if (!["Enter", " "].includes(event.key)) return;
          event.preventDefault();
          header.click();
        });
      });
    }

    keepSort({ field, dir }) {
      const now = sortOf(this.filters);
      if (now.column === field && now.dir === dir) return;
      const isUsual = field === SORT.column && dir === SORT.dir;
      [["sort", field], ["dir", dir]].forEach(([name, value]) => (isUsual ? this.filters.delete(name) : this.filters.set(name, value)));
      keepInAddress(this.filters);
    }

    change(name, value) {
      if (value === EVERY) this.filters.delete(name); else this.filters.set(name, value);
      keepInAddress(this.filters);
      this.showChoices();
      this.choose();
    }

    showAll() {
      [...CHOICES, ...BROUGHT].forEach((name) => this.filters.delete(name));
      LAST.search = "";
      this.search.value = "";
      keepInAddress(this.filters);
      this.showChoices();
      this.choose();
    }

    showChoices() {
      const changed = (name, value) => this.change(name, value);
      const focused = document.activeElement?.id;
      this.choices.replaceChildren(...CHOICES.map((name) => choice(name, this.filters, changed)).filter(Boolean));
      this.chips.replaceChildren(...chips(this.filters, changed));
      if (focused?.startsWith("filter-")) document.getElementById(focused)?.focus();
    }

    choose() {
      if (!this.isReady) return;
      const [isChosen, isFound] = [chosenGolfers(this.filters), searchOf(LAST.search)];
      this.table.setFilter((row) => isChosen(row) && isFound(row));
      const found = this.table.getDataCount("active");
      this.heading.textContent = countText(found);
      this.reset.hidden = found === GOLFERS().list.length;
    }

    // Sheets of the golfers shown, in the table's order.
    printSheets() {
      GOLFER_SHEET.printAll(this.table.getData("active").map((row) => row.golfer), this.context);
    }

    toggleMore() {
      LAST.more = !LAST.more;
      this.showMore();
    }

    showMore() {
      this.more.setAttribute("aria-pressed", String(LAST.more));
      this.table.blockRedraw();
      COLUMNS().filter((column) => column.more).forEach(({ field }) => this.table[LAST.more ? "showColumn" : "hideColumn"](field));
      this.table.restoreRedraw();
    }
  }

  VIEWS.golfers = {
    title: (_, { texts }) => texts.golfers,
    onPrint: true,
    show(root, _, context) {
      if (!context.printing) return new GolfersTable(root, context).start();
      drawPrinted(root, context.filters);
      return undefined;
    },
  };
})();
