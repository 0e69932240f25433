"use strict";
/* Trips of a plan by month: a bar a month; a chosen month narrows list and map to its sectors. */
(() => {
  const { data, t, many, number, el, byId, on, filters, applyFilters, date } = saltreach;
  const months = data.trips;
  if (!months.length) return;
  const most = Math.max(...months.map((month) => month.trips));
  let chosen = -1;
  const title = el("span", { class: "trips-title" });
  const said = el("span", { class: "trips-said", role: "status" });
  const bars = months.map((month, k) => el("button", {
    type: "button", class: "trips-bar", "aria-pressed": "false",
    onclick: () => choose(chosen === k ? -1 : k),
  }));
  /* Through the object: the page's policy blocks style attributes. */
  bars.forEach((bar, k) => bar.style.setProperty("--part", String(months[k].trips / most)));
  const row = el("div", { class: "trips-bars", role: "group" }, ...bars);
  const visited = months.map((month) => new Set(month.sectors));
  filters.push((i) => chosen < 0 || visited[chosen].has(i));

  const words = (month) => `${date(month.month)}: ${many("trips", month.trips)}, ${many("visits", month.visits)}`;
  function write() {
    title.textContent = t("trips_title");
    row.setAttribute("aria-label", t("trips_title"));
    bars.forEach((bar, k) => {
      bar.setAttribute("aria-label", words(months[k]));
      bar.setAttribute("aria-pressed", String(k === chosen));
      bar.title = words(months[k]);
    });
    const all = months.reduce((sum, month) => sum + month.trips, 0);
    said.textContent = chosen < 0
      ? t("trips_all", { n: number(all), from: date(months[0].month), to: date(months.at(-1).month) })
      : words(months[chosen]);
  }
  function choose(k) {
    chosen = k;
    write();
    applyFilters();
  }
  byId("clear").addEventListener("click", () => choose(-1));
  byId("panels").append(el("section", { class: "trips" }, el("p", {}, title, " ", said), row));
  on("language", write);
  write();
})();
