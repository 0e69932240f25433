"use strict";
/* The return file: given as often as wanted, taken in again, and the way to begin anew. */
(() => {
  const { data, t, counted, el, button, twoTaps, say, store, size, plain, dayOf, now, key } = phone;
  const JSON_NAME = "return.json";
  const { trip } = data;

  /* A slot aside keeps a record that is no longer the one on the form; nothing is lost by it. */
  async function aside(record, how = {}, values = {}) {
    const slot = `${record.home}\n${record.record_id}`;
    if (slot !== record.slot) {
      store.take(slot, { ...record, ...how, values: { ...record.values, ...values } });
      await store.drop(record.slot);
    } else await store.change(slot, {}, how);
  }
  phone.aside = aside;

  const filled = () => store.live().filter((record) => Object.keys(record.values).length);
  function rowOf(record) {
    const said = { record_id: record.record_id, trip: trip.trip, anchor_id: record.anchor_id, done_on: record.done_on, who: record.who || phone.state.who };
    const values = Object.fromEntries(Object.entries(record.values).filter(([name]) => record.values.done !== data.not_reached || data.kept_unreached.includes(name)));
    const needed = phone.rules.neededOf(values);
    if (typeof values.cure_needed_min === "number" && needed > values.cure_needed_min) values.cure_needed_min = needed;
    const row = { ...said };
    for (const column of data.order) if (values[column] !== undefined) { row[column] = values[column]; delete values[column]; }
    return { ...row, ...values };
  }
  function returned() {
    const at = (record) => phone.spotOf.get(record.home)?.at ?? phone.spots.length;
    const records = filled().sort((a, b) => at(a) - at(b) || (a.made_at ?? 0) - (b.made_at ?? 0));
    const ids = new Set(records.map((record) => record.record_id));
    const photos = store.photos().filter((photo) => ids.has(photo.record_id)).sort((a, b) => (a.file < b.file ? -1 : 1));
    const told = {
      format: data.format, version: data.version, trip: trip.trip, made_from: trip.made_from, who: phone.state.who,
      rows: records.map(rowOf),
      photos: photos.map(({ file, sha256, anchor_id, record_id }) => ({ file: `photos/${file}`, sha256, anchor_id, record_id })),
    };
    return { told, photos };
  }
  function archive() {
    const { told, photos } = returned();
    const files = [{ name: JSON_NAME, bytes: new TextEncoder().encode(`${JSON.stringify(told, null, 1)}\n`) },
      ...photos.map((photo) => ({ name: `photos/${photo.file}`, bytes: new Uint8Array(photo.bytes) }))];
    const name = `return-${plain(trip.trip)}-${dayOf(now())}-${plain(phone.state.who)}.zip`;
    return new File([phone.zip.pack(files, now())], name, { type: "application/zip" });
  }
  async function given(name) {
    phone.state.given = true;
    await store.set(`given ${key}`, Date.now());
    say(t("given", { name }));
    open();
  }
  async function save() {
    const file = archive();
    const link = el("a", { href: URL.createObjectURL(file), download: file.name });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    await given(file.name);
  }
  async function share() {
    const file = archive();
    try {
      await navigator.share({ files: [file], title: file.name });
      await given(file.name);
    } catch (error) {
      if (error.name !== "AbortError") say(t("share_failed"));
    }
  }
  const canShare = () => { try { return navigator.canShare?.({ files: [new File([""], "a.zip", { type: "application/zip" })] }); } catch { return false; } };

  const plainValue = (value) => ["string", "number"].includes(typeof value) || (Array.isArray(value) && value.every((one) => typeof one === "string"));
  /* Records of a return file join what is here; what is here already is never overwritten. */
  async function takeIn(file) {
    const buffer = await file.arrayBuffer();
    const zipped = new DataView(buffer).byteLength > 4 && new DataView(buffer).getUint32(0, true) === 0x04034b50;
    const files = zipped ? await phone.zip.unpack(buffer) : new Map([[JSON_NAME, new Uint8Array(buffer)]]);
    let told;
    try { told = JSON.parse(new TextDecoder().decode(files.get(JSON_NAME))); } catch { throw new Error(t("not_a_return")); }
    if (told?.format !== data.format || !Array.isArray(told.rows)) throw new Error(t("not_a_return"));
    if (told.version > data.version) throw new Error(t("newer_return"));
    if (told.trip !== trip.trip) throw new Error(t("other_trip", { trip: String(told.trip) }));
    let taken = 0, beside = 0;
    for (const [order, row] of told.rows.entries()) {
      if (typeof row?.record_id !== "string" || typeof row.anchor_id !== "string" || !row.record_id) continue;
      const { record_id, anchor_id, done_on, who, trip: _, ...rest } = row;
      const values = Object.fromEntries(Object.entries(rest).filter(([, value]) => plainValue(value)));
      const record = { record_id, anchor_id, made_at: Date.now() + order / 1000, done_on: String(done_on ?? ""), who: String(who ?? told.who ?? ""), values };
      const [joined, other] = await join(record);
      taken += joined;
      beside += other;
    }
    const ids = new Set(store.live().map((record) => record.record_id));
    for (const photo of told.photos ?? []) {
      const bytes = files.get(photo?.file);
      if (!bytes || !ids.has(photo.record_id)) continue;
      const sha256 = await phone.zip.sha256(bytes);
      const there = store.photosOf(photo.record_id).some((one) => one.sha256 === sha256);
      if (there || (photo.sha256 && photo.sha256 !== sha256)) continue;
      await store.putPhoto({ key, photo_id: store.newId(), record_id: photo.record_id, anchor_id: String(photo.anchor_id), file: String(photo.file).replace(/^photos\//, ""), sha256, bytes: bytes.buffer });
    }
    await store.settled();
    return t("taken_in", { n: taken, beside });
  }
  /* [records that came, those that stand beside another one of the same anchor] */
  async function join(record) {
    const same = store.live().find((one) => one.record_id === record.record_id);
    if (same) {
      const missing = Object.fromEntries(Object.entries(record.values).filter(([name]) => same.values[name] === undefined));
      if (Object.keys(missing).length) await store.change(same.slot, missing);
      return [0, 0];
    }
    const home = phone.spotOf.has(record.home) ? record.home : record.anchor_id;
    const taken = Boolean(store.record(home));
    await store.take(taken ? `${home}\n${record.record_id}` : home, { ...record, home });
    return [1, taken ? 1 : 0];
  }

  /* Records of this trip under an earlier file: offered, never taken unasked. */
  async function earlier() {
    const here = new Set([...store.live(), ...store.thrown()].map((record) => record.record_id));
    return (await store.earlier()).filter((record) => !here.has(record.record_id) && Object.keys(record.values).length);
  }
  async function offer() {
    const found = await earlier();
    if (!found.length) return;
    phone.warn("earlier", counted("earlier", found.length),
      () => button(t("take_earlier"), async () => {
        for (const record of found) await join(record);
        const ids = new Set(found.map((record) => record.record_id));
        for (const of of new Set(found.map((record) => record.key))) {
          for (const photo of await store.earlierPhotos(of)) if (ids.has(photo.record_id)) await store.putPhoto({ ...photo, key });
        }
        phone.warn("earlier", null);
        phone.show(phone.state.view, phone.state.at);
        say(counted("earlier_taken", found.length));
      }), () => button(t("not_now"), () => phone.warn("earlier", null)));
  }

  async function startOver() {
    for (const record of store.live()) await aside(record, { thrown_at: Date.now() });
    say(t("begun_anew"));
    open();
  }
  async function bringBack() {
    for (const record of store.thrown()) {
      const free = !store.record(record.home);
      if (free) {
        await store.take(record.home, { ...record, thrown_at: undefined });
        await store.drop(record.slot);
      } else await store.change(record.slot, {}, { thrown_at: undefined });
    }
    open();
  }

  async function open() {
    const records = filled();
    const { photos } = returned();
    const bytes = photos.reduce((sum, photo) => sum + photo.bytes.byteLength, 0);
    const last = await store.setting(`given ${key}`);
    const since = records.filter((record) => !last || record.changed_at > last).length;
    const open_ = records.filter((record) => phone.rules.stageOf([record]) === "begun");
    const clock = phone.rules.clockDoubt();
    const thrown = store.thrown();
    const strangers = records.filter((record) => !phone.spotOf.has(record.home));
    const input = el("input", { type: "file", accept: ".zip,.json,application/zip,application/json", id: "take-in", class: "unseen" });
    const outcome = el("p", { role: "status", id: "taken" });
    input.addEventListener("change", async () => {
      const file = input.files[0];
      let said;
      try { said = file ? await takeIn(file) : ""; } catch (error) { said = error.message; }
      await open();
      phone.byId("taken").textContent = said;
    });
    if (phone.state.view !== "return") return;
    phone.view(
      el("h2", { id: "heading", tabindex: "-1", text: t("give_back") }),
      el("p", { id: "holds", text: `${counted("records", records.length)}, ${counted("photos", photos.length)}${photos.length ? ` (${size(bytes)})` : ""}.` }),
      clock ? el("p", { class: "alarm", id: "clock", text: clock }) : null,
      records.length ? el("p", { text: since ? counted("not_given", since) : t("all_given") }) : null,
      strangers.length ? el("p", { text: t("not_on_list", { anchors: strangers.map((record) => record.anchor_id).join(", ") }) }) : null,
      open_.length ? el("p", { class: "alarm", text: t("done_missing", { anchors: open_.map((record) => record.anchor_id).join(", ") }) }) : null,
      button(t("save_file"), save, { class: "press wide strong", id: "save", disabled: records.length ? null : true }),
      records.length && canShare() ? button(t("share_file"), share, { class: "press wide" }) : null,
      el("p", { class: "small", text: t("give_often") }),
      el("section", { class: "group" }, el("h3", { text: t("who") }), el("p", { id: "who-now", text: phone.state.who }), button(t("who_other"), () => phone.show("who"), { class: "press wide quiet" })),
      el("section", { class: "group" }, el("h3", { text: t("take_in") }), el("p", { text: t("take_in_why") }), input, el("label", { for: "take-in", class: "press wide quiet", text: t("take_in_file") }), outcome),
      el("section", { class: "group" }, el("h3", { text: t("start_over") }), el("p", { text: t("start_over_why") }),
        records.length ? twoTaps(t("start_over"), t("tap_again_all", { n: records.length }), startOver, { class: "press wide quiet", id: "start-over" }) : null,
        thrown.length ? button(counted("bring_back", thrown.length), bringBack, { class: "press wide quiet", id: "bring-back" }) : null),
      el("p", { class: "small", text: t(`kept_${store.kind()}`) }));
  }
  phone.on("elsewhere", () => { if (phone.state.view === "return") open(); });
  phone.giving = { open, offer, takeIn, returned };
})();
