"use strict";
/* A surface behind the sectors: one picture, on or off, with its own legend. */
(() => {
  const { data, toX, toY, byId } = saltreach;
  if (!data.raster) return;
  const [west, south, east, north] = data.raster.box;
  const box = [toX(west), toY(north), toX(east), toY(south)];
  const image = new Image();
  image.onload = () => saltreach.redraw();
  image.src = data.raster.url;
  const tick = byId("raster");
  const legend = byId("raster-legend");
  function draw({ ctx, scale, origin }) {
    if (!image.complete || !image.naturalWidth) return;
    ctx.globalAlpha = 0.75;
    ctx.imageSmoothingEnabled = false;
    for (const turn of [-256, 0, 256]) {
      ctx.drawImage(image, (box[0] + turn) * scale - origin.x, box[1] * scale - origin.y,
        (box[2] - box[0]) * scale, (box[3] - box[1]) * scale);
    }
    ctx.globalAlpha = 1;
  }
  for (const swatch of legend.querySelectorAll("[data-colour]")) swatch.style.background = swatch.dataset.colour;
  saltreach.raster = { draw, get wanted() { return tick.checked; } };
  tick.addEventListener("change", () => {
    legend.hidden = !tick.checked;
    saltreach.redraw();
  });
})();
