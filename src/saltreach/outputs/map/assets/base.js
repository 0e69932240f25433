"use strict";
/* What every part of the page shares: the data, the words, the state and small helpers.
   Data reaches the page only as JSON and only as textContent, never as markup. */
window.saltreach = (() => {
  const read = (id) => JSON.parse(document.getElementById(id).textContent);
  const data = read("map-data");
  const catalogues = read("map-texts");
  const sectors = data.tiled ? spread(data.sectors) : data.sectors;
  const count = sectors.crag.length;
  const byId = (id) => document.getElementById(id);

  /* The few columns that a page with tiles has of every sector; the others come with its tile. */
  function spread(table) {
    const unit = (row) => row?.map((v) => v / 1e6) ?? null;
    const columns = Object.entries(table).map(([name, column]) => [name, column.codes
      ? column.codes.map((code) => (code < 0 ? null : column.values[code])) : column]);
    return { ...Object.fromEntries(columns), label: table.label.map((row) => unit(row) ?? [null, null]),
      box: table.box.map(unit), outline: new Array(table.tile.length) };
  }

  const listeners = {};
  const on = (name, run) => (listeners[name] ??= []).push(run);
  const changed = (name, ...values) => (listeners[name] ?? []).forEach((run) => run(...values));

  /* Words and numbers in the language of the page. */
  let texts = catalogues[data.language];
  let formats = {};
  function format(name, make) { return (formats[name] ??= make(texts.locale)); }
  const t = (key, values = {}) =>
    Object.entries(values).reduce((text, [k, v]) => text.split(`{${k}}`).join(String(v)), texts[key] ?? key);
  const many = (key, n) => t(`${key}_${n === 1 ? "one" : "many"}`, { n: number(n) });
  /* A word of the data (a metal, a band, a kind of rock) in the page's language, or as it is. */
  const wordOf = (kind, value) => texts[`${kind}_${value}`] ?? value;

  const known = (value) => value !== null && value !== undefined && value !== "";
  const number = (value, digits = 3) => (Math.abs(value) >= 1000
    ? format("whole", (locale) => new Intl.NumberFormat(locale, { maximumFractionDigits: 0 }))
    : format(`digits${digits}`, (locale) => new Intl.NumberFormat(locale, { maximumSignificantDigits: digits }))
  ).format(value).replace("-", "−");
  /* Dates may stop at the year or the month. */
  function date(iso) {
    if (!known(iso)) return t("not_known");
    const time = Date.parse(iso.length === 7 ? `${iso}-01` : iso);
    if (Number.isNaN(time) || iso.length === 4) return iso;
    const parts = { month: "short", year: "numeric", timeZone: "UTC" };
    return (iso.length === 7 ? format("month", (locale) => new Intl.DateTimeFormat(locale, parts))
      : format("day", (locale) => new Intl.DateTimeFormat(locale, { day: "numeric", ...parts }))).format(time);
  }
  /* A probability in words a reader can picture. */
  function oneIn(p, key = "one_in") {
    if (!known(p)) return t("not_known");
    if (p > 0.5) return t("one_in_more");
    if (p < 1e-6) return t("one_in_less", { n: number(1e6) });
    return t(key, { n: number(Number((1 / p).toPrecision(2))) });
  }
  function setLanguage(code) {
    texts = catalogues[code] ?? texts;
    formats = {};
    document.documentElement.lang = texts.lang;
    for (const node of document.querySelectorAll("[data-t]")) node.textContent = t(node.dataset.t);
    for (const node of document.querySelectorAll("[data-t-label]")) node.setAttribute("aria-label", t(node.dataset.tLabel));
    for (const node of document.querySelectorAll("[data-t-hint]")) node.setAttribute("placeholder", t(node.dataset.tHint));
    changed("language");
  }

  /* Makes an element; `text` and children are text nodes or elements. */
  function el(tag, options = {}, ...children) {
    const node = document.createElement(tag);
    for (const [key, value] of Object.entries(options)) {
      if (key === "text") node.textContent = value;
      else if (key === "class") node.className = value;
      else if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
      else if (value !== false && value !== null) node.setAttribute(key, value === true ? "" : value);
    }
    node.append(...children.filter((child) => child !== null));
    return node;
  }
  /* Colours of the style sheet, asked for once: asking makes the browser lay out the list first. */
  let colours = {};
  const colour = (name) => (colours[name] ??= getComputedStyle(document.documentElement).getPropertyValue(name).trim());
  for (const media of ["(prefers-color-scheme: dark)", "print"]) {
    window.matchMedia(media).addEventListener("change", () => { colours = {}; });
  }

  const state = {
    query: "", bands: new Set(), material: "", crag: "", place: "", dueBefore: "", overdue: false,
    inView: false, order: "risk", years: 0, selected: -1, near: -1,
  };

  /* Sectors that pass the filters, but for the part of the map in view. A further panel may add
     a test of its own to `filters`: a function of the sector's index. */
  const folded = (text) => (text ?? "").normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
  let haystack = null; /* made when something is looked for */
  const holds = (i) => {
    haystack ??= sectors.crag.map((crag, k) => folded(`${crag ?? ""} ${sectors.sector[k] ?? ""}`));
    return words.every((word) => haystack[i].includes(word));
  };
  let words = [];
  const filters = [
    (i) => !state.bands.size || state.bands.has(saltreach.colouring.ofSector(i).word),
    (i) => !state.material || sectors.material_recommended[i] === state.material,
    (i) => !state.crag || sectors.crag[i] === state.crag,
    (i) => !state.place || sectors.sea_cliff[i] === state.place,
    (i) => !state.overdue || sectors.overdue[i] === "yes",
    (i) => !state.dueBefore || (known(sectors.next_inspection_on[i]) && sectors.next_inspection_on[i] < state.dueBefore),
    (i) => !words.length || holds(i),
  ];
  const passes = (i) => filters.every((test) => test(i));
  const shown = new Uint8Array(count).fill(1);
  function applyFilters() {
    words = folded(state.query).split(/\s+/).filter(Boolean);
    for (let i = 0; i < count; i += 1) shown[i] = passes(i) ? 1 : 0;
    changed("filters");
  }

  return { data, sectors, count, get texts() { return texts; }, catalogues, setLanguage, t, many, wordOf,
    known, number, date, oneIn, el, byId, colour, state, on, changed, shown, filters, passes, applyFilters };
})();
