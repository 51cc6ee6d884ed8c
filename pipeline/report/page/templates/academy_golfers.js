// The view #golfers: every golfer in one table of Tabulator, with search, sorting, filters that stand in the address, and
// a small line of the yards lost by quarter. What is typed into the search box may be a name, so it stays here.

(() => {
  const ROW_PX = 44; // a tap target
  const BUFFER_PX = ROW_PX; // rows drawn beyond those seen, to each side
  const NARROW_PX = 640;
  const EVERY = ""; // of a filter
  const SORT = { column: "lost_yd", dir: "desc" };
  // Filters that stand above the table, and those that only a link brings.
  const CHOICES = ["status", "cause", "movement", "band_mph", "group", "device", "practice", "quarter"];
  const BROUGHT = ["good", "goal", "reason"];
  const { list: COLUMNS, columnOf, compare, orderOf, sortable, wordOf } = GOLFER_COLUMNS;

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
  const valueOf = (name, text) => valuesOf(name).find((value) => String(value) === text) ?? text;

  const VALUES = new Map();
  function valuesOf(name) {
    if (!VALUES.has(name)) {
      const found = [...new Set(GOLFERS().list.map((row) => row[name]))].filter((value) => value !== null);
      VALUES.set(name, found.sort((a, b) => (typeof a === "number" ? a - b : String(a).localeCompare(String(b)))));
    }
    return VALUES.get(name);
  }

  function choice(name, filters, changed) {
    const values = valuesOf(name);
    if (values.length < 2 && !filters.get(name)) return "";
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
  function sortOf(filters) {
    const [column, dir] = [filters.get("sort"), filters.get("dir")];
    return COLUMNS().some(({ field }) => field === column) ? { column, dir: dir === "asc" ? "asc" : "desc" } : SORT;
  }

  // For paper, where a table of which only the visible rows exist won't do.
  function drawPrinted(root, filters, typed) {
    const { column: field, dir } = sortOf(filters);
    const order = orderOf(COLUMNS().find((one) => one.field === field));
    const rows = GOLFERS().list.filter(chosenGolfers(filters)).filter(searchOf(typed));
    rows.sort((a, b) => compare(order(a), order(b), null, null, null, dir) * (dir === "desc" ? -1 : 1));
    root.append(el("h1", {}, countText(rows.length)), plainTable(rows));
  }

  // Made once: whoever comes back to the table finds it as it was left.
  class GolfersTable {
    constructor() {
      this.heading = el("span", { role: "status", id: "golfers-count" });
      this.chips = el("span", { class: "chips" });
      this.choices = el("div", { class: "choices" });
      this.place = el("div", { id: "golfers-table" });
      this.reset = this.button("all-golfers", "all_golfers", () => this.showAll());
      this.more = this.button("more-columns", "more_columns", () => this.toggleMore());
      this.print = this.button("print-sheets", "golfer_print_shown", () => this.printSheets());
      this.more.setAttribute("aria-pressed", "false");
      this.typed = "";
      this.columns = COLUMNS().filter((column) => !column.more);
      this.data = sortable(GOLFERS().list, COLUMNS());
      const isOpen = innerWidth >= NARROW_PX; // on a phone, chips say what is chosen
      this.parts = [
        el("div", { class: "bar" }, el("h1", {}, this.heading), this.searchField(), this.chips, this.reset, this.more, this.print),
        el("details", { class: "filters", open: isOpen }, el("summary", {}, DATA.texts.filters), this.choices), this.place];
    }

    button(id, key, onclick) { return el("button", { type: "button", id, onclick }, DATA.texts[key]); }

    searchField() {
      const { search, search_how: placeholder } = DATA.texts;
      this.search = el("input", { type: "search", id: "search", autocomplete: "off", spellcheck: false, placeholder });
      ["autocorrect", "autocapitalize"].forEach((name) => this.search.setAttribute(name, "off"));
      this.search.addEventListener("input", () => { this.typed = this.search.value; this.choose(); });
      return el("div", { class: "field search" }, el("label", { for: "search", class: "unseen" }, search), this.search);
    }

    show(root, filters) {
      this.filters = filters;
      root.append(...this.parts);
      this.showChoices();
      if (!this.table) this.build();
      else if (this.isReady) {
        // Sorted first: whatever Tabulator sorts anew goes into the address.
        this.sort();
        this.choose();
        this.place.querySelector(".tabulator-tableholder").scrollTop = this.scrolled ?? 0;
      }
    }

    // Out of sight, in a frame like the view's own, so that whoever opens the table needn't wait for its rows.
    buildAside(width) {
      if (this.table) return;
      const aside = el("div", { class: "view-golfers aside", "aria-hidden": "true", inert: true });
      aside.style.width = `${width}px`;
      aside.append(...this.parts);
      document.body.append(aside);
      this.filters = new URLSearchParams();
      this.showChoices();
      this.build();
      this.table.on("tableBuilt", () => aside.remove());
    }

    leave() { this.scrolled = this.place.querySelector(".tabulator-tableholder")?.scrollTop; }

    build() {
      this.built = this.choice();
      this.table = new Tabulator(this.place, {
        data: this.data, index: "code", columns: this.columns.map(columnOf),
        initialSort: [{ ...sortOf(this.filters) }], initialFilter: [{ field: this.wanted() }],
        height: "100%", rowHeight: ROW_PX, renderVerticalBuffer: BUFFER_PX, layout: "fitColumns", autoResize: false,
        headerSortClickElement: "header", headerSortElement: () => el("span", { class: "order", "aria-hidden": "true" }),
        placeholder: el("p", { class: "nobody" }, DATA.texts.nobody), columnDefaults: { resizable: false },
      });
      this.table.on("tableBuilt", () => this.ready());
    }

    ready() {
      this.isReady = true;
      this.place.setAttribute("aria-label", DATA.texts.golfers);
      // A grid may hold rows alone, nothing else that takes the focus; the golfers' links scroll it by keyboard.
      this.place.querySelector(".tabulator-tableholder").removeAttribute("tabindex");
      this.chosen = this.built;
      this.showCount();
      this.headersByKeyboard();
      this.table.on("rowClick", (event, row) => { if (!event.target.closest("a")) go(`golfer/${row.getData().code}`); });
      this.table.on("dataSorted", ([sorter]) => { if (sorter) this.keepSort(sorter); });
      // Somebody may have asked for other golfers while it was built.
      if (this.place.closest(".aside") === null && this.choice() !== this.built) { this.sort(); this.choose(); }
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

    // As the address says, if the table isn't sorted so already.
    sort() {
      const wanted = sortOf(this.filters);
      const [now] = this.table.getSorters();
      if (now?.field !== wanted.column || now?.dir !== wanted.dir) this.table.setSort(wanted.column, wanted.dir);
    }

    change(name, value) {
      if (value === EVERY) this.filters.delete(name); else this.filters.set(name, value);
      this.changed();
    }

    showAll() {
      [...CHOICES, ...BROUGHT].forEach((name) => this.filters.delete(name));
      this.typed = "";
      this.search.value = "";
      this.changed();
    }

    changed() {
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

    wanted() {
      const [isChosen, isFound] = [chosenGolfers(this.filters), searchOf(this.typed)];
      const { byCode } = GOLFERS();
      return ({ code }) => isChosen(byCode.get(code).row) && isFound(byCode.get(code).row);
    }

    choice() { return JSON.stringify([[...CHOICES, ...BROUGHT].map((name) => this.filters.get(name)), this.typed]); }

    // What is chosen now; a choice that changes nothing leaves the table as it is.
    choose() {
      const now = this.choice();
      if (!this.isReady || now === this.chosen) return;
      this.chosen = now;
      this.table.setFilter(this.wanted());
      this.showCount();
    }

    showCount() {
      const found = this.table.getDataCount("active");
      this.heading.textContent = countText(found);
      this.reset.hidden = found === GOLFERS().list.length;
    }

    // Sheets of the golfers shown, in the table's order.
    printSheets() {
      GOLFER_SHEET.printAll(this.table.getData("active").map((row) => row.code), contextOf(this.filters));
    }

    toggleMore() {
      const isMore = this.more.getAttribute("aria-pressed") === "false";
      this.more.setAttribute("aria-pressed", String(isMore));
      this.columns = COLUMNS().filter((column) => isMore || !column.more);
      const { column, dir } = sortOf(this.filters);
      this.table.blockRedraw();
      this.table.setColumns(this.columns.map(columnOf));
      this.table.setSort(column, dir);
      this.table.restoreRedraw();
      this.headersByKeyboard();
    }
  }

  const KEPT = { table: null, names: null };
  // Tabulator would also draw all anew whenever the table leaves the page or comes back.
  addEventListener("resize", () => { if (KEPT.table?.isReady && KEPT.table.place.isConnected) KEPT.table.table.redraw(); });

  // Other names: other cells and another order.
  function keptTable() {
    if (KEPT.names !== NAMES.roster) Object.assign(KEPT, { table: new GolfersTable(), names: NAMES.roster });
    return KEPT.table;
  }

  VIEWS.golfers = {
    // What can be made before anybody asks for the table, while nothing else is to do.
    prepare() {
      CHOICES.forEach(valuesOf);
      const table = keptTable();
      if (PLACE.name !== "golfers") table.buildAside(document.getElementById("view").clientWidth);
    },
    title: (_, { texts }) => texts.golfers,
    onPrint: true,
    show(root, _, context) {
      if (context.printing) { drawPrinted(root, context.filters, KEPT.table?.typed ?? ""); return undefined; }
      const table = keptTable();
      table.show(root, context.filters);
      context.onNames(() => showView({ keepPlace: true }));
      return () => table.leave();
    },
  };
})();
