"use strict";
/* The anchors, wherever the page keeps them: all at once, or in tiles that are unpacked when their
   sectors come close or a card asks for them. An anchor is a number; a tile's follow each other. */
(() => {
  const { data, sectors, count, byId, changed, state, t } = saltreach;
  const whole = data.anchors;
  if (!data.tiled) {
    const of = data.events ?? {};
    saltreach.anchors = {
      tiled: false,
      count: whole.lon.length,
      id: (k) => whole.anchor_id[k],
      lon: (k) => whole.lon[k],
      lat: (k) => whole.lat[k],
      sector: (k) => whole.sector[k],
      column: (k, name) => whole[name],
      row: (k) => k,
      events: () => of,
      within: (view, run) => { for (let k = 0; k < whole.lon.length; k += 1) run(k); },
      ready: (i, run) => run(),
      want: () => {},
      hasSector: () => true,
    };
    return;
  }

  const UNIT = 1e6;
  const start = whole.start;
  const open = new Map(); /* the latest asked for comes last */
  const asked = new Map();
  let inView = new Set();

  function summed(steps) {
    const found = new Float64Array(steps.length);
    let at = 0;
    for (let k = 0; k < steps.length; k += 1) { at += steps[k]; found[k] = at / UNIT; }
    return found;
  }
  function ring(steps) {
    const flat = new Float64Array(steps.length);
    let [x, y] = [0, 0];
    for (let k = 0; k < steps.length; k += 2) {
      x += steps[k];
      y += steps[k + 1];
      flat[k] = x / UNIT;
      flat[k + 1] = y / UNIT;
    }
    return flat;
  }
  /* The page may still be read when its first tile is asked for. */
  const read = new Promise((done) => {
    if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", done);
    else done();
  });
  async function unpacked(k) {
    if (!byId(`tile-${k}`)) await read;
    const text = atob(byId(`tile-${k}`).textContent);
    const bytes = new Uint8Array(text.length);
    for (let at = 0; at < text.length; at += 1) bytes[at] = text.charCodeAt(at);
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    const tile = await new Response(stream).json();
    tile.anchors.lon = summed(tile.anchors.lon);
    tile.anchors.lat = summed(tile.anchors.lat);
    tile.outline = tile.outline.map((rings) => rings.map(ring));
    tile.first = start[k];
    return tile;
  }
  function keep(k, tile) {
    open.set(k, tile);
    [low, high, held] = [0, 0, null];
    const names = Object.keys(tile.columns);
    tile.sector.forEach((i, at) => {
      for (const name of names) (sectors[name] ??= new Array(count))[i] = tile.columns[name][at];
      sectors.outline[i] = tile.outline[at];
    });
    for (const [old, its] of open) {
      if (open.size <= saltreach.anchors.kept + inView.size) break;
      const picked = saltreach.pickedAnchor;
      if (inView.has(old) || its.sector.includes(state.selected) || (picked >= start[old] && picked < start[old + 1])) continue;
      open.delete(old);
      for (const i of its.sector) {
        for (const name of Object.keys(its.columns)) delete sectors[name][i];
        delete sectors.outline[i];
      }
      changed("closed", its.sector);
    }
    changed("opened", tile.sector);
  }
  /* A promise that the tile is open. */
  function need(k) {
    if (open.has(k)) {
      const tile = open.get(k);
      open.delete(k);
      open.set(k, tile);
      return Promise.resolve();
    }
    if (!asked.has(k)) {
      asked.set(k, unpacked(k).then((tile) => keep(k, tile), () => {
        byId("note").textContent = t("tile_failed");
      }).finally(() => asked.delete(k)));
    }
    return asked.get(k);
  }

  let [low, high, held] = [0, 0, null];
  /* The open tile of an anchor; null where it is not open. */
  function tileOf(k) {
    if (held && k >= low && k < high) return held;
    let [from, to] = [0, start.length - 1];
    while (to - from > 1) {
      const middle = (from + to) >> 1;
      if (start[middle] <= k) from = middle;
      else to = middle;
    }
    held = open.get(from) ?? null;
    [low, high] = [start[from], start[from + 1]];
    return held;
  }
  const NONE = { codes: [], values: [] };
  const of = (name) => (k) => { const tile = tileOf(k); return tile?.anchors[name][k - tile.first]; };

  saltreach.anchors = {
    tiled: true,
    kept: 60, /* tiles that stay open beside those in view */
    count: whole.count,
    id: of("anchor_id"),
    lon: of("lon"),
    lat: of("lat"),
    sector: (k) => of("sector")(k) ?? -1,
    column: (k, name) => tileOf(k)?.anchors[name] ?? NONE,
    row: (k) => k - (tileOf(k)?.first ?? k),
    events: (i, k) => (k >= 0 ? tileOf(k) : open.get(sectors.tile[i]))?.events ?? {},
    /* Anchors of the open tiles in view. */
    within: (view, run) => {
      for (const k of inView) if (open.has(k)) for (let n = start[k]; n < start[k + 1]; n += 1) run(n);
    },
    /* Does something once all of a sector is at hand; a later wish takes the place of this one. */
    ready: (i, run) => {
      wish = run;
      if (open.has(sectors.tile[i])) run();
      else need(sectors.tile[i]).then(() => { if (wish === run && open.has(sectors.tile[i])) run(); });
    },
    /* The tiles that a drawing is about to show; it is drawn again when one of them opens. */
    want: (tiles) => {
      inView = tiles;
      for (const k of tiles) if (!open.has(k) && !asked.has(k)) need(k).then(redrawSoon);
    },
    hasSector: (i) => open.has(sectors.tile[i]),
    ofSector: (i) => {
      const tile = open.get(sectors.tile[i]);
      const found = [];
      tile?.anchors.sector.forEach((one, at) => { if (one === i) found.push(tile.first + at); });
      return found;
    },
    opened: () => [...open.keys()],
    inView: () => [...inView],
  };
  let wish = null;
  let waiting = false;
  function redrawSoon() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; saltreach.redraw(); });
  }
})();
