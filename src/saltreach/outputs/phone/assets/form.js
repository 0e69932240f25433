"use strict";
/* The controls of the form: one tap each, and nothing is chosen before somebody chose it. */
(() => {
  const { data, t, word, label, el, byId, button, store, rules, dayOf, timeOf, now } = phone;
  const MOST_BUTTONS = 8;

  const legend = (column) => {
    const said = label(column.name);
    return column.unit ? `${said} (${column.unit})` : said;
  };
  const valueOf = (slot, name) => store.record(slot)?.values[name];

  /* Buttons of which one may be down; a second tap takes it up again: not looked at. */
  function oneOf(form, column, choices, named) {
    const made = choices.map((choice) => button(named(choice), () => {
      form.touch({ [column.name]: valueOf(form.slot, column.name) === choice ? null : choice });
    }, { class: "press" }));
    form.redraw(column.name, (value) => made.forEach((one, at) => one.setAttribute("aria-pressed", String(choices[at] === value))));
    return group(form, column, el("div", { class: "presses" }, made));
  }
  function someOf(form, column) {
    const made = column.choices.map((choice) => button(word(choice), () => {
      const held = valueOf(form.slot, column.name) ?? [];
      const next = column.choices.filter((one) => (one === choice) !== held.includes(one));
      form.touch({ [column.name]: next.length ? next : null });
    }, { class: "press" }));
    form.redraw(column.name, (value) => made.forEach((one, at) => one.setAttribute("aria-pressed", String((value ?? []).includes(column.choices[at])))));
    return group(form, column, el("div", { class: "presses" }, made));
  }
  function group(form, column, ...inside) {
    const doubts = el("p", { class: "doubt", id: `doubt-${column.name}`, hidden: true });
    form.doubts.set(column.name, doubts);
    return el("fieldset", { class: "field", id: `field-${column.name}`, "aria-describedby": `doubt-${column.name}` },
      el("legend", { text: legend(column) }), ...inside, doubts);
  }
  function named(form, column, input, ...beside) {
    const doubts = el("p", { class: "doubt", id: `doubt-${column.name}`, hidden: true });
    form.doubts.set(column.name, doubts);
    input.id = `input-${column.name}`;
    input.setAttribute("aria-describedby", doubts.id);
    return el("div", { class: "field", id: `field-${column.name}` },
      el("label", { for: input.id, text: legend(column) }), el("div", { class: "row" }, input, ...beside), doubts);
  }

  function listed(form, column) {
    const input = el("select", {}, el("option", { value: "", text: t("not_said") }),
      column.choices.map((choice) => el("option", { value: choice, text: word(choice) })));
    input.addEventListener("change", () => form.touch({ [column.name]: input.value || null }));
    form.redraw(column.name, (value) => { input.value = value ?? ""; });
    return named(form, column, input);
  }

  /* Steps of the − and + beside a number, by its unit. They change a number that stands there: what
     nobody measured does not begin by a tap. */
  const STEPS = { mm: 5, "°C": 1, kN: 0.5, s: 15, min: 5, degrees: 5, "N·m": 5 };
  function numbered(form, column) {
    const input = el("input", { type: "text", inputmode: "decimal", autocomplete: "off", enterkeyhint: "done" });
    const wrong = (value) => form.wrong(column.name, rules.outOfRange(column, value));
    input.addEventListener("input", () => {
      const value = rules.numberOf(input.value);
      const out = rules.outOfRange(column, value);
      form.wrong(column.name, out ? t("not_kept", { why: out }) : null);
      form.touch({ [column.name]: out ? null : value }, { from: column.name });
      able();
    });
    const step = (by) => {
      const held = valueOf(form.slot, column.name);
      if (typeof held !== "number") return;
      const next = Number((held + by).toFixed(3));
      if (rules.outOfRange(column, next)) return;
      wrong(null);
      form.touch({ [column.name]: next });
    };
    const by = STEPS[column.unit] ?? 1;
    const steps = [["−", -by, "less"], ["+", by, "more"]].map(([sign, by_, key]) => button(sign, () => step(by_), { class: "press step", "aria-label": t(key, { what: label(column.name) }) }));
    const able = () => {
      const held = typeof valueOf(form.slot, column.name) === "number";
      for (const one of steps) {
        one.setAttribute("aria-disabled", String(!held));
        one.title = held ? "" : t("number_first");
      }
    };
    form.redraw(column.name, (value) => {
      if (!form.wrongs.has(column.name)) input.value = value ?? "";
      able();
    });
    return named(form, column, input, ...steps);
  }

  function written(form, column) {
    const input = el(column.control === "long" ? "textarea" : "input", { autocomplete: "off", maxlength: "500" });
    input.addEventListener("input", () => {
      form.touch({ [column.name]: input.value.trim() || null }, { from: column.name });
    });
    form.redraw(column.name, (value) => { input.value = value ?? ""; });
    return named(form, column, input);
  }
  /* As printed, shown as it was read; what cannot be read is not kept. While it is being typed a
     beginning is no fault. */
  function expiring(form, column) {
    const input = el("input", { autocomplete: "off", maxlength: "40", inputmode: "tel", placeholder: t("expiry_hint") });
    const read = (whole) => {
      const text = input.value.trim();
      const value = whole || !/^\d\d?[./]?20$/.test(text) ? rules.expiryOf(text) : null;
      const begun = !whole && /^[\d./-]{1,8}$/.test(text);
      form.wrong(column.name, text && !value && (whole || !begun) ? t("expiry_unreadable") : null);
      if (value && (whole || /^20\d{4}$/.test(text) || /20\d\d$|^20\d\d.\d\d$|^\d\d?\/(?!20)\d\d$/.test(text))) input.value = value;
      form.touch({ [column.name]: value }, { from: column.name });
    };
    input.addEventListener("input", (event) => read(event.inputType === undefined));
    input.addEventListener("change", () => read(true));
    form.redraw(column.name, (value) => { if (!form.wrongs.has(column.name)) input.value = value ?? ""; });
    return named(form, column, input);
  }

  /* Words that are mostly meant, and a line for anything else. */
  function suggested(form, column) {
    const choices = t(`suggest_${column.name}`).split("|");
    const input = el("input", { autocomplete: "off", maxlength: "200", "aria-label": t("other_words", { what: label(column.name) }), placeholder: t("other") });
    input.addEventListener("input", () => form.touch({ [column.name]: input.value.trim() || null }, { from: column.name }));
    form.redraw(column.name, (value) => { input.value = choices.includes(value) ? "" : value ?? ""; });
    const field = oneOf(form, column, choices, word);
    field.append(input);
    return field;
  }

  function timed(form, column) {
    const input = el("input", { type: "time" });
    input.addEventListener("input", () => form.touch({ [column.name]: input.value || null, ...beside(null) }, { from: column.name }));
    form.redraw(column.name, (value) => { input.value = value ?? ""; });
    /* Loading may come on another day than setting. */
    const beside = (day) => (column.name === "loaded_at" ? { loaded_on: day && day !== form.doneOn() ? day : null } : {});
    return named(form, column, input, button(t("now"), () => {
      const moment = now();
      form.touch({ [column.name]: timeOf(moment), ...beside(dayOf(moment)) });
    }, { class: "press", "aria-label": t("now_for", { what: label(column.name) }) }));
  }

  const whole = (low, high) => Array.from({ length: high - low + 1 }, (_, at) => low + at);
  function control(form, column) {
    if (column.kind === "names") {
      const doubts = el("p", { class: "doubt", hidden: true });
      form.doubts.set(column.name, doubts);
      return el("div", { class: "field" }, phone.photos.control(form.slot, () => form.touched()), doubts);
    }
    if (column.kind === "several") return someOf(form, column);
    if (column.kind === "choice") return column.choices.length <= MOST_BUTTONS ? oneOf(form, column, column.choices, word) : listed(form, column);
    if (column.kind === "integer" && column.high - column.low < MOST_BUTTONS) {
      return oneOf(form, column, whole(column.low, column.high), (n) => t(`${column.name}_${n}`));
    }
    if (column.kind === "number" || column.kind === "integer") return numbered(form, column);
    if (column.kind === "time") return timed(form, column);
    if (column.control === "expiry") return expiring(form, column);
    if (column.control === "suggest") return suggested(form, column);
    return written(form, column);
  }

  /* Taken over from the record before, one tap: what is the same all day. */
  function sameAsBefore(form, columns, name) {
    const wanted = columns.filter((column) => column.repeats).map((column) => column.name);
    const before = store.live().filter((record) => record.slot !== form.slot && wanted.some((one) => record.values[one] !== undefined))
      .sort((a, b) => b.changed_at - a.changed_at)[0];
    if (!wanted.length || !before) return null;
    return button(t("same_as_before", { anchor: before.anchor_id }), () => {
      form.touch(Object.fromEntries(wanted.filter((one) => before.values[one] !== undefined).map((one) => [one, before.values[one]])));
      phone.say(t("taken_over", { group: t(`group_${name}`) }));
    }, { class: "press wide quiet" });
  }
  function asPlanned(form, columns) {
    const piece = form.spot?.piece;
    const planned = columns.filter((column) => column.planned && column.as_planned && piece?.[column.planned] !== undefined && piece[column.planned] !== null
      && piece[column.planned] !== "" && (!column.choices.length || column.choices.includes(piece[column.planned])));
    if (!planned.length) return null;
    const each = planned.map((column) => (columns[0].group === "piece" ? word(piece[column.planned]) : `${legend(column)} ${piece[column.planned]}`));
    const said = columns[0].group === "piece" && piece.label ? piece.label : each.join(", ");
    return button(t("as_planned", { what: said }), () => {
      form.touch(Object.fromEntries(planned.map((column) => [column.name, piece[column.planned]])));
    }, { class: "press wide quiet" });
  }

  /* A form for one record. It redraws values in place, so that the focus and the page stay put. */
  function open(slot, spot) {
    const draws = [];
    const form = {
      slot, spot, doubts: new Map(), wrongs: new Map(),
      doneOn: () => store.record(slot)?.done_on ?? dayOf(now()),
      redraw: (name, act) => draws.push([name, act]),
      wrong: (name, text) => { if (text) form.wrongs.set(name, text); else form.wrongs.delete(name); },
      touch(values, { from = null } = {}) {
        store.change(slot, { ...values, ...form.follows({ ...store.record(slot)?.values, ...values }, values) });
        form.touched(from);
      },
      /* The minutes by the data sheet follow the temperature and the hole, unless somebody wrote others. */
      follows(values, change) {
        if (!("rock_temperature_c" in change) && !("hole_condition" in change)) return {};
        if (change.cure_needed_min !== undefined) return {};
        const before = rules.cureOf(store.record(slot)?.values ?? {});
        const held = store.record(slot)?.values.cure_needed_min;
        if (held !== undefined && held !== before?.cure_min) return {};
        const kept = Object.fromEntries(Object.entries(values).filter(([, value]) => value !== null));
        return { cure_needed_min: rules.cureOf(kept)?.cure_min ?? null };
      },
      touched(from = null) {
        const values = store.record(slot)?.values ?? {};
        for (const [name, act] of draws) if (name !== from) act(values[name]);
        form.judge();
        phone.emit("touched", slot);
      },
      judge() {
        const values = store.record(slot)?.values ?? {};
        const found = rules.doubtsOf(values, spot, form.doneOn());
        for (const [name, box] of form.doubts) {
          const texts = [form.wrongs.get(name), ...found.filter((one) => one.column === name).map((one) => one.text)].filter(Boolean);
          const text = texts.join(" ");
          if (box.textContent !== text) {
            box.textContent = text;
            if (text && form.drawn) phone.say(text);
          }
          box.hidden = !text;
          const input = byId(`input-${name}`);
          if (input) input.setAttribute("aria-invalid", String(Boolean(text)));
        }
        form.found = found;
      },
    };
    form.groups = (view, only = null) => data.groups.map((name) => {
      const columns = data.columns.filter((column) => column.group === name && column.on.includes(view) && (!only || only.includes(column.name)));
      if (!columns.length) return null;
      const inside = [view === "place" ? asPlanned(form, columns) : null, sameAsBefore(form, columns, name),
        columns.map((column) => control(form, column)),
        name === "cure" ? el("div", { id: "countdown", class: "countdown" }) : null];
      const title = t(`group_${name}`);
      if (!columns.some((column) => column.folded.includes(view))) {
        return el("section", { class: "group", id: `group-${name}` }, el("h3", { text: title }), inside);
      }
      const said = columns.some((column) => valueOf(slot, column.name) !== undefined);
      return el("details", { class: "fold", id: `group-${name}`, open: said }, el("summary", { text: title }), el("div", { class: "group" }, inside));
    });
    form.start = () => { form.touched(); form.drawn = true; };
    return form;
  }
  phone.form = { open };
})();
