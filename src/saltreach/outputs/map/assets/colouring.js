"use strict";
/* How sectors and anchors are coloured: by which column, in which year, with which words.
   Map, list, legend and card read nothing else. */
(() => {
  const { data, sectors, count, state, t, known, date, wordOf, many, changed, applyFilters, el } = saltreach;
  const unknown = data.unknown_band;
  const { assessed_for: spokenFor, time } = data.provenance;
  const assessed = known(spokenFor) ? spokenFor : String(time ?? "").slice(0, 10);
  /* Where a forecast by sector is shown, a single anchor has no colour of its own. */
  const plain = { ...unknown, word: "anchor", letter: "" };

  function monthsLater(iso, months) {
    const day = new Date(`${iso}T00:00:00Z`);
    day.setUTCMonth(day.getUTCMonth() + months);
    return day.toISOString().slice(0, 10);
  }
  const dueLimits = known(assessed)
    ? [["overdue", assessed], ...[3, 12, 36].map((months) => [String(months), monthsLater(assessed, months)]), ["later", "9999"]] : [];
  const stepWords = {
    inspection_interval_months: (months) => {
      const steps = saltreach.data.colourings.find((c) => c.column === "inspection_interval_months").styles;
      return (steps.find((style) => Number(style.word) <= Number(months)) ?? steps[steps.length - 1]).word;
    },
    next_inspection_on: (day) => (dueLimits.find(([, limit]) => day < limit) ?? [null])[0],
  };
  let active;
  let styleByWord;
  let ofSector = [];
  let ofColumn = new WeakMap();
  const styleIn = (value) => (known(value)
    ? styleByWord.get((stepWords[active.column] ?? String)(value)) ?? unknown : unknown);

  /* The band of a year to come: that of the curve, but never better than today's. */
  const order = data.bands.map((style) => style.word);
  function bandInYear(i, years) {
    const today = sectors.risk_band[i];
    if (!years || !known(today) || today === order[order.length - 1]) return today;
    const then = data.tiled ? limitsToCome(i, years) : limitsReached(sectors.failure_curve[i]?.[years]);
    if (then === null) return null;
    return order[Math.max(then, order.indexOf(today))];
  }
  const limitsReached = (p) => (known(p) ? data.band_limits.filter((limit) => p >= limit).length : null);
  const limitsToCome = (i, years) => {
    const digit = sectors.bands_to_come[i]?.[years];
    return known(digit) ? Number(digit) : null;
  };
  const inFuture = () => active.column === "risk_band" && state.years > 0;

  function prepare() {
    ofSector = Array.from({ length: count }, (_, i) => styleIn(
      inFuture() ? bandInYear(i, state.years) : sectors[active.column][i]));
    ofColumn = new WeakMap();
  }
  const colouring = {
    get column() { return active.column; },
    get styles() { return active.styles; },
    get inFuture() { return inFuture(); },
    unknown,
    ofSector: (i) => ofSector[i],
    ofAnchor: (k) => {
      if (inFuture()) return plain;
      const column = saltreach.anchors.column(k, active.column);
      if (!ofColumn.has(column)) ofColumn.set(column, column.values.map(styleIn));
      return ofColumn.get(column)[column.codes[saltreach.anchors.row(k)]] ?? unknown;
    },
    meaning: (style) => {
      const key = active.texts === "interval" && style !== unknown ? "interval_step" : `${active.texts}_${style.word}`;
      return t(key, { date: date(assessed) });
    },
    note: () => (active.texts === "interval" ? t("interval_step") : ""),
    bandInYear,
  };
  /* Name of a step; a count of months is said as such. */
  const bandWord = (style) => {
    if (style.word === unknown.word) return t("unknown_word");
    if (style.word === plain.word) return t("anchor");
    return active.words ? wordOf(active.words, style.word) : many("months", Number(style.word));
  };
  /* Letters of the risk bands follow their words in each language. */
  const letterOf = (style) => (active.words === "word" ? saltreach.texts[`letter_${style.word}`] : null) ?? style.letter;

  function setActive(column) {
    active = data.colourings.find((one) => one.column === column);
    styleByWord = new Map(active.styles.map((style) => [style.word, style]));
    prepare();
  }
  function colourBy(column) {
    setActive(column);
    state.bands.clear(); /* the same words, but of another thing */
    changed("colouring");
    applyFilters();
  }
  function showYear(years) {
    state.years = years;
    prepare();
    changed("colouring");
    applyFilters();
  }

  /* Pattern of a step on any canvas: the same in legend, list and map. */
  function patternTile(style, ratio) {
    const size = { dots: 7, lines: 7, dense: 5, cross: 7, rows: 6, columns: 6 }[style.pattern];
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
    if (style.pattern === "rows") stroke(0, size / 2, size, size / 2);
    else if (style.pattern === "columns") stroke(size / 2, 0, size / 2, size);
    else {
      for (const shift of [-size, 0, size]) {
        stroke(shift - 1, size + 1, shift + size + 1, -1);
        if (style.pattern === "cross") stroke(shift - 1, -1, shift + size + 1, size + 1);
      }
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
    const text = letterOf(style);
    const px = size * ([0, 1, 0.86, 0.76][text.length] ?? 0.6);
    ctx.font = `700 ${px}px system-ui, sans-serif`;
    ctx.textAlign = "center";
    ctx.textBaseline = "middle";
    ctx.fillStyle = style.ink;
    ctx.fillText(text, x, y + px * 0.06);
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
  /* One picture of each swatch, shared by the many rows of the list. */
  const pictures = new Map();
  function swatchPicture(style) {
    const key = [style.fill, style.pattern, letterOf(style)].join();
    if (!pictures.has(key)) pictures.set(key, `url(${swatch(style).toDataURL()})`);
    return pictures.get(key);
  }

  setActive(data.colourings[0].column);
  const styleOf = (word) => data.bands.find((style) => style.word === word) ?? unknown;
  Object.assign(saltreach, { colouring, colourBy, showYear, bandWord, letterOf, styleOf, assessed,
    bandName: (word) => (known(word) ? wordOf("word", word) : t("unknown_word")),
    patternFill, letter, swatch, swatchPicture });
})();
