"use strict";
/* The trip: whom to tell, the way in, what to bring, and every anchor with how it stands. */
(() => {
  const { data, spots, t, counted, el, button, store, rules, timeOf, now } = phone;
  const SIGNS = { open: "○", begun: "◐", done: "●", missed: "⊘" };
  const { trip } = data;

  const lines = (texts) => (texts?.length ? el("ul", { class: "lines" }, texts.map((text) => el("li", { text }))) : null);
  function small(parts) {
    const said = parts.filter(Boolean).join(", ");
    return said ? el("p", { class: "small", text: said }) : null;
  }
  function brought() {
    const rows = (trip.bring ?? []).map(({ thing, count, unit, detail }) => el("li", {},
      el("b", { text: [count ?? "", unit ?? ""].join(" ").trim() }), ` ${thing}${detail ? `, ${detail}` : ""}`));
    return rows.length ? el("details", { id: "bring" }, el("summary", { text: t("bring") }), el("ul", { class: "lines" }, rows)) : null;
  }
  function curing(records) {
    for (const record of records) {
      if (record.values.done === data.not_reached) continue;
      const times = rules.timesOf(record.values, record.done_on);
      if (times.ready && !times.loaded) return now() < times.ready ? t("cures_until", { time: timeOf(times.ready) }) : t("cured_to_load");
    }
    return "";
  }
  function row(spot) {
    const records = store.of(spot);
    const stage = rules.stageOf(records);
    const doubts = records.reduce((sum, record) => sum + rules.doubtsOf(record.values, spot, record.done_on).length, 0);
    const photos = records.reduce((sum, record) => sum + store.photosOf(record.record_id).length, 0);
    const more = [stage === "begun" ? t("say_done_row") : "", curing(records), doubts ? counted("doubts", doubts) : "", photos ? counted("photos", photos) : ""].filter(Boolean).join(", ");
    return el("li", {}, el("button", { type: "button", class: `row-button ${stage}`, "data-at": spot.at, on: { click: () => phone.show("anchor", spot.at) } },
      el("span", { class: "sign", "aria-hidden": "true", text: SIGNS[stage] }),
      el("span", { class: "what" },
        el("span", { class: "id", text: spot.anchor_id }), spot.route ? ` ${spot.route}` : "",
        el("span", { class: "small", text: spot.form === "place" ? t("to_place") : t("to_look") })),
      el("span", { class: "stage" }, t(`stage_${stage}`), more ? el("span", { class: "small", text: more }) : null)));
  }
  function stop(one) {
    return el("section", { class: "stop" },
      el("h3", { text: `${one.crag}: ${one.sector}` }),
      small([one.part, [one.begins, one.ends].filter(Boolean).join(" – "), one.risk_band ? t("risk", { band: one.risk_band }) : ""]),
      one.closed ? el("p", { class: "alarm", text: t("closed") }) : null,
      one.access?.length || one.tell?.length ? el("details", {}, el("summary", { text: t("access") }), lines([...one.access ?? [], ...one.tell ?? []])) : null,
      el("ol", { class: "rows" }, spots.filter((spot) => spot.stop === one).map(row)));
  }
  function open() {
    const stages = spots.map((spot) => rules.stageOf(store.of(spot)));
    const count = (stage) => stages.filter((one) => one === stage).length;
    const left = stages.findIndex((stage) => stage === "open" || stage === "begun");
    const clock = rules.clockDoubt();
    phone.view(
      el("h2", { id: "heading", tabindex: "-1", text: t("all_anchors") }),
      clock ? el("p", { class: "alarm", id: "clock", text: clock }) : null,
      small([trip.date, trip.team, [trip.leaves, trip.back].filter(Boolean).join(" – ")]),
      trip.left_out?.length ? el("p", { class: "alarm", text: trip.left_out.join(" ") }) : null,
      el("p", { id: "progress", text: Object.keys(SIGNS).filter(count).map((stage) => `${count(stage)} ${t(`stage_${stage}`)}`).join(", ") }),
      left >= 0 ? button(t("go_on", { anchor: spots[left].anchor_id }), () => phone.show("anchor", left), { class: "press wide strong" }) : null,
      brought(), trip.notes?.length ? el("details", {}, el("summary", { text: t("notes") }), lines(trip.notes)) : null, trip.stops.map(stop));
  }
  phone.on("elsewhere", () => { if (phone.state.view === "list") open(); });
  phone.list = { open };
})();
