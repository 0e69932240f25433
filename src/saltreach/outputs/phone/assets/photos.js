"use strict";
/* Photos: made smaller, rid of place and name of the file they came from, kept with their record. */
(() => {
  const { t, el, button, twoTaps, say, warn, store, size, plain } = phone;
  const LONGEST_PX = 1600;
  const QUALITY = 0.82;

  async function shrunk(file) {
    const picture = await createImageBitmap(file); /* turned as it was held */
    const scale = Math.min(1, LONGEST_PX / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(picture.width * scale));
    canvas.height = Math.max(1, Math.round(picture.height * scale));
    const pen = canvas.getContext("2d");
    pen.fillStyle = "#fff";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    const blob = await new Promise((resolve) => { canvas.toBlob(resolve, "image/jpeg", QUALITY); });
    if (!blob) throw new Error("toBlob");
    return { bytes: await blob.arrayBuffer(), width: canvas.width, height: canvas.height };
  }
  async function add(slot, file) {
    let small;
    try {
      small = await shrunk(file);
    } catch {
      warn("photo", t("photo_unreadable"), () => button(t("understood"), () => warn("photo", null)));
      return;
    }
    warn("photo", null);
    const id = store.newId();
    store.change(slot, {});
    const record = store.record(slot);
    const name = `${plain(record.anchor_id)}-${id.slice(0, 8)}.jpg`;
    const sha256 = await phone.zip.sha256(new Uint8Array(small.bytes));
    await store.putPhoto({ key: phone.key, photo_id: id, record_id: record.record_id, anchor_id: record.anchor_id, file: name, sha256, ...small });
    await store.change(slot, { photo: store.photosOf(record.record_id).map((photo) => photo.file) });
    say(t("photo_kept", { size: size(small.bytes.byteLength) }));
  }

  /* The control on the form: take one, see what is there, throw one away. */
  function control(slot, touched) {
    const list = el("ul", { class: "photos" });
    const input = el("input", { type: "file", accept: "image/*", capture: "environment", id: "photo-input", class: "unseen" });
    input.addEventListener("change", async () => {
      for (const file of [...input.files]) await add(slot, file);
      input.value = "";
      draw();
      touched();
    });
    const count = el("p", { class: "small" });
    function draw() {
      const record = store.record(slot);
      const mine = record ? store.photosOf(record.record_id) : [];
      const bytes = mine.reduce((sum, photo) => sum + photo.bytes.byteLength, 0);
      count.textContent = mine.length ? `${phone.counted("photos", mine.length)}, ${size(bytes)}` : t("photos_none");
      for (const image of list.querySelectorAll("img")) URL.revokeObjectURL(image.src);
      list.replaceChildren(...mine.map((photo, at) => el("li", {},
        el("img", { src: URL.createObjectURL(new Blob([photo.bytes], { type: "image/jpeg" })), alt: t("photo_n", { n: at + 1 }), width: photo.width, height: photo.height }),
        el("span", { text: size(photo.bytes.byteLength) }),
        twoTaps(t("photo_away"), t("tap_again_photo"), async () => {
          await store.dropPhoto(photo.photo_id);
          const left = store.photosOf(photo.record_id).map((one) => one.file);
          await store.change(slot, { photo: left.length ? left : null });
          draw();
          touched();
        }))));
    }
    draw();
    return el("div", { class: "taken" }, input, el("label", { for: "photo-input", class: "press wide", text: t("photo_take") }), count, list);
  }
  phone.photos = { add, control, shrunk };
})();
