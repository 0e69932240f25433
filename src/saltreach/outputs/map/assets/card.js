"use strict";
/* The card of one sector or one anchor, and the sources of the whole map. */
(() => {
  const { data, sectors, count, t, many, known, number, date, oneIn, el, byId, colouring, state, on, changed,
    swatch, bandWord, bandName, wordOf, colour } = saltreach;
  const { anchors } = saltreach;
  const card = byId("card");
  let opener = null;

  const textOr = (value) => (known(value) ? String(value) : t("not_known"));
  const heading = (text) => el("h3", { text });
  const sentences = (lines, lang = null) => el("ul", { class: "sentences", lang }, ...lines.map((text) => el("li", { text })));
  /* Sentences of the assessment; they are written in English. */
  const reasons = (lines) => (lines?.length ? sentences(lines, "en") : sentences([t("not_known")]));
  const said = (kind, value) => (known(value) ? wordOf(kind, value) : t("not_known"));
  /* "316 x 12; unknown x 3", each metal in the page's words. */
  const metals = (text) => (known(text) ? text.split("; ").map((part) => {
    const at = part.lastIndexOf(" x ");
    return at < 0 ? wordOf("material", part) : `${wordOf("material", part.slice(0, at))}${part.slice(at)}`;
  }).join("; ") : t("not_known"));
  const actions = (text) => (known(text) ? text.split("; ").map((part) => {
    const at = part.lastIndexOf(" x ");
    return `${wordOf("action", part.slice(0, at))}${part.slice(at)}`;
  }).join("; ") : t("not_known"));
  const parts = (text) => text.split(", ").map((part) => wordOf("part", part)).join(", ");
  const inWords = {
    lithology: (value) => wordOf("lithology", value), resistance_mode: parts,
    risk_band: bandName, metal_band: bandName, rock_band: bandName, scc_band: bandName,
  };
  const fact = (label, ...lines) => el("div", { class: "fact" }, el("dt", { text: label }),
    ...lines.filter(Boolean).map((line) => (typeof line === "string" ? el("dd", { text: line }) : line)).map(narrowed));
  /* A long word is set smaller rather than broken. */
  function narrowed(line) {
    if (/\S{14}/.test(line.textContent)) line.classList.add("long");
    return line;
  }

  function measured(key, value, unit) {
    if (key === "coast_distance_m" && value >= 1000) return `${number(value / 1000)} km`;
    return unit ? `${number(value)} ${unit}` : number(value);
  }
  function figure(i, [key, unit]) {
    const value = sectors[key][i];
    const cell = el("td", { text: known(value) ? (typeof value === "number" ? measured(key, value, unit) : (inWords[key] ?? String)(value)) : t("not_known") });
    const [low, high] = [sectors[`${key}_p10`]?.[i], sectors[`${key}_p90`]?.[i]];
    const sd = key.endsWith("_m") ? sectors[key.replace(/_m$/, "_sd_m")]?.[i] : undefined;
    if (known(value) && known(low) && known(high)) {
      cell.append(el("small", { text: `(${t("range", { low: number(low), high: number(high) })})` }));
    }
    if (known(value) && known(sd)) cell.append(el("small", { text: t("sd", { sd: measured(key, sd, unit) }) }));
    return el("tr", {}, el("th", { scope: "row", text: t(`figure_${key}`) }), cell);
  }
  function chances(i) {
    const shares = sectors.category_probabilities[i];
    if (!shares) return null;
    const label = data.categories.map((name, k) => `${name} ${Math.round(shares[k] * 100)} %`).join(", ");
    return el("div", {}, heading(t("category_chance")),
      el("div", { class: "chance", role: "img", "aria-label": label }, ...data.categories.map((name, k) => {
        const bar = el("canvas", { width: 60, height: 80, "aria-hidden": "true" });
        const ctx = bar.getContext("2d");
        ctx.fillStyle = colour("--accent");
        const height = Math.max(shares[k] > 0 ? 3 : 0, shares[k] * 78);
        ctx.fillRect(6, 80 - height, 48, height);
        return el("div", {}, bar, el("div", { text: name }), el("div", { text: `${Math.round(shares[k] * 100)} %` }));
      })));
  }
  function sourceLine() {
    const layers = data.provenance.layers ?? [];
    return el("div", {}, heading(t("sources")),
      el("p", { class: "small", text: layers.map((layer) => [layer.name, layer.source].filter(known).join(": ")).join("; ") || t("not_known") }),
      el("button", { type: "button", class: "quiet", text: t("sources_button"), onclick: openSources }));
  }
  function bandLine(style) {
    return el("div", { class: "band-line" }, swatch(style, 44),
      el("div", {}, el("strong", { text: bandWord(style) }), el("span", { text: colouring.meaning(style) })));
  }
  function head(title, where, tools) {
    return el("div", { class: "card-head" },
      el("div", {}, el("h2", { id: "card-title", tabindex: "-1", text: title }), el("div", { class: "where", text: where })),
      el("div", { class: "tools" }, ...tools,
        el("button", { type: "button", "aria-label": t("close"), "data-close": true, text: "×", onclick: close })));
  }
  function interval(months) {
    if (!known(months)) return null;
    return Number(months) === 1 ? t("every_month") : t("every_months", { n: number(Number(months)) });
  }
  /* How likely failure is, in words, and how it grows. */
  function failure(i) {
    const rows = [1, 10, 30].map((years) => el("tr", {}, el("th", { scope: "row", text: t(`chance_${years}`) }),
      el("td", { text: oneIn(sectors[`failure_probability_y${years}`][i]) })));
    const curve = saltreach.curve(i);
    return el("div", {}, heading(t("chance_title")), el("table", { class: "figures" }, el("tbody", {}, ...rows)),
      el("p", { class: "small", text: `${t("chance_note")} ${t("prior_note")}` }), heading(t("curve_title")),
      curve ? el("figure", {}, el("figcaption", { class: "small", text: t("curve_y") }), curve) : el("p", { text: t("not_known") }));
  }
  function priority(i) {
    const place = sectors.priority_rank[i];
    const [replace, cost] = [sectors.anchors_to_replace[i], sectors.replacement_cost[i]];
    return el("div", {}, el("dl", { class: "pair" },
      fact(t("priority_title"), known(place) ? t("priority_place", { n: number(place), all: number(count) }) : t("not_known")),
      fact(t("to_replace"), known(replace) ? many("anchors", replace) : t("not_known"),
        known(cost) ? t("cost_units", { n: number(cost) }) : t("not_known"))),
    sectors.priority_reasons[i].length ? sentences(sectors.priority_reasons[i], "en") : null);
  }
  /* The last things that happened there, from the book of the region; texts of people, set as text. */
  const MOST_EVENTS = 5;
  const MOST_MEMBERS = 1000;
  function happened(chosen, named) {
    const { anchor = [], happened_on: day, kind, who, said: what } = saltreach.anchors.events(state.selected, saltreach.pickedAnchor);
    const places = [];
    for (let at = 0; at < anchor.length && places.length < MOST_EVENTS; at += 1) {
      if (chosen(anchor[at])) places.push(at);
    }
    if (!places.length) return null;
    const line = (at) => el("li", {}, el("strong", { text: wordOf("event", kind[at]) }), el("span", {
      text: ` ${[named ? anchors.id(anchor[at]) : null, day[at], who[at]].filter(known).join(", ")}` }),
    known(what[at]) ? el("span", { lang: "en", text: `: ${what[at]}` }) : "");
    return el("div", { class: "happened" }, heading(t("last_events")), el("ul", { class: "sentences" }, ...places.map(line)));
  }
  /* Where a map holds too many anchors to be found on it one by one: those of the open sector. */
  function members(i) {
    if (!anchors.tiled) return null;
    const line = (k) => el("li", {}, el("button", { type: "button", class: "quiet", onclick: () => saltreach.selectAnchor(k) },
      swatch(colouring.ofAnchor(k), 20), el("span", { class: "unseen", text: `${bandWord(colouring.ofAnchor(k))}: ` }),
      textOr(anchors.id(k))));
    const all = anchors.ofSector(i);
    const left = all.length - MOST_MEMBERS;
    const rows = el("ul", {});
    const fill = () => { if (!rows.childElementCount) rows.append(...all.slice(0, MOST_MEMBERS).map(line)); };
    return el("details", { class: "members", ontoggle: fill }, el("summary", { text: t("anchors_here", { n: number(all.length) }) }),
      rows, left > 0 ? el("p", { class: "small", text: t("anchors_more", { n: number(left) }) }) : null);
  }
  const english = () => (saltreach.texts.lang === "en" ? null : el("p", { class: "small", text: t("reasons_in_english") }));
  function sectorCard(i) {
    const style = colouring.ofSector(i);
    const step = (by, sign, label) => {
      const other = saltreach.beside(i, by);
      return el("button", { type: "button", "aria-label": t(label), title: t(label), text: sign,
        disabled: other < 0, onclick: () => saltreach.select(other, { from: "card" }) });
    };
    const cliff = { yes: t("sea_cliff"), no: t("inland") }[sectors.sea_cliff[i]];
    const held = known(sectors.anchors[i]) ? many("anchors", sectors.anchors[i]) : null;
    const due = el("dd", { class: sectors.overdue[i] === "yes" ? "late" : "", text: date(sectors.next_inspection_on[i])
      + (sectors.overdue[i] === "yes" ? `, ${t("overdue")}` : "") });
    const minimum = el("dd", { text: `${t("minimum")}: ${said("material", sectors.material_minimum[i])}` });
    minimum.dataset.part = "minimum";
    const other = sectors.material_alternative[i];
    const facts = el("dl", { class: "pair" },
      fact(t("buy"), said("material", sectors.material_recommended[i]), minimum,
        known(other) ? `${t("alternative")}: ${said("material", other)}` : null),
      fact(t("look_again"), due, interval(sectors.inspection_interval_months[i]) ?? t("not_known")));
    const kind = sectors.kind_advised[i];
    const depth = sectors.embedment_required_mm[i];
    const toPlace = el("dd", { class: kind === "do not place here" ? "late" : "", text: said("kind", kind) });
    toPlace.dataset.part = "kind";
    const rock = el("dl", { class: "pair" },
      fact(t("kind"), toPlace, known(depth) ? t("embedment_least", { n: number(depth) }) : null),
      fact(t("rock_risk"), bandName(sectors.rock_band[i]), said("lithology", sectors.lithology[i])),
      fact(t("metal_risk"), bandName(sectors.metal_band[i]),
        known(sectors.risk_governed_by[i]) ? `${t("governed")}: ${wordOf("governed", sectors.risk_governed_by[i])}` : null),
      fact(t("action"), actions(sectors.actions[i]),
        known(sectors.replace_by[i]) ? `${t("replace_by")} ${date(sectors.replace_by[i])}` : null));
    const mind = sectors.warnings[i].length
      ? el("div", { class: "mind" }, heading(t("mind")), sentences(sectors.warnings[i], "en")) : null;
    return [
      head(textOr(sectors.sector[i]), [textOr(sectors.crag[i]), cliff, held].filter(Boolean).join(", "),
        [step(-1, "‹", "previous"), step(1, "›", "next")]),
      bandLine(style), el("p", { class: "small" }, `${t("worst_said")}: `, el("span", { lang: "en", text: textOr(sectors.risk_share[i]) })),
      facts, rock, members(i), english(), mind, happened((k) => anchors.sector(k) === i, true), priority(i), failure(i),
      heading(t("why")), reasons(sectors.reasons[i]),
      heading(t("why_interval")), reasons(sectors.interval_reasons[i]),
      heading(t("why_kind")), reasons(sectors.kind_reasons[i]),
      heading(t("present")), el("p", { text: metals(sectors.materials_present[i]) }),
      heading(t("figures")),
      el("table", { class: "figures" }, el("tbody", {}, ...data.figures.map((row) => figure(i, row)))),
      el("p", { class: "small", text: t("figures_note") }),
      chances(i), sourceLine(),
      el("button", { type: "button", class: "plain-button", text: t("show_on_map"), onclick: () => saltreach.zoomTo(i) }),
    ];
  }
  function anchorCard(k) {
    const value = (name) => {
      const column = anchors.column(k, name);
      return column.values[column.codes[anchors.row(k)]];
    };
    const i = anchors.sector(k);
    const style = colouring.ofAnchor(k);
    const condition = value("condition");
    const todo = (value("action_reasons") ?? "").split(" | ").filter(Boolean);
    const warnings = (value("warnings") ?? "").split(" | ").filter(Boolean);
    const back = i >= 0
      ? [el("button", { type: "button", class: "plain-button", text: t("back_to_sector"), onclick: () => saltreach.select(i, { from: "card" }) })] : [];
    return [
      head(`${t("anchor")} ${textOr(anchors.id(k))}`,
        i >= 0 ? `${textOr(sectors.sector[i])}, ${textOr(sectors.crag[i])}` : t("not_known"), []),
      bandLine(style),
      el("dl", { class: "pair" }, fact(t("action"), said("action", value("action")),
        known(value("replace_by")) ? `${t("replace_by")} ${date(value("replace_by"))}` : null),
        fact(t("buy"), said("material", value("material_recommended"))),
        fact(t("look_again"), date(value("next_inspection_on")), interval(value("inspection_interval_months")) ?? t("not_known"))),
      todo.length ? sentences(todo, "en") : null,
      warnings.length ? el("div", { class: "mind" }, heading(t("mind")), sentences(warnings, "en")) : null,
      happened((other) => other === k, false),
      heading(t("figures")),
      el("table", { class: "figures" }, el("tbody", {}, ...[
        [t("figure_risk_band"), bandName(value("risk_band"))],
        [t("metal_risk"), bandName(value("metal_band"))],
        [t("governed"), said("governed", value("risk_governed_by"))],
        [t("material_now"), said("material", value("material"))],
        [t("interval_rule"), textOr(value("interval_rule"))],
        [t("kind"), said("kind", value("kind_advised"))],
        [t("figure_embedment_required_mm"), known(value("embedment_required_mm")) ? `${value("embedment_required_mm")} mm` : t("not_known")],
        [t("rock_risk"), bandName(value("rock_band"))],
        [t("condition"), known(condition) ? (saltreach.texts[`condition_${condition}`] ?? condition) : t("not_known")],
        [t("position"), `${anchors.lat(k).toFixed(5)}, ${anchors.lon(k).toFixed(5)}`],
      ].map(([label, text]) => el("tr", {}, el("th", { scope: "row", text: label }), el("td", { text }))))),
      ...back,
    ];
  }

  function open(parts) {
    if (card.hidden) opener = document.activeElement;
    card.replaceChildren(...parts.filter(Boolean));
    card.hidden = false;
    card.scrollTop = 0;
    byId("card-title").focus({ preventScroll: true });
  }
  function close() {
    if (card.hidden) return;
    const last = state.selected;
    card.hidden = true;
    state.selected = -1;
    saltreach.pickedAnchor = -1;
    changed("select", -1);
    saltreach.redraw();
    if (opener?.classList.contains("item") && last >= 0) saltreach.focusItem(last);
    else if (opener?.isConnected && opener !== document.body) opener.focus();
    else byId(data.map).focus({ preventScroll: true });
  }

  /* Another colouring, year or language: the open card follows, the focus stays where it was. */
  function rewrite() {
    if (card.hidden) return;
    const top = card.scrollTop;
    card.replaceChildren(...(saltreach.pickedAnchor >= 0
      ? anchorCard(saltreach.pickedAnchor) : sectorCard(state.selected)).filter(Boolean));
    card.scrollTop = top;
  }
  on("colouring", rewrite);
  on("language", rewrite);

  saltreach.select = (i, { from }) => {
    if (i < 0) return;
    anchors.ready(i, () => {
      state.selected = i;
      saltreach.pickedAnchor = -1;
      open(sectorCard(i));
      changed("select", i, from);
      if (from !== "map") saltreach.zoomTo(i);
      saltreach.redraw();
    });
  };
  saltreach.selectAnchor = (k) => {
    state.selected = anchors.sector(k);
    saltreach.pickedAnchor = k;
    open(anchorCard(k));
    changed("select", state.selected, "map");
    saltreach.redraw();
  };
  saltreach.closeCard = close;

  /* Sources and assumptions of the whole map. */
  function plain(value) {
    if (!known(value)) return t("not_known");
    if (Array.isArray(value)) return value.map(plain).join(", ");
    if (typeof value === "object") return Object.entries(value).map(([k, v]) => `${k}: ${plain(v)}`).join("; ");
    return String(value);
  }
  function pairs(title, value) {
    if (!known(value)) return [];
    const lines = typeof value === "object" && !Array.isArray(value)
      ? Object.entries(value).map(([k, v]) => `${k}: ${plain(v)}`) : [plain(value)];
    return lines.length ? [heading(title), sentences(lines)] : [];
  }
  /* The day the answers speak for, not the day of the file. */
  function madeOn() {
    return known(saltreach.assessed) ? [t("made_on", { date: date(saltreach.assessed) })] : [];
  }
  function fillSources() {
    const { layers = [], assumptions = [], register, options, software } = data.provenance;
    const keys = ["name", "source", "version", "licence", "accuracy"];
    byId("sources-body").replaceChildren(
      ...madeOn().map((text) => el("p", { class: "small", text })),
      heading(t("layers_title")),
      el("div", { class: "wide" }, el("table", {},
        el("thead", {}, el("tr", {}, ...keys.map((key) => el("th", { scope: "col", text: t(`layer_${key}`) })))),
        el("tbody", {}, ...layers.map((layer) => el("tr", {}, ...keys.map((key) => el("td", { text: plain(layer[key]) }))))))),
      ...(assumptions.length ? [heading(t("assumptions_title")), sentences(assumptions.map(plain))] : []),
      ...(register ? [heading(t("register_title")), el("p", { text: t("register_text",
        { file: plain(register.file), rows: plain(register.rows), rejected: plain(register.rejected) }) })] : []),
      ...pairs(t("options_title"), options), ...pairs(t("software_title"), software),
      el("p", { class: "small", text: t("drawing_note") }));
  }
  const dialog = byId("sources");
  function openSources() { dialog.showModal(); }
  byId("sources-open").addEventListener("click", openSources);
  dialog.addEventListener("click", (event) => { if (event.target === dialog) dialog.close(); });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !dialog.open) close();
  });
  function writeSources() {
    fillSources();
    const names = (data.provenance.layers ?? []).map((layer) => [layer.name, layer.licence].filter(known).join(", "));
    byId("credit").textContent = [...madeOn(), `${t("data_from")}: ${names.join("; ") || t("not_known")}`, "Leaflet",
      ...(data.tiles ? [data.tiles.attribution] : [])].join(" | ");
  }
  writeSources();
  on("language", writeSources);
})();
