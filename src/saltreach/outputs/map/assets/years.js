"use strict";
/* The slider of the years to come, and the curve of one sector. */
(() => {
  const { data, sectors, t, many, number, oneIn, known, byId, on, state, colouring, showYear, bandWord } = saltreach;
  const slider = byId("years");
  const bar = byId("years-bar");
  const when = (years) => (years ? many("years_in", years) : t("years_today"));
  const last = (data.tiled ? sectors.bands_to_come : sectors.failure_curve)
    .reduce((most, curve) => Math.max(most, (curve?.length ?? 0) - 1), 0);
  slider.max = String(last);

  function said() {
    bar.hidden = !last || colouring.column !== "risk_band";
    byId("years-value").textContent = when(state.years);
    byId("years-back").hidden = !state.years;
    const counts = saltreach.steps.filter(([, n]) => n).map(([style, n]) => `${number(n)} ${bandWord(style)}`).join(", ");
    slider.setAttribute("aria-valuetext", t("years_said", { when: when(state.years), counts }));
  }
  let waiting = false;
  slider.addEventListener("input", () => {
    byId("years-value").textContent = when(Number(slider.value));
    if (waiting) return;
    waiting = true; /* one drawing a frame, however fast the slider moves */
    requestAnimationFrame(() => { waiting = false; showYear(Number(slider.value)); });
  });
  byId("years-back").addEventListener("click", () => { slider.value = "0"; showYear(0); slider.focus(); });
  on("counted", said);
  said();

  const WIDTH = 352;
  const HEIGHT = 190;
  const [LEFT, RIGHT, TOP, BOTTOM] = [70, 24, 8, 40];
  const LOWEST = 1e-5;
  function svg(tag, attributes, text) {
    const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, String(value));
    if (text !== undefined) node.textContent = text;
    return node;
  }
  /* Yearly probability over the years on a logarithmic scale, on the risk bands it crosses. */
  saltreach.curve = (i) => {
    const curve = sectors.failure_curve[i];
    if (!curve) return null;
    const x = (year) => LEFT + year / (curve.length - 1) * (WIDTH - LEFT - RIGHT);
    const y = (p) => TOP + Math.log10(Math.max(LOWEST, p)) / Math.log10(LOWEST) * (HEIGHT - TOP - BOTTOM);
    const points = [0, 10, 20, 30].filter((year) => known(curve[year]))
      .map((year) => `${when(year)} ${oneIn(curve[year], "one_over")}`).join(", ");
    const picture = svg("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, class: "curve", role: "img",
      "aria-label": t("curve_said", { points }) });
    const edges = [LOWEST, ...data.band_limits, 1];
    data.bands.forEach((style, k) => {
      const top = y(edges[k + 1]);
      const height = y(edges[k]) - top;
      picture.append(svg("rect", { x: LEFT, y: top, width: WIDTH - LEFT - RIGHT, height, fill: style.fill, opacity: 0.5 }),
        svg("rect", { x: WIDTH - RIGHT + 3, y: top, width: RIGHT - 5, height: height - 1, fill: style.fill }),
        svg("text", { x: WIDTH - RIGHT / 2 + 0.5, y: top + height / 2 + 4, "text-anchor": "middle", fill: style.ink,
          "font-weight": 700 }, saltreach.wordOf("letter", style.word)));
    });
    for (const limit of [...data.band_limits, LOWEST, 1]) {
      const at = y(limit);
      picture.append(svg("line", { x1: LEFT - 4, x2: LEFT, y1: at, y2: at, class: "axis" }),
        svg("text", { x: LEFT - 7, y: at + (limit === 1 ? 8 : 4), "text-anchor": "end" },
          limit === 1 ? "1" : `1/${number(1 / limit)}`));
    }
    for (let year = 0; year < curve.length; year += 10) {
      picture.append(svg("line", { x1: x(year), x2: x(year), y1: HEIGHT - BOTTOM, y2: HEIGHT - BOTTOM + 4, class: "axis" }),
        svg("text", { x: x(year), y: HEIGHT - BOTTOM + 17, "text-anchor": "middle" }, number(year)));
    }
    picture.append(svg("line", { x1: LEFT, x2: WIDTH - RIGHT, y1: HEIGHT - BOTTOM, y2: HEIGHT - BOTTOM, class: "axis" }),
      svg("text", { x: (LEFT + WIDTH - RIGHT) / 2, y: HEIGHT - 6, "text-anchor": "middle" }, t("curve_x")));
    const line = curve.map((p, year) => (known(p) ? `${x(year).toFixed(1)},${y(p).toFixed(1)}` : "")).join(" ");
    picture.append(svg("polyline", { points: line, class: "halo" }), svg("polyline", { points: line, class: "line" }));
    if (known(curve[state.years])) {
      picture.append(svg("circle", { cx: x(state.years), cy: y(curve[state.years]), r: 5, class: "now" }));
    }
    return picture;
  };
})();
