"use strict";
/* Keeps every touch on the phone: IndexedDB, else the small store, else memory and a loud word.
   A touch is written as a change of single values into the record that is kept, within one
   transaction, so that two tabs do not undo each other's work. */
(() => {
  const { data, t, warn, emit, key } = phone;
  const NAME = "saltreach-phone";
  const VERSION = 1;
  const tab = newId();
  const records = new Map(); /* by slot: a spot of the trip, or that and a record's id */
  const photos = new Map();
  let driver = null;
  let channel = null;
  let waiting = 0;
  let failed = [];
  let last = Promise.resolve();
  const settled = () => last;

  function newId() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 15) | 64;
    bytes[8] = (bytes[8] & 63) | 128;
    const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
    return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
  }

  /* A record after a change; null takes a value away. What this page does not know stays. */
  function changed(record, slot, change) {
    const kept = record ?? { key, trip: data.trip.trip, made_from: data.trip.made_from, slot, values: {}, ...change.start };
    const values = { ...kept.values };
    for (const [name, value] of Object.entries(change.values ?? {})) {
      if (value === null) delete values[name];
      else values[name] = value;
    }
    return { ...kept, ...change.about, values, changed_at: Date.now() };
  }

  const asked = (request) => new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

  function indexed(opened) {
    let db = opened;
    /* The phone may die of the cold at any moment: written means written to the disk. */
    const within = (names, mode, work) => new Promise((resolve, reject) => {
      const step = db.transaction(names, mode, { durability: "strict" });
      let result, thrown;
      step.oncomplete = () => resolve(result);
      step.onabort = step.onerror = () => reject(thrown ?? step.error ?? new Error("aborted"));
      work(step, (value) => { result = value; }, (error) => { thrown = error; step.abort(); });
    });
    const all = (store, index, only) => within([store], "readonly", (step, give) => {
      const found = step.objectStore(store);
      (index ? found.index(index) : found).getAll(only).onsuccess = (event) => give(event.target.result);
    });
    return {
      kind: "indexeddb",
      again: async () => { db = await database(); }, /* some phones close it while the page sleeps */
      records: () => all("records", "key", key),
      ofTrip: () => all("records", "trip", data.trip.trip),
      photos: (of = key) => all("photos", "key", of),
      get: (slot) => asked(db.transaction(["records"]).objectStore("records").get([key, slot])),
      change: (slot, change) => within(["records"], "readwrite", (step, give, fail) => {
        const store = step.objectStore("records");
        store.get([key, slot]).onsuccess = (event) => {
          const next = changed(event.target.result, slot, change);
          try { store.put(next); } catch (error) { fail(error); }
          give(next);
        };
      }),
      drop: (slot) => within(["records"], "readwrite", (step) => step.objectStore("records").delete([key, slot])),
      putPhoto: (photo) => within(["photos"], "readwrite", (step) => step.objectStore("photos").put(photo)),
      dropPhoto: (id) => within(["photos"], "readwrite", (step) => step.objectStore("photos").delete([key, id])),
      setting: (name) => asked(db.transaction(["settings"]).objectStore("settings").get(name)).then((row) => row?.value),
      set: (name, value) => within(["settings"], "readwrite", (step) => step.objectStore("settings").put({ name, value })),
    };
  }

  /* The same over anything that keeps text under a name. */
  function keptAsText(shelf, kind) {
    const at = (store, ...parts) => [NAME, store, ...parts.map(encodeURIComponent)].join("|");
    const read = (name) => { const text = shelf.getItem(name); return text === null ? undefined : JSON.parse(text); };
    const each = (start) => Array.from({ length: shelf.length }, (_, i) => shelf.key(i)).filter((name) => name.startsWith(start)).map(read);
    const bytesOf = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer;
    const textOf = (bytes) => {
      let text = "";
      for (const byte of new Uint8Array(bytes)) text += String.fromCharCode(byte);
      return btoa(text);
    };
    return {
      kind,
      records: async () => each(`${at("record", key)}|`),
      ofTrip: async () => each(at("record", "")).filter((record) => record.trip === data.trip.trip),
      photos: async (of = key) => each(`${at("photo", of)}|`).map((photo) => ({ ...photo, bytes: bytesOf(photo.bytes) })),
      get: async (slot) => read(at("record", key, slot)),
      change: async (slot, change) => {
        const next = changed(read(at("record", key, slot)), slot, change);
        shelf.setItem(at("record", key, slot), JSON.stringify(next));
        return next;
      },
      drop: async (slot) => shelf.removeItem(at("record", key, slot)),
      putPhoto: async (photo) => shelf.setItem(at("photo", key, photo.photo_id), JSON.stringify({ ...photo, bytes: textOf(photo.bytes) })),
      dropPhoto: async (id) => shelf.removeItem(at("photo", key, id)),
      setting: async (name) => read(at("setting", name)),
      set: async (name, value) => shelf.setItem(at("setting", name), JSON.stringify(value)),
    };
  }
  function inMemory() {
    const kept = new Map();
    return keptAsText({
      get length() { return kept.size; },
      key: (i) => [...kept.keys()][i],
      getItem: (name) => kept.get(name) ?? null,
      setItem: (name, value) => kept.set(name, value),
      removeItem: (name) => kept.delete(name),
    }, "memory");
  }

  function database(version) {
    return new Promise((resolve, reject) => {
      const request = indexedDB.open(NAME, version);
      request.onupgradeneeded = () => { /* only adds what is missing: nothing that is kept is touched */
        const db = request.result;
        const made = (name, path) => (db.objectStoreNames.contains(name) ? request.transaction.objectStore(name)
          : db.createObjectStore(name, { keyPath: path }));
        const index = (store, name) => { if (!store.indexNames.contains(name)) store.createIndex(name, name); };
        const kept = made("records", ["key", "slot"]);
        index(kept, "key");
        index(kept, "trip");
        index(made("photos", ["key", "photo_id"]), "key");
        made("settings", "name");
      };
      request.onsuccess = () => {
        request.result.onversionchange = () => { request.result.close(); warn("reload", t("newer_page")); };
        resolve(request.result);
      };
      request.onerror = () => reject(request.error);
      request.onblocked = () => warn("blocked", t("other_tab_blocks"));
    });
  }
  async function open() {
    let db;
    try {
      db = await database(VERSION).catch((error) => {
        if (error?.name === "VersionError") return database(); /* a newer page was here: its store serves */
        throw error;
      });
      driver = indexed(db);
      await driver.records();
    } catch {
      try {
        localStorage.setItem(`${NAME}|try`, "1");
        localStorage.removeItem(`${NAME}|try`);
        driver = keptAsText(localStorage, "small");
        warn("store", t("small_store"), giveNow);
      } catch {
        driver = inMemory();
        warn("store", t("no_store"), giveNow);
      }
    }
    await reload();
    listen();
  }
  const giveNow = () => phone.button(t("give_now"), () => phone.show("return"));

  /* What is kept takes the place of what the page holds, once every touch of this tab is in it. */
  async function reload() {
    let kept;
    do {
      await settled();
      kept = await Promise.all([driver.records(), driver.photos()]);
    } while (waiting);
    const stamps = () => new Map([...records].map(([slot, record]) => [slot, record.changed_at]));
    const before = stamps();
    if (failed.length) return []; /* the page holds more than the store */
    records.clear();
    photos.clear();
    kept[0].forEach((record) => records.set(record.slot, record));
    kept[1].forEach((photo) => photos.set(photo.photo_id, photo));
    const after = stamps();
    return [...new Set([...before.keys(), ...after.keys()])].filter((slot) => before.get(slot) !== after.get(slot));
  }
  function tell(slot) {
    channel?.postMessage({ key, slot, tab });
    try { localStorage.setItem(`${NAME}|told`, JSON.stringify({ key, slot, tab, n: newId() })); } catch { /* the channel does */ }
  }
  async function heard({ key: of, tab: by }) {
    if (of === key && by !== tab) await look();
  }
  async function look() {
    const slots = await reload();
    if (slots.length) emit("elsewhere", slots);
  }
  function listen() {
    try {
      channel = new BroadcastChannel(NAME);
      channel.onmessage = (event) => heard(event.data);
    } catch { /* an old browser: the small store's event serves */ }
    window.addEventListener("storage", (event) => {
      if (event.key === `${NAME}|told` && event.newValue) heard(JSON.parse(event.newValue));
    });
    window.addEventListener("beforeunload", (event) => {
      if (waiting || failed.length || (driver.kind === "memory" && records.size && !phone.state.given)) event.preventDefault();
    });
  }

  /* One after another, in the order of the touches. What fails stays in the page, is said, and is
     tried again with the next touch. */
  async function tried(work) {
    try {
      await work();
    } catch (error) {
      if (error?.name !== "QuotaExceededError" && driver.again) {
        await driver.again();
        await work();
      } else throw error;
    }
  }
  async function kept(work) {
    let trouble = null;
    const still = [];
    for (const one of [...failed, work]) {
      try { await tried(one); } catch (error) { trouble = error; still.push(one); }
    }
    failed = still;
    const full = trouble?.name === "QuotaExceededError";
    warn("full", trouble && t(full ? "store_full" : "store_failed", { why: trouble.name ?? "" }), giveNow);
  }
  function queued(work) {
    waiting += 1;
    emit("saving");
    last = last.then(() => kept(work)).finally(() => {
      waiting -= 1;
      if (!waiting) emit(failed.length ? "failed" : "saved");
    });
    return last;
  }

  let askedToStay = false;
  function askToStay() { /* so that the phone does not clear it when it needs room */
    if (!askedToStay && navigator.storage?.persist) navigator.storage.persist().catch(() => false);
    askedToStay = true;
  }
  function change(slot, values, about = {}) {
    const start = { record_id: newId(), anchor_id: phone.spotOf.get(slot)?.anchor_id ?? slot, home: slot, made_at: Date.now(), who: phone.state.who, done_on: phone.dayOf(phone.now()) };
    if (records.has(slot)) Object.assign(start, { record_id: records.get(slot).record_id });
    const said = { values, about, start };
    askToStay();
    records.set(slot, changed(records.get(slot), slot, said));
    return queued(async () => {
      const kept = await driver.change(slot, said);
      if (kept.record_id !== records.get(slot)?.record_id) records.set(slot, kept);
      tell(slot);
    });
  }
  /* A whole record, as it came from another phone or an earlier file. */
  function take(slot, record) {
    const whole = { values: record.values, about: {}, start: { ...record, values: {}, key, made_from: data.trip.made_from, trip: data.trip.trip, slot } };
    records.set(slot, changed(undefined, slot, whole));
    return queued(async () => { await driver.change(slot, whole); tell(slot); });
  }
  function drop(slot) {
    records.delete(slot);
    return queued(async () => { await driver.drop(slot); tell(slot); });
  }
  function putPhoto(photo) {
    photos.set(photo.photo_id, photo);
    return queued(async () => { await driver.putPhoto(photo); tell(photo.anchor_id); });
  }
  function dropPhoto(id) {
    const photo = photos.get(id);
    photos.delete(id);
    return queued(async () => { await driver.dropPhoto(id); tell(photo.anchor_id); });
  }
  const set = (name, value) => queued(() => driver.set(name, value));

  const live = () => [...records.values()].filter((record) => !record.thrown_at);
  phone.store = {
    open, change, take, drop, putPhoto, dropPhoto, set, newId, settled, look, live,
    setting: (name) => driver.setting(name).catch(() => undefined),
    kind: () => driver.kind,
    record: (slot) => { const record = records.get(slot); return record?.thrown_at ? undefined : record; },
    of: (spot) => live().filter((record) => record.home === spot.slot),
    thrown: () => [...records.values()].filter((record) => record.thrown_at),
    photosOf: (record_id) => [...photos.values()].filter((photo) => photo.record_id === record_id),
    photos: () => [...photos.values()],
    earlier: async () => (await driver.ofTrip()).filter((record) => record.key !== key && !record.thrown_at),
    earlierPhotos: (of) => driver.photos(of),
  };
})();
