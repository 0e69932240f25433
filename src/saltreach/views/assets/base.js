"use strict";
/* What every part of the page shares: the data, the words, the state and small helpers.
   Data reaches the page only as JSON and only as textContent, never as markup. */
window.saltreach = (() => {
  const read = (id) => JSON.parse(document.getElementById(id).textContent);
  const data = read("map-data");
  const texts = read("map-texts");
  const sectors = data.sectors;
  const count = sectors.crag.length;

  const t = (key, values = {}) =>
    Object.entries(values).reduce((text, [k, v]) => text.split(`{${k}}`).join(String(v)), texts[key] ?? key);
  const many = (key, n) => t(`${key}_${n === 1 ? "one" : "many"}`, { n: number(n) });

  const known = (value) => value !== null && value !== undefined && value !== "";
  const number = (value, digits = 3) => new Intl.NumberFormat(texts.locale,
    Math.abs(value) >= 1000 ? { maximumFractionDigits: 0 } : { maximumSignificantDigits: digits }).format(value).replace("-", "−");
  const monthDay = new Intl.DateTimeFormat(texts.locale,
    { day: "numeric", month: "short", year: "numeric", timeZone: "UTC" });
  const month = new Intl.DateTimeFormat(texts.locale, { month: "short", year: "numeric", timeZone: "UTC" });
  /* Dates may stop at the year or the month. */
  function date(iso) {
    if (!known(iso)) return t("not_known");
    const time = Date.parse(iso.length === 7 ? `${iso}-01` : iso);
    if (Number.isNaN(time) || iso.length === 4) return iso;
    return (iso.length === 7 ? month : monthDay).format(time);
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
  const byId = (id) => document.getElementById(id);
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  /* How sectors are coloured. Another colouring (another column, another year) replaces this
     object and calls `changed("colouring")`; map, list, legend and card read nothing else. */
  const styleByWord = new Map([...data.bands, data.unknown_band].map((style) => [style.word, style]));
  const styleOf = (word) => styleByWord.get(word) ?? data.unknown_band;
  const colouring = {
    styles: data.bands,
    unknown: data.unknown_band,
    column: "risk_band",
    ofSector: (i) => styleOf(sectors[colouring.column][i]),
    ofAnchor: (k) => {
      const { codes, values } = data.anchors[colouring.column];
      return styleOf(values[codes[k]]);
    },
    meaning: (style) => t(`${colouring.column === "rock_band" ? "rock" : "band"}_${style.word}`),
  };
  function colourBy(column) {
    colouring.column = column;
    state.bands.clear(); /* the same words, but of another risk */
    changed("colouring");
    applyFilters();
  }

  const state = {
    query: "", bands: new Set(), material: "", place: "", dueBefore: "", inView: false,
    order: "risk", selected: -1, near: -1,
  };
  const listeners = {};
  const on = (name, run) => (listeners[name] ??= []).push(run);
  const changed = (name, ...values) => (listeners[name] ?? []).forEach((run) => run(...values));

  /* Sectors that pass the filters, but for the part of the map in view. */
  const folded = (text) => (text ?? "").normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
  const haystack = sectors.crag.map((crag, i) => folded(`${crag ?? ""} ${sectors.sector[i] ?? ""}`));
  function passes(i) {
    const due = sectors.next_inspection_on[i];
    return (!state.bands.size || state.bands.has(colouring.ofSector(i).word))
      && (!state.material || sectors.material_recommended[i] === state.material)
      && (!state.place || sectors.sea_cliff[i] === state.place)
      && (!state.dueBefore || (known(due) && due < state.dueBefore))
      && folded(state.query).split(/\s+/).every((word) => haystack[i].includes(word));
  }
  const shown = new Uint8Array(count).fill(1);
  function applyFilters() {
    for (let i = 0; i < count; i += 1) shown[i] = passes(i) ? 1 : 0;
    changed("filters");
  }

  /* Pattern of a band on any canvas: the same in legend, list and map. */
  function patternTile(style, ratio) {
    const size = { dots: 7, lines: 7, dense: 5, cross: 7 }[style.pattern];
    if (!size) return null;
    const tile = document.createElement("canvas");
    tile.width = tile.height = size * ratio;
    const ctx = tile.getContext("2d");
    ctx.scale(ratio, ratio);
    ctx.strokeStyle = ctx.fillStyle = style.ink;
    ctx.globalAlpha = 0.45;
    ctx.lineWidth = 1;
    if (style.pattern === "dots") {
      ctx.beginPath(); ctx.arc(size / 2, size / 2, 1, 0, 7); ctx.fill();
      return tile;
    }
    const stroke = (x0, y0, x1, y1) => { ctx.beginPath(); ctx.moveTo(x0, y0); ctx.lineTo(x1, y1); ctx.stroke(); };
    for (const shift of [-size, 0, size]) {
      stroke(shift - 1, size + 1, shift + size + 1, -1);
      if (style.pattern === "cross") stroke(shift - 1, -1, shift + size + 1, size + 1);
    }
    return tile;
  }
  function patternFill(ctx, style, ratio) {
    const tile = patternTile(style, ratio);
    if (!tile) return null;
    const pattern = ctx.createPattern(tile, "repeat");
    pattern.setTransform(new DOMMatrix().scale(1 / ratio));
    return pattern;
  }
  function letter(ctx, style, x, y, size) {
    ctx.font = `700 ${size}px system-ui, sans-serif`;
    ctx.textAlign = "center";
    ctx.textBaseline = "middle";
    ctx.fillStyle = style.ink;
    ctx.fillText(style.letter, x, y + size * 0.06);
  }
  function swatch(style, size = 34) {
    const ratio = Math.max(2, window.devicePixelRatio || 1);
    const canvas = el("canvas", { class: "swatch", width: size * ratio, height: size * ratio, "aria-hidden": "true" });
    canvas.style.width = canvas.style.height = `${size}px`;
    const ctx = canvas.getContext("2d");
    ctx.scale(ratio, ratio);
    ctx.beginPath();
    ctx.roundRect(1, 1, size - 2, size - 2, size / 4);
    ctx.fillStyle = style.fill;
    ctx.fill();
    const pattern = size > 24 ? patternFill(ctx, style, ratio) : null;
    if (pattern) { ctx.fillStyle = pattern; ctx.fill(); }
    ctx.strokeStyle = "rgb(22 34 43 / .35)";
    ctx.lineWidth = 1;
    ctx.stroke();
    if (pattern) {
      ctx.beginPath(); ctx.arc(size / 2, size / 2, size * 0.29, 0, 7);
      ctx.fillStyle = style.fill; ctx.fill();
    }
    letter(ctx, style, size / 2, size / 2, size * (size > 24 ? 0.41 : 0.6));
    return canvas;
  }
  const bandWord = (style) => (style.word === data.unknown_band.word ? t("unknown_word") : style.word);

  return { data, sectors, count, texts, t, many, known, number, date, el, byId, colour, colouring, state, on,
    changed, shown, colourBy, styleOf, passes, applyFilters, patternFill, letter, swatch, bandWord };
})();
