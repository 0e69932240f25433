"use strict";
/* What lies behind the sectors: shade of hills, areas, lines and names of places. All quiet, and
   ever less of it the farther out. */
(() => {
  const { data, colour, toX, toY, unpacked, trace, short, byId } = saltreach;
  if (!data.backdrop) return;
  const FLAT = 181; /* light on level ground: neither darker nor lighter */
  const FROM_ZOOM = { road: [0, 8, 10.5], cliff: [11.5, 11.5, 11.5], place: [0, 9, 11.5] };
  const FONTS = ["600 13px", "500 12px", "400 11.5px"].map((font) => `${font} system-ui, sans-serif`);
  const WIDTHS = [[1.4, 3.4], [1, 2.4], [0.8, 1.6]]; /* of roads, far out and close to */
  const shown = (kind, rank, zoom) => zoom >= (FROM_ZOOM[kind]?.[rank - 1] ?? 0);

  const unfolded = ([kind, rank, parts]) => ({ kind, rank, parts: parts.map(unpacked) });
  const lines = data.backdrop.lines.map(unfolded);
  const areas = data.backdrop.areas.map(unfolded);
  const names = data.backdrop.names.map(([text, rank, lon, lat]) => ({ text: short(text), rank, x: toX(lon), y: toY(lat) }));

  /* A picture of light becomes black and white of some strength, so that it fits day and night. */
  const shades = data.backdrop.shades.map(([[west, south, east, north], url]) => {
    const shade = { box: [toX(west), toY(north), toX(east), toY(south)], picture: null };
    const image = new Image();
    image.onload = () => {
      const canvas = document.createElement("canvas");
      [canvas.width, canvas.height] = [image.width, image.height];
      const ctx = canvas.getContext("2d", { willReadFrequently: true });
      ctx.drawImage(image, 0, 0);
      const pixels = ctx.getImageData(0, 0, image.width, image.height);
      const rgba = pixels.data;
      for (let k = 0; k < rgba.length; k += 4) {
        const light = rgba[k];
        const [grey, strength] = light > FLAT ? [255, (light - FLAT) / (255 - FLAT) * 0.5] : [0, (FLAT - light) / FLAT * 0.4];
        rgba[k] = rgba[k + 1] = rgba[k + 2] = grey;
        rgba[k + 3] = light ? Math.round(strength * 255) : 0;
      }
      ctx.putImageData(pixels, 0, 0);
      shade.picture = canvas;
      saltreach.redraw();
    };
    image.src = url;
    return shade;
  });

  const paper = window.matchMedia("print");
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  /* Shade and areas, on the land and below its shore. */
  function ground(frame) {
    const { ctx, scale, origin, inView } = frame;
    if (!paper.matches) {
      ctx.globalAlpha = dark.matches ? 0.6 : 0.8;
      for (const { box, picture } of shades) {
        if (!picture || !inView(box)) continue;
        ctx.drawImage(picture, box[0] * scale - origin.x, box[1] * scale - origin.y,
          (box[2] - box[0]) * scale, (box[3] - box[1]) * scale);
      }
      ctx.globalAlpha = 1;
    }
    for (const { kind, parts } of areas) {
      ctx.beginPath();
      for (const part of parts) if (inView(part.box)) trace(frame, part);
      ctx.fillStyle = colour(kind === "salt lake" ? "--sea" : "--quarry");
      ctx.fill("evenodd");
      ctx.strokeStyle = colour(kind === "salt lake" ? "--shore" : "--cliff");
      ctx.lineWidth = 1;
      ctx.setLineDash(kind === "salt lake" ? [] : [3, 2]);
      ctx.stroke();
      ctx.setLineDash([]);
    }
  }
  function drawLines(frame) {
    const { ctx, zoom, inView } = frame;
    for (const { kind, rank, parts } of lines) {
      if (!shown(kind, rank, zoom)) continue;
      ctx.beginPath();
      for (const part of parts) if (inView(part.box)) trace(frame, part);
      const [far, near] = WIDTHS[rank - 1] ?? WIDTHS[2];
      ctx.lineWidth = kind === "road" ? Math.min(near, Math.max(far, far + (zoom - 9) / 6 * (near - far))) : 1.2;
      ctx.strokeStyle = colour(kind === "road" ? "--road" : "--cliff");
      ctx.setLineDash(kind === "road" ? [] : [5, 2.5]);
      ctx.stroke();
    }
    ctx.setLineDash([]);
  }
  /* The most important first; each where it covers nothing, least of all a sector's own name. */
  function drawNames(frame, name) {
    const { ctx, scale, origin, zoom, view } = frame;
    let left = 60;
    for (const { text, rank, x, y } of names) {
      if (left <= 0) break;
      if (!shown("place", rank, zoom) || x < view[0] || x > view[2] || y < view[1] || y > view[3]) continue;
      const [px, py] = [x * scale - origin.x, y * scale - origin.y];
      const soft = colour("--soft");
      if (!name(frame, text, [[px + 6, py, "left"], [px - 6, py, "right"], [px, py - 12, "center"], [px, py + 12, "center"]],
        FONTS[rank - 1] ?? FONTS[2], soft)) continue;
      left -= 1;
      ctx.beginPath(); ctx.arc(px, py, rank === 1 ? 2.6 : 1.8, 0, 7);
      ctx.fillStyle = soft;
      ctx.fill();
    }
  }

  const tick = byId("backdrop");
  saltreach.behind = { ground, lines: drawLines, names: drawNames, get wanted() { return tick.checked; } };
  tick.addEventListener("change", () => saltreach.redraw());
})();
