"use strict";
/* A zip archive without compression (photos are packed already): PKWARE's APPNOTE 6.3, sections
   4.3.7, 4.3.12 and 4.3.16. And SHA-256 (FIPS 180-4) where the browser gives none. */
(() => {
  const { t } = phone;
  const TABLE = Uint32Array.from({ length: 256 }, (_, n) => {
    for (let k = 0; k < 8; k += 1) n = n & 1 ? 0xedb88320 ^ (n >>> 1) : n >>> 1;
    return n;
  });
  function crc32(bytes) {
    let crc = 0xffffffff;
    for (const byte of bytes) crc = TABLE[(crc ^ byte) & 255] ^ (crc >>> 8);
    return (crc ^ 0xffffffff) >>> 0;
  }
  const LOCAL = 0x04034b50, CENTRAL = 0x02014b50, END = 0x06054b50;
  const UTF8 = 0x0800;
  const VERSION = 20;
  const MOST_BYTES = 2 ** 32 - 2 ** 20, MOST_FILES = 65534;

  function filled(parts) { /* [bytes, value] in little-endian order */
    const view = new DataView(new ArrayBuffer(parts.reduce((sum, [bytes]) => sum + bytes, 0)));
    let at = 0;
    for (const [bytes, value] of parts) {
      if (bytes === 2) view.setUint16(at, value, true);
      else view.setUint32(at, value, true);
      at += bytes;
    }
    return new Uint8Array(view.buffer);
  }
  function pack(files, moment) {
    const time = (moment.getHours() << 11) | (moment.getMinutes() << 5) | (moment.getSeconds() >> 1);
    const day = (Math.max(0, moment.getFullYear() - 1980) << 9) | ((moment.getMonth() + 1) << 5) | moment.getDate();
    const parts = [], central = [];
    let at = 0;
    if (files.length > MOST_FILES) throw new Error(t("zip_too_large"));
    for (const { name, bytes } of files) {
      const named = new TextEncoder().encode(name);
      const shared = [[2, VERSION], [2, UTF8], [2, 0], [2, time], [2, day], [4, crc32(bytes)],
        [4, bytes.length], [4, bytes.length], [2, named.length], [2, 0]];
      const head = filled([[4, LOCAL], ...shared]);
      central.push(filled([[4, CENTRAL], [2, VERSION], ...shared, [2, 0], [2, 0], [2, 0], [4, 0], [4, at]]), named);
      parts.push(head, named, bytes);
      at += head.length + named.length + bytes.length;
      if (at > MOST_BYTES) throw new Error(t("zip_too_large"));
    }
    const length = central.reduce((sum, part) => sum + part.length, 0);
    const end = filled([[4, END], [2, 0], [2, 0], [2, files.length], [2, files.length], [4, length], [4, at], [2, 0]]);
    return new Blob([...parts, ...central, end], { type: "application/zip" });
  }

  const MOST_OF_ONE = 200e6; /* more than any file of a return */
  async function inflated(bytes, wanted) {
    const reader = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw")).getReader();
    const whole = new Uint8Array(wanted);
    let at = 0;
    for (;;) {
      const { done, value } = await reader.read();
      if (done) break;
      if (at + value.length > wanted) throw new Error(t("zip_broken"));
      whole.set(value, at);
      at += value.length;
    }
    return whole.subarray(0, at);
  }
  /* Files of an archive by name; raises with a word where it is damaged. */
  async function unpack(buffer) {
    const bytes = new Uint8Array(buffer), view = new DataView(buffer);
    let end = bytes.length - 22;
    while (end >= 0 && view.getUint32(end, true) !== END) end -= 1;
    if (end < 0) throw new Error(t("zip_broken"));
    const files = new Map();
    try {
      let at = view.getUint32(end + 16, true);
      for (let n = view.getUint16(end + 10, true); n > 0; n -= 1) {
        if (view.getUint32(at, true) !== CENTRAL) throw new RangeError();
        const [method, crc, packed, length, named, extra, remark, local] = [
          view.getUint16(at + 10, true), view.getUint32(at + 16, true), view.getUint32(at + 20, true),
          view.getUint32(at + 24, true), view.getUint16(at + 28, true), view.getUint16(at + 30, true),
          view.getUint16(at + 32, true), view.getUint32(at + 42, true)];
        const name = new TextDecoder().decode(bytes.subarray(at + 46, at + 46 + named));
        const start = local + 30 + view.getUint16(local + 26, true) + view.getUint16(local + 28, true);
        if (length > MOST_OF_ONE || start + packed > bytes.length) throw new RangeError();
        const stored = bytes.subarray(start, start + packed);
        if (method !== 0 && method !== 8) throw new RangeError();
        const content = method === 0 ? stored : await inflated(stored, length);
        if (content.length !== length || crc32(content) !== crc) throw new RangeError();
        files.set(name, content.slice());
        at += 46 + named + extra + remark;
      }
    } catch {
      throw new Error(t("zip_broken"));
    }
    return files;
  }

  const primes = [];
  for (let n = 2; primes.length < 64; n += 1) if (primes.every((p) => n % p)) primes.push(n);
  const part = (x) => Math.floor((x - Math.floor(x)) * 2 ** 32) >>> 0;
  const START = primes.slice(0, 8).map((p) => part(Math.sqrt(p)));
  const ROUNDS = primes.map((p) => part(Math.cbrt(p)));
  const turn = (x, n) => (x >>> n) | (x << (32 - n));
  function digest(bytes) {
    const padded = new Uint8Array(Math.ceil((bytes.length + 9) / 64) * 64);
    padded.set(bytes);
    padded[bytes.length] = 128;
    const view = new DataView(padded.buffer);
    view.setUint32(padded.length - 8, Math.floor(bytes.length / 2 ** 29));
    view.setUint32(padded.length - 4, (bytes.length << 3) >>> 0);
    const hash = Uint32Array.from(START), w = new Uint32Array(64);
    for (let at = 0; at < padded.length; at += 64) {
      for (let i = 0; i < 64; i += 1) {
        if (i < 16) { w[i] = view.getUint32(at + 4 * i); continue; }
        const [p, q] = [w[i - 15], w[i - 2]];
        w[i] = w[i - 16] + (turn(p, 7) ^ turn(p, 18) ^ (p >>> 3)) + w[i - 7] + (turn(q, 17) ^ turn(q, 19) ^ (q >>> 10));
      }
      let [a, b, c, d, e, f, g, h] = hash;
      for (let i = 0; i < 64; i += 1) {
        const one = (h + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + ((e & f) ^ (~e & g)) + ROUNDS[i] + w[i]) | 0;
        const two = ((turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
        [h, g, f, e, d, c, b, a] = [g, f, e, (d + one) | 0, c, b, a, (one + two) | 0];
      }
      [a, b, c, d, e, f, g, h].forEach((value, i) => { hash[i] += value; });
    }
    return Array.from(hash, (value) => value.toString(16).padStart(8, "0")).join("");
  }
  async function sha256(bytes) {
    if (!globalThis.crypto?.subtle) return digest(bytes);
    const found = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
    return Array.from(found, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  phone.zip = { crc32, pack, unpack, digest, sha256 };
})();
