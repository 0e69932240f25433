"use strict";
/* The list of sectors, its filters and the legend. */
(() => {
  const { data, sectors, count, t, many, known, date, el, byId, colouring, state, on, changed, shown,
    applyFilters, swatch, swatchPicture, bandWord, number, colourBy, wordOf } = saltreach;

  const list = byId("sector-list");
  /* A page with tiles has too many sectors for one list: it is turned by pages. */
  const ROWS = data.tiled ? 200 : Infinity;
  const items = [];
  const itemOf = (i) => (items[i] ??= made(i));
  function made(i) {
    const badge = el("span", { class: "swatch" });
    const band = el("span", { class: "unseen" });
    const metal = el("div", { class: "metal" });
    const due = el("div", { class: sectors.overdue[i] === "yes" ? "due late" : "due" });
    const name = el("div", { class: "name" });
    const sub = el("div", { class: "sub" });
    const button = el("button", { type: "button", class: "item", "data-sector": String(i) },
      badge, el("span", {}, band, name, sub), el("span", { class: "right" }, metal, due));
    const item = { button, entry: el("li", {}, button), badge, band, name, sub, metal, due };
    write(item, i);
    paint(item, i);
    return item;
  }
  const rowOf = (event) => event.target.closest?.(".item");
  list.addEventListener("click", (event) => {
    const row = rowOf(event);
    if (row) saltreach.select(Number(row.dataset.sector), { from: "list" });
  });
  for (const name of ["mouseover", "focusin"]) {
    list.addEventListener(name, (event) => near(Number(rowOf(event)?.dataset.sector ?? -1)));
  }
  for (const name of ["mouseleave", "focusout"]) list.addEventListener(name, () => near(-1));

  function write(item, i) {
    item.name.textContent = sectors.sector[i] ?? t("not_known");
    item.sub.textContent = sectors.crag[i] ?? t("not_known");
    const metal = sectors.material_recommended[i];
    item.metal.textContent = known(metal) ? wordOf("material", metal) : t("not_known");
    item.due.textContent = sectors.overdue[i] === "yes" ? t("overdue") : date(sectors.next_inspection_on[i]);
  }
  function paint(item, i) {
    const style = colouring.ofSector(i);
    item.badge.style.backgroundImage = swatchPicture(style);
    item.band.textContent = `${bandWord(style)}: `;
  }
  function writeWords() {
    items.forEach(write);
    nothing.textContent = t("none_shown");
    for (const option of byId("material").options) if (option.value) option.textContent = wordOf("material", option.value);
    const summary = [many("sectors", count), many("anchors", saltreach.anchors.count)].join(", ");
    const late = sectors.overdue.filter((value) => value === "yes").length;
    byId("summary").replaceChildren(summary);
    if (late) byId("summary").append(", ", el("span", { class: "alarm", text: t("overdue_count", { n: number(late) }) }));
  }
  function paintBadges() {
    items.forEach(paint);
  }

  function near(i) {
    if (state.near === i) return;
    items[state.near]?.button.classList.remove("is-near");
    state.near = i;
    items[i]?.button.classList.add("is-near");
    saltreach.redraw();
  }

  const named = (i) => `${sectors.crag[i] ?? "\uffff"}\u0000${sectors.sector[i] ?? "\uffff"}`;
  function comparison() {
    const collator = new Intl.Collator(saltreach.texts.locale, { numeric: true });
    const rank = new Map(colouring.styles.map((style, k) => [style, k]));
    const step = (i) => rank.get(colouring.ofSector(i)) ?? -1;
    return {
      /* Sectors come sorted by risk today; by anything else they are sorted here, unknown last. */
      risk: (a, b) => (colouring.column === "risk_band" && !state.years ? 0 : step(b) - step(a)),
      due: (a, b) => {
        const [x, y] = [sectors.next_inspection_on[a] ?? "9999", sectors.next_inspection_on[b] ?? "9999"];
        return x < y ? -1 : x > y ? 1 : 0;
      },
      name: data.tiled ? (a, b) => sectors.name_rank[a] - sectors.name_rank[b] : (a, b) => collator.compare(named(a), named(b)),
    }[state.order];
  }
  const nothing = el("li", { class: "empty", hidden: true });
  let sequence = [];
  let rows = [];    /* all that pass */
  let page = [];    /* those that the list shows */
  let first = 0;
  const back = el("button", { type: "button", class: "quiet", onclick: () => turn(-1) });
  const onward = el("button", { type: "button", class: "quiet", onclick: () => turn(1) });
  const place = el("span", { role: "status" });
  const pager = el("li", { class: "pager", hidden: true }, back, place, onward);
  function turn(by) {
    first += by * ROWS;
    refresh();
    list.querySelector(".item")?.focus();
    list.scrollTop = 0;
  }
  function arrange() {
    const compare = comparison();
    sequence = Array.from({ length: count }, (_, i) => i).sort((a, b) => compare(a, b) || a - b);
  }

  function listed(i) {
    if (!shown[i]) return false;
    if (!state.inView) return true;
    if (data.tiled) return saltreach.onScreen(i);
    const bounds = saltreach.boundsOf([i]);
    return bounds !== null && saltreach.map.getBounds().intersects(bounds);
  }
  function refresh() {
    rows = sequence.filter(listed);
    first = Math.max(0, Math.min(first, Math.floor((rows.length - 1) / ROWS) * ROWS || 0));
    const wanted = rows.slice(first, first + ROWS);
    /* Rows that do not fit are taken out: hiding thousands of them costs the browser seconds. */
    if (wanted.length !== page.length || wanted.some((i, k) => i !== page[k])) {
      const focused = list.contains(document.activeElement) ? document.activeElement : null;
      page = wanted;
      list.replaceChildren(...page.map((i) => itemOf(i).entry), nothing, pager);
      if (focused?.isConnected) focused.focus({ preventScroll: true });
    }
    nothing.hidden = rows.length > 0;
    pager.hidden = rows.length <= ROWS;
    if (!pager.hidden) {
      place.textContent = t("rows_shown", { from: number(first + 1), to: number(first + page.length), all: number(rows.length) });
      back.textContent = t("rows_back");
      onward.textContent = t("rows_on");
      back.disabled = first === 0;
      onward.disabled = first + ROWS >= rows.length;
    }
    const text = t("shown", { n: number(rows.length), all: number(count) });
    if (byId("count").textContent !== text) byId("count").textContent = text;
  }

  /* Bands: no chip pressed means all of them. Steps that no sector has are left out of a scale
     of metals or months, and kept in the five risk bands. */
  function counted() {
    const n = new Map();
    for (let i = 0; i < count; i += 1) n.set(colouring.ofSector(i), (n.get(colouring.ofSector(i)) ?? 0) + 1);
    const all = [...colouring.styles].reverse().filter((style) => n.has(style)
      || state.bands.has(style.word) || colouring.styles.length <= 5);
    if (n.has(colouring.unknown) || state.bands.has(colouring.unknown.word)) all.push(colouring.unknown);
    return all.map((style) => [style, n.get(style) ?? 0]);
  }
  function buildChips() {
    const steps = counted();
    const focused = document.activeElement?.dataset?.band;
    byId("band-chips").replaceChildren(...steps.map(([style, n]) => el("button", {
      type: "button", class: "chip", "data-band": style.word, "aria-pressed": String(state.bands.has(style.word)),
      onclick: (event) => {
        if (!state.bands.delete(style.word)) state.bands.add(style.word);
        event.currentTarget.setAttribute("aria-pressed", String(state.bands.has(style.word)));
        applyFilters();
      },
    }, swatch(style, 22), document.createTextNode(bandWord(style)), el("b", { text: number(n) }))));
    if (focused) byId("band-chips").querySelector(`[data-band="${CSS.escape(focused)}"]`)?.focus();
    /* What is true of every step is said once, below them. */
    const shared = colouring.inFuture ? `${t("years_note")} ${t("years_anchors")}` : colouring.note();
    /* Closed, the legend is one line of swatches with their names; open, it says what they mean. */
    byId("legend-strip").replaceChildren(...steps.flatMap(([style]) => [document.createTextNode(" "),
      el("span", { class: "key" }, swatch(style, 20), el("span", { text: bandWord(style) }))]));
    byId("legend-rows").replaceChildren(...steps.map(([style]) => {
      const meaning = colouring.meaning(style);
      return el("li", { "data-band": style.word }, swatch(style, 28), el("div", {}, el("strong", { text: bandWord(style) }),
        ...(meaning === shared ? [] : [document.createTextNode(" "), el("span", { text: meaning })])));
    }));
    byId("legend-all").hidden = !shared;
    byId("legend-all").textContent = shared;
    saltreach.steps = steps;
    changed("counted");
  }

  const present = new Set(sectors.material_recommended.filter(known));
  const inOrder = [...data.materials.filter((name) => present.delete(name)), ...[...present].sort()];
  byId("material").append(...inOrder.map((name) => el("option", { value: name, text: name })));
  const byName = data.tiled ? Array.from({ length: count }, (_, i) => i).sort((a, b) => sectors.name_rank[a] - sectors.name_rank[b]) : [];
  const crags = data.tiled ? [...new Set(byName.map((i) => sectors.crag[i]).filter(known))]
    : [...new Set(sectors.crag.filter(known))].sort(new Intl.Collator(saltreach.texts.locale, { numeric: true }).compare);
  /* Some at a time: many thousands at once would hold up the first drawing. */
  (function offer(from) {
    const upTo = data.tiled ? from + 1000 : crags.length;
    byId("crag").append(...crags.slice(from, upTo).map((name) => el("option", { value: name, text: name })));
    if (upTo < crags.length) setTimeout(offer, 0, upTo);
  })(0);

  const bind = (id, key, event = "change", property = "value") => byId(id).addEventListener(event, (e) => {
    state[key] = e.currentTarget[property];
    applyFilters();
  });
  bind("find", "query", "input");
  bind("material", "material");
  bind("crag", "crag");
  bind("place", "place");
  bind("due-before", "dueBefore", "input");
  bind("overdue-only", "overdue", "change", "checked");
  bind("in-view", "inView", "change", "checked");
  byId("order").addEventListener("change", (e) => { state.order = e.currentTarget.value; first = 0; arrange(); refresh(); });
  byId("clear").addEventListener("click", () => {
    Object.assign(state, { query: "", material: "", crag: "", place: "", dueBefore: "", overdue: false, inView: false });
    state.bands.clear();
    for (const id of ["find", "material", "crag", "place", "due-before"]) byId(id).value = "";
    for (const id of ["in-view", "overdue-only"]) byId(id).checked = false;
    buildChips();
    applyFilters();
  });

  for (const choice of document.querySelectorAll("input[name=colour-by]")) {
    choice.checked = choice.value === colouring.column;
    choice.closest("label").hidden = !choice.checked && !sectors[choice.value].some(known);
    choice.addEventListener("change", () => colourBy(choice.value));
  }

  const wide = window.matchMedia("(min-width: 761px)").matches;
  byId("filters").open = wide;
  /* The map comes first: the legend opens by itself only where there is height to spare. */
  byId("legend").open = wide && window.matchMedia("(min-height: 880px)").matches;
  writeWords();
  paintBadges();
  buildChips();
  arrange();

  on("filters", () => { first = 0; refresh(); });
  on("drawn", () => { if (state.inView) refresh(); });
  on("colouring", () => { paintBadges(); buildChips(); arrange(); });
  on("language", () => { writeWords(); paintBadges(); buildChips(); arrange(); refresh(); });
  let current = null;
  on("select", (i) => {
    current?.removeAttribute("aria-current");
    show(i);
    current = i >= 0 ? itemOf(i).button : null;
    current?.setAttribute("aria-current", "true");
    if (i >= 0 && items[i].entry.isConnected) items[i].entry.scrollIntoView({ block: "nearest" });
  });

  /* Turns the list to the page that holds a sector. */
  function show(i) {
    const at = rows.indexOf(i);
    if (at < 0 || page.includes(i)) return;
    first = Math.floor(at / ROWS) * ROWS;
    refresh();
  }
  saltreach.near = near;
  saltreach.focusItem = (i) => items[i]?.button.focus({ preventScroll: false });
  /* The next (1) or previous (-1) sector of the list as it stands; -1 at its ends. */
  saltreach.beside = (i, step) => {
    return rows[rows.indexOf(i) + step] ?? -1;
  };
  saltreach.refreshList = refresh;
})();
