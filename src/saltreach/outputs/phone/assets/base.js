"use strict";
/* What every part of the page uses: the data, the words, elements, the clock, what is said. */
const phone = {};
(() => {
  const data = JSON.parse(document.getElementById("phone-data").textContent);
  const texts = data.texts;
  const listeners = {};
  const pad = (n) => String(n).padStart(2, "0");

  function t(key, values = {}) {
    return (texts[key] ?? key).replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);
  }
  const counted = (key, n) => t(n === 1 ? `${key}_one` : `${key}_many`, { n });
  /* Words of the records stay as they are in the file; a language may show them otherwise. */
  const word = (value) => texts[`word_${value}`] ?? String(value);
  const label = (name) => texts[`label_${name}`] ?? name;

  /* Everything a user wrote reaches the page as text, never as markup. */
  function el(tag, how = {}, ...children) {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(how)) {
      if (value === undefined || value === null || value === false) continue;
      if (name === "text") made.textContent = value;
      else if (name === "on") for (const [event, act] of Object.entries(value)) made.addEventListener(event, act);
      else made.setAttribute(name, value === true ? "" : value);
    }
    made.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined));
    return made;
  }
  const byId = (id) => document.getElementById(id);
  const button = (text, act, how = {}) => el("button", { type: "button", class: "press", text, on: { click: act }, ...how });

  /* A step that cannot be undone takes two taps: the button changes its words and waits a while. */
  function twoTaps(text, again, act, how = {}) {
    let armed = 0;
    const made = button(text, () => {
      if (armed) { rest(); act(); return; }
      made.textContent = again;
      made.classList.add("armed");
      say(again);
      armed = setTimeout(rest, 8000);
    }, how);
    function rest() {
      clearTimeout(armed);
      armed = 0;
      made.textContent = text;
      made.classList.remove("armed");
    }
    return made;
  }

  const now = () => new Date();
  const dayOf = (moment) => `${moment.getFullYear()}-${pad(moment.getMonth() + 1)}-${pad(moment.getDate())}`;
  const timeOf = (moment) => `${pad(moment.getHours())}:${pad(moment.getMinutes())}`;

  /* `say` is read out when there is time, `warn` at once. */
  let quiet = 0;
  function say(text) {
    const box = byId("said");
    box.textContent = text;
    box.hidden = false;
    clearTimeout(quiet);
    quiet = setTimeout(() => { box.hidden = true; }, 6000);
  }
  const warnings = new Map();
  function warn(key, text, ...actions) {
    if (text === null) warnings.delete(key);
    else warnings.set(key, [text, actions]);
    byId("alarms").replaceChildren(...[...warnings.values()].map(([said, made]) =>
      el("div", { class: "alarm" }, el("p", { text: said }), ...made.map((make) => make()))));
  }

  const on = (event, act) => (listeners[event] ??= []).push(act);
  const emit = (event, ...what) => (listeners[event] ?? []).forEach((act) => act(...what));

  /* A record stands under its spot: the anchor's id, numbered where a trip comes to it twice. */
  const seen = new Map();
  const spots = data.trip.stops.flatMap((stop) => stop.anchors.map((spot) => {
    const times = (seen.get(spot.anchor_id) ?? 0) + 1;
    seen.set(spot.anchor_id, times);
    return { ...spot, stop, slot: times === 1 ? spot.anchor_id : `${spot.anchor_id}\n${times}` };
  })).map((spot, at) => ({ ...spot, at }));
  const size = (bytes) => bytes < 1e6 ? t("size_kb", { n: Math.max(1, Math.round(bytes / 1e3)) })
    : t("size_mb", { n: (bytes / 1e6).toFixed(1) });
  const plain = (text) => String(text).normalize("NFC").replace(/[^\p{L}\p{N}]+/gu, "_").replace(/^_+|_+$/g, "").slice(0, 40) || "unnamed";

  Object.assign(phone, {
    data, spots, t, counted, word, label, el, byId, button, twoTaps, now, dayOf, timeOf, pad, say, warn, on, emit, size, plain,
    spotOf: new Map(spots.map((spot) => [spot.slot, spot])),
    columnOf: new Map(data.columns.map((column) => [column.name, column])),
    key: `${data.trip.trip}\n${data.trip.made_from}`,
    state: { view: "list", at: 0, who: "" },
  });
})();
