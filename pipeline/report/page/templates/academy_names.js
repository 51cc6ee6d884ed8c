// Names on the spot: names.csv (golfer,name), chosen or dropped by a person who may know. They are held in NAMES of
// academy_frame.js and nowhere else: no storage, no address, no window's title, no request holds one.

(() => {
  const slot = document.getElementById("names");
  const input = el("input", { type: "file", accept: ".csv,text/csv", class: "unseen", id: "names-file", autocomplete: "off" });
  const choose = el("label", { class: "button", for: "names-file" }, el("span", { class: "wide-only" }, `${DATA.texts.names_load} `), DATA.texts.names_word, input);
  const told = el("span", { role: "status", id: "names-told" });
  const forget = el("button", { type: "button", id: "names-forget", onclick: () => { setNames(NO_STUDENTS); say(""); } }, DATA.texts.names_forget);
  const save = el("button", { type: "button", id: "names-save", onclick: savePage }, DATA.texts.names_save);
  const warning = el("span", { id: "names-warning" }, DATA.texts.names_warning);
  const held = el("div", { id: "names-held", hidden: true }, told, warning, save, forget);
  slot.append(choose);
  document.getElementById("top").append(held);

  function say(text) {
    told.textContent = text;
    held.hidden = text === "";
    held.classList.toggle("refused", text !== "" && !hasNames());
    [forget, save, warning].forEach((one) => { one.hidden = !hasNames(); });
  }

  async function read(file) {
    if (!file) return;
    const roster = withFile(NO_STUDENTS, decodedText(await file.arrayBuffer()));
    if (!roster?.names.size) { say(DATA.texts.names_refused); return; }
    const known = [...roster.names.keys()].filter((code) => GOLFERS().byCode.has(code)).length;
    if (!known) { say(DATA.texts.names_none); return; }
    setNames(roster);
    say(fill("names_loaded", { known: numberText(known), all: numberText(GOLFERS().list.length) }));
  }

  input.addEventListener("change", () => { read(input.files[0]); input.value = ""; });
  // Anywhere on the page: a file that misses a small target would open in place of the page.
  addEventListener("dragover", (event) => event.preventDefault());
  addEventListener("drop", (event) => { event.preventDefault(); read(event.dataTransfer.files[0]); });
})();
