"use strict";
/* One anchor: what is known, what is to be done, what was done, the form, the cure running down. */
(() => {
  const { data, spots, t, word, el, button, twoTaps, say, warn, store, rules, timeOf, dayOf, now, pad } = phone;
  let shown = null; /* { slot, spot, form, draw } of the page that is open */
  /* Putting a record aside takes a moment: who has gone on in the meantime is not called back. */
  const stands = (slot) => phone.state.view === "anchor" && shown?.slot === slot;

  const facts = (known) => el("dl", { class: "facts" }, known.map(({ label, value }) => [el("dt", { text: label }), el("dd", { text: value ?? t("not_known") })]));
  const sentences = (lines) => (lines?.length ? el("ul", { class: "lines" }, lines.map((line) => el("li", { text: line }))) : null);
  function folded(title, ...inside) {
    const kept = inside.filter(Boolean);
    return kept.length ? el("details", {}, el("summary", { text: title }), kept) : null;
  }
  const PARTS = ["kind", "metal", "grade", "diameter_mm", "length_mm", "legs", "hole_diameter_mm", "hole_depth_mm", "adhesive_ml", "torque_nm"];
  function planOf(piece) {
    const known = PARTS.filter((name) => ![undefined, null, "", 0].includes(piece?.[name]));
    return known.length ? facts(known.map((name) => ({ label: t(`piece_${name}`), value: typeof piece[name] === "number" ? Number(piece[name].toFixed(1)) : word(piece[name]) }))) : null;
  }
  const spacingOf = (spacing) => ["crack", "edge", "hole"].filter((name) => typeof spacing?.[`${name}_mm`] === "number")
    .map((name) => t("keep_from", { what: t(`from_${name}`), mm: spacing[`${name}_mm`] }));

  function doneButtons(slot, spot) {
    const made = data.done.map((choice) => button(word(choice), async () => {
      const held = store.record(slot)?.values ?? {};
      const next = held.done === choice ? null : choice;
      if (data.placing.includes(next) && rules.hiddenBy({ ...held, done: next }, spot).length && !rules.places(held, {})) {
        await phone.aside(store.record(slot), {}, { done: held.done ?? data.looked_at }); /* a look at the old one */
        say(t("look_apart"));
      }
      store.change(slot, { done: next });
      if (stands(slot)) {
        const stays = phone.byId("field-done")?.contains(document.activeElement);
        draw(); /* placing and looking have different fields */
        if (stays) phone.byId("field-done").querySelectorAll("button")[data.done.indexOf(choice)].focus();
      }
      phone.emit("touched", slot);
    }, { class: "press", "aria-pressed": String(store.record(slot)?.values.done === choice) }));
    return el("fieldset", { class: "field done", id: "field-done" }, el("legend", { text: t("what_was_done") }),
      el("div", { class: "presses three" }, made), el("p", { class: "doubt", id: "doubt-done", hidden: true }));
  }

  /* A look that found nothing: one tap, and it says so because somebody tapped it. */
  function soundButton(slot) {
    return button(t("sound_one_tap"), () => {
      store.change(slot, { done: data.looked_at, condition: 0 });
      draw();
      say(t("sound_said"));
      phone.emit("touched", slot);
    }, { class: "press wide strong", id: "sound" });
  }

  /* Draws anew; what was unfolded stays so. */
  function draw() {
    const unfolded = [...document.querySelectorAll("#form details[open]")].map((one) => one.id);
    const { slot, spot } = shown;
    const record = store.record(slot);
    const values = record?.values ?? {};
    const placing = rules.places(values, spot);
    const form = shown.form = phone.form.open(slot, spot);
    const others = store.of(spot).filter((one) => one.slot !== slot);
    const top = el("div", { class: "anchor-top" },
      el("p", { class: "small", text: t("place_in_trip", { at: spot.at + 1, of: spots.length, crag: spot.stop.crag, sector: spot.stop.sector }) }),
      el("h2", { id: "heading", tabindex: "-1" }, el("span", { class: "id", text: spot.anchor_id }), el("span", { class: "route", text: [spot.route, spot.position].filter(Boolean).join(", ") })),
      spot.stop.closed ? el("p", { class: "alarm", text: t("closed") }) : null,
      el("p", { class: "todo", text: spot.to_do }),
      spot.warnings?.length ? el("details", { class: "warnings", id: "warnings" }, el("summary", { text: phone.counted("warnings", spot.warnings.length) }), sentences(spot.warnings)) : null,
      phone.place.line(spot));
    const told = placing ? [planOf(spot.piece), spot.piece?.length_assumed ? el("p", { class: "small", text: t("length_assumed") }) : null,
      sentences([...spacingOf(spot.spacing), ...(data.trip.proof_load_kn ? [t("test_with", { load: data.trip.proof_load_kn })] : [])])].filter(Boolean) : [];
    phone.view(
      top,
      told.length ? el("section", { class: "plan" }, el("h3", { text: t("planned_piece") }), told) : null,
      folded(t("known"), spot.known?.length ? facts(spot.known) : null, sentences(spot.reasons)),
      others.map((one) => el("p", { class: "small", text: t("another_record", { what: word(one.values.done ?? data.looked_at), who: one.who ?? "", day: one.done_on ?? "" }) })),
      el("form", { id: "form", autocomplete: "off", on: { submit: (event) => event.preventDefault() } },
        placing ? null : soundButton(slot),
        doneButtons(slot, spot),
        values.done === data.not_reached ? [el("p", { text: t("not_reached_said") }), form.groups("look", data.kept_unreached)] : form.groups(placing ? "place" : "look"),
        el("section", { class: "group about" }, el("h3", { text: t("group_record") }), el("div", { id: "about" }))));
    for (const id of shown.drawn ? unfolded : []) phone.byId(id)?.setAttribute("open", "");
    shown.drawn = true;
    form.start();
    about();
    tick();
  }
  function about() {
    const { slot, spot } = shown;
    const record = store.record(slot);
    const box = phone.byId("about");
    if (!box || !record) { box?.replaceChildren(el("p", { class: "small", text: t("nothing_yet") })); return; }
    if (box.dataset.record === record.record_id) return;
    const anew = async (said, how) => {
      await phone.aside(store.record(slot), how);
      if (stands(slot)) open(spot.at);
      say(t(said));
    };
    box.dataset.record = record.record_id;
    const day = el("input", { type: "date", id: "input-done_on" });
    day.value = record.done_on;
    day.addEventListener("change", () => {
      if (!day.value) { day.value = store.record(slot).done_on; return; }
      store.change(slot, {}, { done_on: day.value });
      shown.form.judge();
      tick();
    });
    box.replaceChildren(
      el("div", { class: "field" }, el("label", { for: "input-done_on", text: t("done_on") }), day),
      el("p", { class: "small", text: t("recorded_by", { who: record.who }) }),
      button(t("begin_another"), () => anew("another_begun"), { class: "press wide quiet" }),
      twoTaps(t("throw_record"), t("tap_again_record"), () => anew("record_thrown", { thrown_at: Date.now() }), { class: "press wide quiet" }));
  }

  const clock = (ms) => { const s = Math.ceil(ms / 1000); const h = Math.floor(s / 3600); return `${h ? `${h}:` : ""}${h ? pad(Math.floor(s / 60) % 60) : Math.floor(s / 60)}:${pad(s % 60)}`; };
  const when = (moment, day) => (dayOf(moment) === day ? timeOf(moment) : `${dayOf(moment)} ${timeOf(moment)}`);
  /* What the countdown says now, in parts: the sentence, and the time that is left. */
  function cureSaid(record, spot) {
    const values = record?.values ?? {};
    const sheet = rules.cureOf(values);
    const times = rules.timesOf(values, record?.done_on ?? dayOf(now()));
    const lines = [];
    if (sheet?.outside) lines.push(t("outside_sheet", { low: data.cure.rock_temperature_c[0], high: data.cure.rock_temperature_c.at(-1) }));
    else if (sheet) {
      lines.push(t(!sheet.wet ? "needs_dry" : values.hole_condition && values.hole_condition !== "unknown" ? "needs_wet_said" : "needs_wet", { hole: word(values.hole_condition), cure: sheet.cure_min, gel: sheet.gel_min, degrees: values.rock_temperature_c, times: data.cure.wet_factor }));
      lines.push(t("by_sheet", { sheet: data.cure.source }));
    } else if (data.cure) lines.push(t("say_temperature"));
    else lines.push(t("no_sheet"));
    if (!times.ready) return { lines, left: null, stage: "none" };
    const day = record.done_on;
    if (times.loaded) {
      lines.unshift(times.loaded < times.ready ? t("loaded_early", { minutes: Math.ceil((times.ready - times.loaded) / 60000) }) : t("loaded_after", { time: when(times.loaded, day) }));
      return { lines, left: null, stage: times.loaded < times.ready ? "early" : "over" };
    }
    const left = times.ready - now();
    if (left <= 0) return { lines: [t("cured_since", { time: when(times.ready, day) }), ...lines], left: null, stage: "over" };
    if (times.sets) lines.unshift(now() < times.sets ? t("sets_at", { time: when(times.sets, day) }) : t("has_set", { time: when(times.sets, day) }));
    return { lines: [t("ready_at", { time: when(times.ready, day) }), ...lines], left: clock(left), stage: "runs", share: 1 - left / (times.ready - times.set) };
  }
  let stage = null;
  function tick() {
    const box = phone.byId("countdown");
    if (!box || !shown) return;
    const said = cureSaid(store.record(shown.slot), shown.spot);
    const text = said.lines.join("\n");
    if (box.dataset.text !== text || box.dataset.stage !== said.stage) {
      box.dataset.text = text;
      box.dataset.stage = said.stage;
      const record = store.record(shown.slot);
      const night = record && rules.doubtsOf(record.values, shown.spot, record.done_on).some((one) => one.text === t("loaded_before_set"));
      box.replaceChildren(...[
        said.left ? el("p", { class: "left", role: "timer", "aria-label": t("time_left") }) : null,
        said.left ? el("div", { class: "bar" }, el("span", { id: "cure-bar" })) : null,
        ...said.lines.map((line) => el("p", { text: line })),
        night ? button(t("next_day"), () => shown.form.touch({ loaded_on: rules.dayAfter(record.done_on) }), { class: "press wide" }) : null].filter(Boolean));
    }
    if (said.left) {
      box.querySelector(".left").textContent = said.left;
      phone.byId("cure-bar").style.width = `${(100 * said.share).toFixed(1)}%`;
    }
    if (stage === "runs" && said.stage === "over") say(t("cured_now", { anchor: shown.spot.anchor_id }));
    stage = said.stage;
  }

  function open(at) {
    const spot = spots[at];
    shown = { slot: spot.slot, spot };
    stage = null;
    draw();
  }
  /* What was loaded too early is said aloud, not only written under the field. */
  function early(slot) {
    const record = store.record(slot);
    const key = `early ${slot}`;
    if (!record) { warn(key, null); return; }
    const times = rules.timesOf(record.values, record.done_on);
    const wrong = times.ready && times.loaded && times.set <= times.loaded && times.loaded < times.ready;
    if (!wrong) { warn(key, null); return; }
    if (record.early_seen) return;
    warn(key, t("loaded_early_aloud", { anchor: record.anchor_id, minutes: Math.ceil((times.ready - times.loaded) / 60000) }),
      () => button(t("understood"), () => { store.change(slot, {}, { early_seen: true }); warn(key, null); }));
  }
  phone.on("touched", (slot) => {
    early(slot);
    if (!stands(slot)) return;
    about();
    tick();
    const values = store.record(slot)?.values ?? {};
    const missing = Object.keys(values).length > 0 && !values.done && rules.stageOf([{ values }]) === "begun";
    const doubts = rules.doubtsOf(values, shown.spot, shown.form.doneOn()).filter((one) => one.column === "done").map((one) => one.text);
    const box = phone.byId("doubt-done");
    box.textContent = [missing ? t("say_done") : "", ...doubts].filter(Boolean).join(" ");
    box.hidden = !box.textContent;
  });
  phone.on("elsewhere", (slots) => {
    if (phone.state.view !== "anchor" || !shown || !slots.includes(shown.slot)) return;
    const focus = document.activeElement?.id;
    draw();
    if (focus) phone.byId(focus)?.focus();
    say(t("changed_elsewhere"));
  });
  phone.on("second", () => { if (phone.state.view === "anchor") tick(); });
  phone.anchor = { open, cureSaid };
})();
