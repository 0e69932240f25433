"use strict";
/* Ties the map that folium made to the drawing, the list and the card. */
(() => {
  const { data, sectors, t, byId, state, on, el, bandWord, colouring, redraw } = saltreach;
  const map = saltreach.map = window[data.map];
  const container = map.getContainer();
  container.setAttribute("role", "application");
  const nameMap = () => container.setAttribute("aria-label", t("map_label"));
  nameMap();
  on("language", nameMap);
  container.classList.toggle("no-sea", data.coast.kind !== "land");
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  if (calm) Object.assign(map.options, { zoomAnimation: false, fadeAnimation: false, inertia: false });

  const box = ([west, south, east, north]) => L.latLngBounds([south, west], [north, east]);
  const phone = window.matchMedia("screen and (max-width: 760px)");
  /* Room for badges and buttons around what is fitted; on a small map no more than it can spare. */
  function margins() {
    const size = map.getSize();
    const side = phone.matches ? 34 : 80;
    const part = (px, whole, most) => Math.min(px, Math.floor(whole * most));
    const under = !phone.matches && !byId("card").hidden ? byId("card").offsetWidth : 0;
    const right = under && size.x - under > 240 ? under : 0;
    return { paddingTopLeft: [part(side, size.x - right, 0.2), part(phone.matches ? 84 : 60, size.y, 0.3)],
      paddingBottomRight: [right + part(side, size.x - right, 0.2), part(phone.matches ? 34 : 60, size.y, 0.2)] };
  }
  const LOWEST_ZOOM = -4; /* the whole world in a window of a few pixels */
  let restful = null;     /* the view that `whole` left, until the reader moves the map */
  /* Every sector is inside the view. The limits of zoom and of dragging follow from that view:
     a region over half the world needs more room than its own window has on a wide screen. */
  function whole() {
    const region = box(data.region);
    const margin = margins();
    map.setMaxBounds(null);
    map.options.minZoom = LOWEST_ZOOM;
    map.fitBounds(region, { ...margin, maxZoom: 15, animate: false });
    map.setMaxBounds(box(data.window).extend(map.getBounds()));
    limit(margin);
    restful = { centre: map.getCenter(), zoom: map.getZoom() };
  }
  function limit({ paddingTopLeft, paddingBottomRight } = margins()) {
    map.options.minZoom = LOWEST_ZOOM;
    const room = L.point(paddingTopLeft).add(paddingBottomRight);
    map.setMinZoom(Math.min(map.getBoundsZoom(box(data.window), true),
      map.getBoundsZoom(box(data.region), false, room), map.getZoom()));
  }
  const atRest = () => restful && map.getZoom() === restful.zoom && map.getCenter().equals(restful.centre, 1e-6);
  map.options.maxBoundsViscosity = 0.8;
  whole();
  L.control.scale({ imperial: false, position: "bottomleft", maxWidth: 140 }).addTo(map);
  saltreach.surface.addTo(map);

  saltreach.zoomTo = (i) => {
    const bounds = saltreach.boundsOf(saltreach.cragOf(i)) ?? saltreach.boundsOf([i]);
    if (!bounds) return;
    const right = phone.matches ? 40 : 440;
    map.fitBounds(bounds, { paddingTopLeft: [50, phone.matches ? 84 : 60], paddingBottomRight: [right, phone.matches ? 120 : 60], maxZoom: 15.5 });
  };

  /* Pointer: a tip while hovering, the card on a click. */
  const tip = byId("tip");
  const coarse = window.matchMedia("(pointer: coarse)").matches;
  function showTip(hit, point) {
    tip.hidden = !hit;
    if (!hit) return;
    const i = hit.sector;
    const lines = i >= 0 ? [el("strong", { text: sectors.sector[i] ?? t("not_known") }),
      el("div", { text: `${sectors.crag[i] ?? t("not_known")}: ${bandWord(colouring.ofSector(i))}` })] : [];
    if (hit.anchor >= 0) lines.unshift(el("div", { text: `${t("anchor")} ${saltreach.anchors.id(hit.anchor) ?? ""}` }));
    if (hit.others.length) lines.push(el("div", { text: t("more_here", { n: hit.others.length + 1 }) }));
    tip.replaceChildren(...lines);
    const size = map.getSize();
    tip.style.left = `${Math.max(4, Math.min(point.x + 14, size.x - tip.offsetWidth - 8))}px`;
    tip.style.top = `${Math.max(4, Math.min(point.y + 14, size.y - tip.offsetHeight - 8))}px`;
  }
  map.on("mousemove", (event) => {
    const hit = saltreach.under(map, event.containerPoint, 2);
    container.style.cursor = hit ? "pointer" : "";
    saltreach.near(hit ? hit.sector : -1);
    showTip(coarse ? null : hit, event.containerPoint);
  });
  map.on("mouseout movestart zoomstart", () => { tip.hidden = true; saltreach.near(-1); });
  map.on("click", (event) => {
    const hit = saltreach.under(map, event.containerPoint, coarse ? 8 : 3);
    tip.hidden = true;
    if (!hit) return;
    if (hit.anchor >= 0) saltreach.selectAnchor(hit.anchor);
    else if (hit.others.length) {
      map.fitBounds(saltreach.boundsOf([hit.sector, ...hit.others]), { padding: [80, 80], maxZoom: 15.5 });
    } else saltreach.select(hit.sector, { from: "map" });
  });

  byId("zoom-in").addEventListener("click", () => map.zoomIn(1));
  byId("zoom-out").addEventListener("click", () => map.zoomOut(1));
  byId("whole").addEventListener("click", whole);

  /* Background tiles are an extra: off at first, and gone again when they do not load. */
  if (data.tiles) {
    const tiles = window[data.tiles.layer];
    const tick = byId("tiles");
    let failures = 0;
    const show = (wanted) => {
      failures = 0;
      tick.checked = wanted;
      saltreach.surface.withTiles = wanted;
      if (wanted) tiles.addTo(map);
      else tiles.remove();
      redraw();
    };
    byId("tiles-switch").hidden = false;
    tick.addEventListener("change", () => { byId("note").textContent = ""; show(tick.checked); });
    tiles.on("tileerror", () => {
      failures += 1;
      if (failures === 3) { show(false); byId("note").textContent = t("tiles_failed"); }
    });
  }

  /* The legend or the window changed the map's size: a view of the whole region stays one. */
  new ResizeObserver(() => {
    const resting = atRest();
    map.invalidateSize({ animate: false });
    if (resting) whole();
    else limit();
  }).observe(container);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  /* Paper has another shape than the screen: show the crag of the open card, or the region. */
  let before = null;
  window.matchMedia("print").addEventListener("change", (event) => {
    const legend = byId("legend"); /* paper cannot be opened */
    if (event.matches) {
      before = { centre: map.getCenter(), zoom: map.getZoom(), open: legend.open };
      legend.open = true;
    } else legend.open = before.open;
    map.invalidateSize({ animate: false });
    const bounds = state.selected >= 0 ? saltreach.boundsOf(saltreach.cragOf(state.selected)) : null;
    if (!event.matches) map.setView(before.centre, before.zoom, { animate: false });
    else if (bounds) map.fitBounds(bounds, { padding: [40, 40], maxZoom: 15.5, animate: false });
    else whole();
    redraw();
  });
  const language = byId("language");
  const nameLanguage = () => { language.value = saltreach.texts.lang; };
  nameLanguage();
  on("language", nameLanguage);
  language.addEventListener("change", () => saltreach.setLanguage(language.value));
  saltreach.applyFilters();
  document.documentElement.dataset.ready = "yes";
})();
