"use strict";
/* The list of sectors, its filters and the legend. */
(() => {
  const { data, sectors, count, t, many, known, date, el, byId, colouring, state, on, changed, shown,
    applyFilters, swatch, bandWord, number, colourBy } = saltreach;

  const list = byId("sector-list");
  const items = sectors.crag.map((crag, i) => {
    const late = sectors.overdue[i] === "yes";
    const badge = el("span");
    const band = el("span", { class: "unseen" });
    const button = el("button", {
      type: "button", class: "item", "data-sector": String(i),
      onclick: () => saltreach.select(i, { from: "list" }),
      onmouseenter: () => near(i), onmouseleave: () => near(-1),
      onfocus: () => near(i), onblur: () => near(-1),
    },
    badge,
    el("span", {},
      band,
      el("div", { class: "name", text: sectors.sector[i] ?? t("not_known") }),
      el("div", { class: "sub", text: crag ?? t("not_known") })),
    el("span", { class: "right" },
      el("div", { class: "metal", text: sectors.material_recommended[i] ?? t("not_known") }),
      el("div", { class: late ? "due late" : "due",
        text: late ? t("overdue") : date(sectors.next_inspection_on[i]) })));
    const entry = el("li", {}, button);
    return { button, entry, badge, band };
  });
  function paintBadges() {
    items.forEach((item, i) => {
      const style = colouring.ofSector(i);
      item.badge.replaceChildren(swatch(style));
      item.band.textContent = `${bandWord(style)}: `;
    });
  }

  function near(i) {
    if (state.near === i) return;
    if (state.near >= 0) items[state.near].button.classList.remove("is-near");
    state.near = i;
    if (i >= 0) items[i].button.classList.add("is-near");
    saltreach.redraw();
  }

  const collator = new Intl.Collator(saltreach.texts.locale, { numeric: true });
  const named = (i) => `${sectors.crag[i] ?? "\uffff"}\u0000${sectors.sector[i] ?? "\uffff"}`;
  const orders = {
    /* Sectors come sorted by risk; by rock they are sorted here, unknown last. */
    risk: (a, b) => (colouring.column === "risk_band" ? 0
      : colouring.styles.indexOf(colouring.ofSector(b)) - colouring.styles.indexOf(colouring.ofSector(a))),
    due: (a, b) => {
      const [x, y] = [sectors.next_inspection_on[a] ?? "9999", sectors.next_inspection_on[b] ?? "9999"];
      return x < y ? -1 : x > y ? 1 : 0;
    },
    name: (a, b) => collator.compare(named(a), named(b)),
  };
  let sequence = Array.from({ length: count }, (_, i) => i);
  function arrange() {
    sequence = Array.from({ length: count }, (_, i) => i).sort((a, b) => orders[state.order](a, b) || a - b);
    list.replaceChildren(...sequence.map((i) => items[i].entry), nothing);
  }
  const nothing = el("li", { class: "empty", text: t("none_shown"), hidden: true });

  function listed(i) {
    if (!shown[i]) return false;
    if (!state.inView) return true;
    const bounds = saltreach.boundsOf([i]);
    return bounds !== null && saltreach.map.getBounds().intersects(bounds);
  }
  function refresh() {
    let n = 0;
    items.forEach((item, i) => {
      const visible = listed(i);
      n += visible;
      if (item.entry.hidden === visible) item.entry.hidden = !visible;
    });
    nothing.hidden = n > 0;
    const text = t("shown", { n: number(n), all: number(count) });
    if (byId("count").textContent !== text) byId("count").textContent = text;
  }

  /* Bands: no chip pressed means all of them. */
  const styles = () => [...colouring.styles].reverse().concat(
    sectors[colouring.column].some((band) => !known(band)) ? [colouring.unknown] : []);
  function buildChips() {
    byId("band-chips").replaceChildren(...styles().map((style) => {
      const n = sectors.crag.reduce((sum, _, i) => sum + (colouring.ofSector(i) === style), 0);
      return el("button", {
        type: "button", class: "chip", "data-band": style.word, "aria-pressed": String(state.bands.has(style.word)),
        onclick: (event) => {
          if (!state.bands.delete(style.word)) state.bands.add(style.word);
          event.currentTarget.setAttribute("aria-pressed", String(state.bands.has(style.word)));
          applyFilters();
        },
      }, swatch(style, 22), document.createTextNode(bandWord(style)), el("b", { text: String(n) }));
    }));
    byId("legend-rows").replaceChildren(...styles().map((style) => el("li", { "data-band": style.word }, swatch(style),
      el("div", {}, el("strong", { text: bandWord(style) }), document.createTextNode(" "),
        el("span", { text: colouring.meaning(style) })))));
  }

  const present = new Set(sectors.material_recommended.filter(known));
  const inOrder = [...data.materials.filter((name) => present.delete(name)), ...[...present].sort()];
  byId("material").append(...inOrder.map((name) => el("option", { value: name, text: name })));

  const bind = (id, key, event = "change", property = "value") => byId(id).addEventListener(event, (e) => {
    state[key] = e.currentTarget[property];
    applyFilters();
  });
  bind("find", "query", "input");
  bind("material", "material");
  bind("place", "place");
  bind("due-before", "dueBefore", "input");
  bind("in-view", "inView", "change", "checked");
  byId("order").addEventListener("change", (e) => { state.order = e.currentTarget.value; arrange(); });
  byId("clear").addEventListener("click", () => {
    Object.assign(state, { query: "", material: "", place: "", dueBefore: "", inView: false });
    state.bands.clear();
    for (const id of ["find", "material", "place", "due-before"]) byId(id).value = "";
    byId("in-view").checked = false;
    buildChips();
    applyFilters();
  });

  for (const choice of document.querySelectorAll("input[name=colour-by]")) {
    choice.checked = choice.value === colouring.column;
    choice.addEventListener("change", () => colourBy(choice.value));
  }
  byId("colour-by").hidden = !sectors.rock_band.some(known);

  const summary = byId("summary");
  const late = sectors.overdue.filter((value) => value === "yes").length;
  summary.append([many("sectors", count), many("anchors", data.anchors.lon.length)].join(", "));
  if (late) summary.append(", ", el("span", { class: "alarm", text: t("overdue_count", { n: late }) }));

  const wide = window.matchMedia("(min-width: 761px)").matches;
  byId("filters").open = wide;
  byId("legend").open = wide;
  paintBadges();
  buildChips();
  arrange();

  on("filters", refresh);
  on("drawn", () => { if (state.inView) refresh(); });
  on("colouring", () => { paintBadges(); buildChips(); arrange(); refresh(); });
  on("select", (i) => {
    items.forEach((item, k) => (k === i ? item.button.setAttribute("aria-current", "true") : item.button.removeAttribute("aria-current")));
    if (i >= 0) items[i].entry.scrollIntoView({ block: "nearest" });
  });

  saltreach.near = near;
  saltreach.focusItem = (i) => items[i]?.button.focus({ preventScroll: false });
  /* The next (1) or previous (-1) sector of the list as it stands; -1 at its ends. */
  saltreach.beside = (i, step) => {
    const visible = sequence.filter((k) => listed(k));
    return visible[visible.indexOf(i) + step] ?? -1;
  };
  saltreach.refreshList = refresh;
})();
