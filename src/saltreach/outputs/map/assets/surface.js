"use strict";
/* The drawing of the map: land, sector shapes, anchors and names on one canvas. Positions are
   kept in Mercator units of zoom 0 (256 wide), so a redraw is a multiplication. */
(() => {
  const { data, sectors, count, colouring, colour, shown, state, letter, patternFill, on, changed, known } = saltreach;
  const BADGE_PX = 12;
  const SMALL_PX = 40;       /* a shape smaller than this is drawn as a badge */
  const ANCHOR_ZOOM = 14;
  const FEW_SECTORS = 250;   /* up to this many, badges may step aside; beyond, they are counted */
  const MANY_PARTS = 3000;   /* pieces of land above which the smallest are left out */
  const MANY_ANCHORS = 6000; /* above this in view, anchors become dots of two pixels */

  const toX = (lon) => (lon + 180) / 360 * 256;
  const toY = (lat) => {
    const s = Math.sin(Math.max(-85.05, Math.min(85.05, lat)) * Math.PI / 180);
    return (0.5 - Math.log((1 + s) / (1 - s)) / (4 * Math.PI)) * 256;
  };
  function projected(flat) {
    const xy = new Float64Array(flat.length);
    const box = [Infinity, Infinity, -Infinity, -Infinity];
    for (let k = 0; k < flat.length; k += 2) {
      const x = xy[k] = toX(flat[k]);
      const y = xy[k + 1] = toY(flat[k + 1]);
      if (x < box[0]) box[0] = x;
      if (y < box[1]) box[1] = y;
      if (x > box[2]) box[2] = x;
      if (y > box[3]) box[3] = y;
    }
    return { xy, box };
  }
  const joined = (boxes) => boxes.reduce((a, b) => [Math.min(a[0], b[0]), Math.min(a[1], b[1]),
    Math.max(a[2], b[2]), Math.max(a[3], b[3])], [Infinity, Infinity, -Infinity, -Infinity]);

  /* Lines come as steps of 1e-5 degrees. An edge on the window's own edge is no shore. */
  const [west, south, east, north] = data.window.map((v) => Math.round(v * 1e5));
  function unpacked(steps) {
    const flat = new Float64Array(steps.length);
    const cut = new Uint8Array(steps.length / 2);
    let [x, y] = [0, 0];
    for (let k = 0; k < steps.length; k += 2) {
      const [lastX, lastY] = [x, y];
      x += steps[k];
      y += steps[k + 1];
      cut[k / 2] = (x === lastX && (x === west || x === east)) || (y === lastY && (y === south || y === north));
      flat[k] = x / 1e5;
      flat[k + 1] = y / 1e5;
    }
    return { ...projected(flat), cut };
  }
  const land = data.coast.parts.map(unpacked);
  /* A window once around the world goes on beyond its edges. */
  const TURNS = east - west >= 359.9e5 ? [-256, 0, 256] : [0];
  const NOWHERE = [Infinity, Infinity, -Infinity, -Infinity];
  const shapes = sectors.label.map(([lon, lat], i) => {
    const parts = data.tiled ? null : sectors.outline[i].map(projected);
    const around = sectors.box?.[i];
    return { parts, box: parts ? joined(parts.map((part) => part.box))
      : around ? [toX(around[0]), toY(around[3]), toX(around[2]), toY(around[1])] : NOWHERE,
    x: known(lon) ? toX(lon) : NaN, y: known(lat) ? toY(lat) : NaN };
  });
  /* Shapes and anchors of a tile, once it is open. */
  on("opened", (members) => { for (const i of members) shapes[i].parts = sectors.outline[i].map(projected); });
  on("closed", (members) => { for (const i of members) shapes[i].parts = null; });
  const { anchors } = saltreach;
  const wholeX = anchors.tiled ? null : Float64Array.from(data.anchors.lon, toX);
  const wholeY = anchors.tiled ? null : Float64Array.from(data.anchors.lat, toY);
  const anchorX = anchors.tiled ? (k) => toX(anchors.lon(k)) : (k) => wholeX[k];
  const anchorY = anchors.tiled ? (k) => toY(anchors.lat(k)) : (k) => wholeY[k];
  const looseTiles = (data.anchors.loose ?? []).map(([tile, ...box]) => {
    const [w, s, e, n] = box.map((v) => v / 1e6);
    return [tile, [toX(w), toY(n), toX(e), toY(s)]];
  });
  const crags = new Map();
  sectors.crag.forEach((crag, i) => {
    if (!crags.has(crag)) crags.set(crag, []);
    crags.get(crag).push(i);
  });

  let layout = { zoom: NaN, places: [] };
  let drawn = { anchors: [] };

  /* Badges in order of the list: worst keep their place, others step aside in rings around
     their own point; what finds no room is counted on the nearest badge. */
  function placeBadges(zoom) {
    const scale = 2 ** zoom;
    const order = [];
    for (let i = 0; i < count; i += 1) if (shown[i] && !Number.isNaN(shapes[i].x)) order.push(i);
    const rings = order.length <= FEW_SECTORS ? 2 : 0;
    const gap = BADGE_PX * 2 + (rings ? 3 : 26);
    const cells = new Map();
    const places = new Array(count).fill(null);
    const cell = (x, y) => Math.floor(x / gap) * 0x2000000 + Math.floor(y / gap);
    function nearest(x, y) {
      let best = null;
      let bestDistance = Infinity;
      for (let i = -1; i <= 1; i += 1) {
        for (let j = -1; j <= 1; j += 1) {
          for (const place of cells.get(cell(x + i * gap, y + j * gap)) ?? []) {
            const distance = Math.hypot(place.x - x, place.y - y);
            if (distance < bestDistance) { bestDistance = distance; best = place; }
          }
        }
      }
      return [best, bestDistance];
    }
    function put(i, x, y, size) {
      const place = { i, x, y, size, others: [] };
      places[i] = place;
      const key = cell(x, y);
      if (!cells.has(key)) cells.set(key, []);
      cells.get(key).push(place);
    }
    const sizeOf = (i) => Math.max(shapes[i].box[2] - shapes[i].box[0], shapes[i].box[3] - shapes[i].box[1]) * scale;
    for (const i of order) {
      /* Where anchors are drawn, the letter moves to the shape's upper edge, off the anchors. */
      const y = zoom >= ANCHOR_ZOOM ? shapes[i].box[1] : shapes[i].y;
      if (sizeOf(i) >= SMALL_PX) put(i, shapes[i].x * scale, y * scale, sizeOf(i));
    }
    for (const i of order) {
      if (places[i]) continue;
      const x = shapes[i].x * scale;
      const y = shapes[i].y * scale;
      let free = null;
      for (let ring = 0; ring <= rings && !free; ring += 1) {
        for (let step = 0; step < Math.max(1, ring * 6) && !free; step += 1) {
          const angle = step / (ring * 6 || 1) * 2 * Math.PI - Math.PI / 2;
          const at = [x + Math.cos(angle) * ring * gap, y + Math.sin(angle) * ring * gap];
          if (nearest(...at)[1] >= gap - 0.5) free = at;
        }
      }
      if (free) put(i, free[0], free[1], 0);
      else nearest(x, y)[0]?.others.push(i);
    }
    layout = { zoom, places: places.filter(Boolean) };
  }

  const Surface = L.Renderer.extend({
    options: { padding: 0.2 },
    _initContainer() {
      this._container = document.createElement("canvas");
      this._container.className = "surface";
      this._container.setAttribute("aria-hidden", "true");
      this._ctx = this._container.getContext("2d");
    },
    _destroyContainer() { this._container.remove(); },
    getEvents() {
      return { ...L.Renderer.prototype.getEvents.call(this), move: this._onMove };
    },
    /* While the map is dragged, draw again before the edge of the drawing comes into view. */
    _onMove() {
      if (this._map._animatingZoom || this._map.getZoom() !== this._zoom) return;
      const size = this._map.getSize();
      const moved = this._map.latLngToContainerPoint(this._center).subtract(size.divideBy(2));
      if (Math.abs(moved.x) > size.x * 0.15 || Math.abs(moved.y) > size.y * 0.15) this._update();
    },
    _update() {
      if (this._map._animatingZoom && this._bounds) return;
      L.Renderer.prototype._update.call(this);
      const size = this._bounds.getSize();
      const ratio = window.devicePixelRatio || 1;
      this._container.width = size.x * ratio;
      this._container.height = size.y * ratio;
      this._container.style.width = `${size.x}px`;
      this._container.style.height = `${size.y}px`;
      L.DomUtil.setPosition(this._container, this._bounds.min);
      this._ratio = ratio;
      this.draw();
    },
    _updatePaths() {},
    /* The part of the drawing that the screen shows: left, top, right, bottom. */
    _seen() {
      const corner = this._map.containerPointToLayerPoint([0, 0]).subtract(this._bounds.min);
      const size = this._map.getSize();
      return [corner.x, corner.y, corner.x + size.x, corner.y + size.y];
    },

    draw() {
      const ctx = this._ctx;
      const zoom = this._zoom;
      const scale = 2 ** zoom;
      const origin = this._map.getPixelOrigin().add(this._bounds.min);
      const size = this._bounds.getSize();
      const view = [origin.x / scale, origin.y / scale, (origin.x + size.x) / scale, (origin.y + size.y) / scale];
      const inView = (box, pad = 0) => box[0] - pad <= view[2] && box[2] + pad >= view[0]
        && box[1] - pad <= view[3] && box[3] + pad >= view[1];
      ctx.setTransform(this._ratio, 0, 0, this._ratio, 0, 0);
      ctx.clearRect(0, 0, size.x, size.y);
      ctx.lineJoin = ctx.lineCap = "round";
      if (layout.zoom !== zoom) placeBadges(zoom);
      const frame = { ctx, zoom, scale, origin, size, view, inView, ratio: this._ratio, edge: colour("--edge"),
        halo: colour("--halo"), ink: colour("--ink"), taken: [], seen: this._seen() };
      if (!this.withTiles) { drawGrid(frame, this._map); drawLand(frame); }
      const behind = this.withTiles || !saltreach.behind?.wanted ? null : saltreach.behind;
      behind?.lines(frame);
      if (anchors.tiled) anchors.want(tilesOf(frame));
      drawSectors(frame);
      drawAnchors(frame);
      drawBadges(frame);
      drawNames(frame);
      behind?.names(frame, name);
      changed("drawn");
    },
  });

  /* Tiles whose shapes or anchors this drawing would show. */
  function tilesOf({ zoom, inView, scale }) {
    const found = new Set();
    for (const { i, size } of layout.places) if (size && inView(shapes[i].box)) found.add(sectors.tile[i]);
    if (zoom < ANCHOR_ZOOM) return found;
    for (let i = 0; i < count; i += 1) if (shown[i] && inView(shapes[i].box)) found.add(sectors.tile[i]);
    for (const [tile, box] of looseTiles) if (inView(box)) found.add(tile);
    return found;
  }
  function trace(frame, part, path = frame.ctx, turn = 0, cut = null) {
    const { scale, origin } = frame;
    const { xy } = part;
    let lastX = NaN;
    let lastY = NaN;
    for (let k = 0; k < xy.length; k += 2) {
      const x = (xy[k] + turn) * scale - origin.x;
      const y = xy[k + 1] * scale - origin.y;
      if (k === 0 || (cut && cut[k / 2])) path.moveTo(x, y);
      else if (k >= xy.length - 2 || Math.abs(x - lastX) + Math.abs(y - lastY) > 0.8 || (cut && cut[k / 2 + 1])) path.lineTo(x, y);
      else continue;
      lastX = x;
      lastY = y;
    }
  }
  function drawLand(frame) {
    const { ctx, scale, inView } = frame;
    const [area, shore, shoal] = [new Path2D(), new Path2D(), new Path2D()];
    /* Of very many islets those that make no pixel are left out, and the shoal of small ones. */
    const leastPx = land.length > MANY_PARTS ? 1 : 0;
    for (const turn of TURNS) {
      for (const part of land) {
        const [w, n, e, s] = part.box;
        if (!inView([w + turn, n, e + turn, s], 20 / scale)) continue;
        const px = Math.max(e - w, s - n) * scale;
        if (px < leastPx) continue;
        trace(frame, part, area, turn);
        trace(frame, part, shore, turn, part.cut);
        if (px >= 8 * leastPx) trace(frame, part, shoal, turn, part.cut);
      }
    }
    if (data.coast.kind === "land") {
      for (const [width, alpha] of [[26, 0.35], [13, 0.55]]) {
        ctx.globalAlpha = alpha;
        ctx.strokeStyle = colour("--shoal");
        ctx.lineWidth = width;
        ctx.stroke(shoal);
      }
      ctx.globalAlpha = 1;
      ctx.fillStyle = colour("--land");
      ctx.fill(area, "evenodd");
    }
    if (saltreach.raster?.wanted) saltreach.raster.draw(frame);
    if (saltreach.behind?.wanted) saltreach.behind.ground(frame);
    ctx.strokeStyle = colour("--shore");
    ctx.lineWidth = 1;
    ctx.stroke(shore);
  }
  function drawGrid(frame, map) {
    const { ctx, size } = frame;
    const west = map.containerPointToLatLng([0, 0]).lng;
    const east = map.containerPointToLatLng([map.getSize().x, 0]).lng;
    const step = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30].find((s) => (east - west) / s < 8) ?? 30;
    ctx.strokeStyle = colour("--grid");
    ctx.lineWidth = 1;
    ctx.beginPath();
    const { view, scale, origin } = frame;
    const first = Math.floor((view[0] / 256 * 360 - 180) / step);
    for (let k = first; k * step <= view[2] / 256 * 360 - 180; k += 1) {
      const x = Math.round(toX(k * step) * scale - origin.x) + 0.5;
      ctx.moveTo(x, 0); ctx.lineTo(x, size.y);
    }
    for (let k = Math.ceil(-85 / step); k * step <= 85; k += 1) {
      const y = toY(k * step) * scale - origin.y;
      if (y < 0 || y > size.y) continue;
      ctx.moveTo(0, Math.round(y) + 0.5); ctx.lineTo(size.x, Math.round(y) + 0.5);
    }
    ctx.stroke();
  }

  function drawSectors(frame) {
    const { ctx, inView, ratio, edge, halo } = frame;
    const fills = new Map();
    for (let k = layout.places.length - 1; k >= 0; k -= 1) {
      const { i, size } = layout.places[k];
      if (!size || !shapes[i].parts || !inView(shapes[i].box)) continue;
      const style = colouring.ofSector(i);
      if (!fills.has(style)) fills.set(style, patternFill(ctx, style, ratio));
      ctx.beginPath();
      for (const part of shapes[i].parts) { trace(frame, part); ctx.closePath(); }
      /* Close to, the anchors matter more than the shape around them. */
      ctx.globalAlpha = frame.zoom >= ANCHOR_ZOOM + 1.5 ? 0.55 : 0.85;
      ctx.fillStyle = style.fill;
      ctx.fill("evenodd");
      const pattern = fills.get(style);
      if (pattern) { ctx.fillStyle = pattern; ctx.fill("evenodd"); }
      ctx.globalAlpha = 1;
      const marked = i === state.selected || i === state.near;
      ctx.strokeStyle = halo;
      ctx.lineWidth = marked ? 7 : 3.5;
      ctx.stroke();
      ctx.strokeStyle = marked ? colour("--accent") : edge;
      ctx.lineWidth = marked ? 3.5 : 1.25;
      ctx.stroke();
    }
  }

  function drawAnchors(frame) {
    const { ctx, scale, origin, size, zoom, edge } = frame;
    const found = [];
    if (zoom >= ANCHOR_ZOOM) {
      const [west, north, east, south] = frame.view;
      anchors.within(frame.view, (k) => {
        const [x, y] = [anchorX(k), anchorY(k)];
        if (x < west || x > east || y < north || y > south) return;
        const of = anchors.sector(k);
        if (of < 0 || shown[of]) found.push(k);
      });
      const radius = found.length > MANY_ANCHORS ? 1.5 : Math.min(9, 2.6 + (zoom - ANCHOR_ZOOM) * 1.5);
      const groups = new Map();
      for (const k of found) {
        const style = colouring.ofAnchor(k);
        if (!groups.has(style)) groups.set(style, []);
        groups.get(style).push(k);
      }
      ctx.strokeStyle = edge;
      ctx.lineWidth = 1;
      for (const [style, members] of groups) {
        ctx.fillStyle = style.fill;
        ctx.beginPath();
        for (const k of members) {
          const x = anchorX(k) * scale - origin.x;
          const y = anchorY(k) * scale - origin.y;
          if (radius < 2) ctx.rect(x - 1, y - 1, 2, 2);
          else { ctx.moveTo(x + radius, y); ctx.arc(x, y, radius, 0, 7); }
        }
        ctx.fill();
        if (radius >= 2) ctx.stroke();
        if (radius >= 7) for (const k of members) letter(ctx, style, anchorX(k) * scale - origin.x, anchorY(k) * scale - origin.y, radius * 1.3);
      }
      const picked = saltreach.pickedAnchor;
      if (picked >= 0) {
        ctx.strokeStyle = colour("--accent");
        ctx.lineWidth = 3;
        ctx.beginPath();
        ctx.arc(anchorX(picked) * scale - origin.x, anchorY(picked) * scale - origin.y, radius + 4, 0, 7);
        ctx.stroke();
      }
    }
    drawn = { anchors: found };
  }

  function drawBadges(frame) {
    const { ctx, scale, origin, size, edge, halo } = frame;
    const inside = layout.places.filter((p) => p.x > origin.x - 40 && p.x < origin.x + size.x + 40
      && p.y > origin.y - 40 && p.y < origin.y + size.y + 40);
    const last = (p) => p.i === state.selected || p.i === state.near || p.others.includes(state.selected);
    inside.sort((a, b) => last(a) - last(b) || b.i - a.i);
    ctx.strokeStyle = edge;
    ctx.globalAlpha = 0.55;
    ctx.lineWidth = 1;
    for (const p of inside) {
      const x = shapes[p.i].x * scale - origin.x;
      const y = shapes[p.i].y * scale - origin.y;
      if (p.size || Math.hypot(p.x - origin.x - x, p.y - origin.y - y) < 2) continue;
      ctx.beginPath(); ctx.moveTo(x, y); ctx.lineTo(p.x - origin.x, p.y - origin.y); ctx.stroke();
    }
    ctx.globalAlpha = 1;
    for (const p of inside) {
      const x = p.x - origin.x;
      const y = p.y - origin.y;
      const style = colouring.ofSector(p.i);
      const radius = p.size ? BADGE_PX - 1 : BADGE_PX;
      ctx.beginPath(); ctx.arc(x, y, radius, 0, 7);
      ctx.strokeStyle = last(p) ? colour("--accent") : halo;
      ctx.lineWidth = last(p) ? 8 : 4;
      ctx.stroke();
      ctx.fillStyle = style.fill;
      ctx.fill();
      ctx.strokeStyle = edge;
      ctx.lineWidth = 1.25;
      ctx.stroke();
      letter(ctx, style, x, y, 13);
      frame.taken.push([x - radius - 2, y - radius - 2, x + radius + 2, y + radius + 2]);
      if (p.others.length) {
        const text = `+${p.others.length}`;
        ctx.font = "700 11px system-ui, sans-serif";
        const width = ctx.measureText(text).width + 8;
        ctx.beginPath(); ctx.roundRect(x + 5, y - 19, width, 15, 7.5);
        ctx.fillStyle = frame.ink; ctx.fill();
        ctx.fillStyle = halo; ctx.textAlign = "left"; ctx.textBaseline = "middle";
        ctx.fillText(text, x + 9, y - 11);
      }
    }
  }

  const short = (text) => (text.length > 30 ? `${text.slice(0, 29)}…` : text);
  /* A text at the first of some places where it covers nothing; whether there is one. */
  function name(frame, text, boxes, font, ink = frame.ink) {
    const { ctx, taken, seen } = frame;
    const clash = (box) => taken.some((o) => box[0] < o[2] && box[2] > o[0] && box[1] < o[3] && box[3] > o[1]);
    const whole = (box) => box[0] >= seen[0] && box[1] >= seen[1] && box[2] <= seen[2] && box[3] <= seen[3];
    ctx.font = font;
    const width = ctx.measureText(text).width;
    const box = boxes.map(([x, y, align]) => {
      const left = align === "left" ? x : align === "right" ? x - width : x - width / 2;
      return [left - 3, y - 9, left + width + 3, y + 9];
    }).find((one) => whole(one) && !clash(one));
    if (!box) return false;
    taken.push(box);
    ctx.textAlign = "left";
    ctx.textBaseline = "middle";
    ctx.strokeStyle = frame.halo;
    ctx.lineWidth = 3.5;
    ctx.globalAlpha = 0.85;
    ctx.strokeText(text, box[0] + 3, box[1] + 9);
    ctx.globalAlpha = 1;
    ctx.fillStyle = ink;
    ctx.fillText(text, box[0] + 3, box[1] + 9);
    return true;
  }
  function drawNames(frame) {
    const { scale, origin, size, taken, seen } = frame;
    taken.push([seen[0], seen[1], seen[0] + 225, seen[1] + 58]); /* the map's buttons */
    taken.push([seen[0], seen[3] - 26, seen[0] + 150, seen[3]]); /* the scale bar */
    const byCrag = new Map();
    for (const p of layout.places) {
      const x = p.x - origin.x;
      const y = p.y - origin.y;
      if (x < 0 || y < 0 || x > size.x || y > size.y) continue;
      const crag = sectors.crag[p.i];
      if (!byCrag.has(crag)) byCrag.set(crag, []);
      byCrag.get(crag).push(p);
    }
    let left = 160;
    for (const [crag, places] of byCrag) {
      if (left <= 0) break;
      const large = places.filter((p) => p.size);
      const closeUp = large.length && frame.zoom >= 12;
      if (closeUp) {
        for (const p of large) {
          const box = shapes[p.i].box;
          const middle = (box[0] + box[2]) / 2 * scale - origin.x;
          name(frame, short(sectors.sector[p.i] ?? saltreach.t("not_known")), [
            [middle, box[3] * scale - origin.y + 12, "center"], [middle, box[1] * scale - origin.y - 22, "center"]],
          "500 12.5px system-ui, sans-serif");
          left -= 1;
        }
      }
      const [w, n, e, s] = joined(places.map((p) => (p.size
        ? [shapes[p.i].box[0] * scale - origin.x, shapes[p.i].box[1] * scale - origin.y,
          shapes[p.i].box[2] * scale - origin.x, shapes[p.i].box[3] * scale - origin.y]
        : [p.x - origin.x - BADGE_PX, p.y - origin.y - BADGE_PX, p.x - origin.x + BADGE_PX, p.y - origin.y + BADGE_PX])));
      const [mx, my] = [(w + e) / 2, (n + s) / 2];
      const out = closeUp ? 34 : 15;
      name(frame, short(crag ?? saltreach.t("not_known")), [[mx, s + out, "center"], [mx, n - out, "center"],
        [e + 8, my, "left"], [w - 8, my, "right"]], "650 13.5px system-ui, sans-serif");
      left -= 1;
    }
  }

  /* What lies under a point of the screen: a badge, an anchor, a shape, or nothing. */
  function under(map, containerPoint, slack) {
    const at = map.containerPointToLayerPoint(containerPoint).add(map.getPixelOrigin());
    const scale = 2 ** map.getZoom();
    let best = null;
    let bestDistance = BADGE_PX + slack;
    for (const p of layout.places) {
      const distance = Math.hypot(p.x - at.x, p.y - at.y);
      if (distance < bestDistance) { best = p; bestDistance = distance; }
    }
    if (best) return { sector: best.i, others: best.others, anchor: -1 };
    let anchor = -1;
    let near = 9 + slack;
    for (const k of drawn.anchors) {
      const distance = Math.hypot(anchorX(k) * scale - at.x, anchorY(k) * scale - at.y);
      if (distance < near) { near = distance; anchor = k; }
    }
    if (anchor >= 0) return { sector: anchors.sector(anchor), others: [], anchor };
    const x = at.x / scale;
    const y = at.y / scale;
    const hit = layout.places.find((p) => p.size && shapes[p.i].parts && contains(shapes[p.i], x, y));
    return hit ? { sector: hit.i, others: [], anchor: -1 } : null;
  }
  function contains(shape, x, y) {
    let inside = false;
    for (const { xy } of shape.parts) {
      for (let k = 0, j = xy.length - 2; k < xy.length; j = k, k += 2) {
        if ((xy[k + 1] > y) !== (xy[j + 1] > y)
          && x < (xy[j] - xy[k]) * (y - xy[k + 1]) / (xy[j + 1] - xy[k + 1]) + xy[k]) inside = !inside;
      }
    }
    return inside;
  }

  const lonOf = (x) => x / 256 * 360 - 180;
  const latOf = (y) => Math.atan(Math.sinh(Math.PI * (1 - 2 * y / 256))) * 180 / Math.PI;
  function boundsOf(members) {
    const box = joined(members.map((i) => shapes[i].box));
    return Number.isFinite(box[0]) ? L.latLngBounds([latOf(box[3]), lonOf(box[0])], [latOf(box[1]), lonOf(box[2])]) : null;
  }

  Object.assign(saltreach, { toX, toY, unpacked, trace, short });
  saltreach.pickedAnchor = -1;
  saltreach.surface = new Surface();
  saltreach.under = under;
  saltreach.boundsOf = boundsOf;
  /* Whether any of a sector's box is on the screen. */
  saltreach.onScreen = (i) => {
    const [corner, size, scale] = [saltreach.map.getPixelBounds().min, saltreach.map.getSize(), 2 ** saltreach.map.getZoom()];
    const [w, n, e, s] = shapes[i].box;
    return w * scale <= corner.x + size.x && e * scale >= corner.x && n * scale <= corner.y + size.y && s * scale >= corner.y;
  };
  saltreach.cragOf = (i) => crags.get(sectors.crag[i]);
  /* Where a sector's mark stands on the screen; null when it is counted on another's badge. */
  saltreach.screenPlace = (i) => {
    const place = layout.places.find((p) => p.i === i);
    if (!place) return null;
    return saltreach.map.layerPointToContainerPoint(L.point(place.x, place.y).subtract(saltreach.map.getPixelOrigin()));
  };
  saltreach.redraw = () => { if (saltreach.surface._bounds) saltreach.surface.draw(); };
  on("filters", () => { layout.zoom = NaN; saltreach.redraw(); });
  on("language", () => saltreach.redraw());
})();
