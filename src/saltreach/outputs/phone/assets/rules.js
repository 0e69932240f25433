"use strict";
/* What follows from what was written: plain functions of values, no page and no store in them. */
(() => {
  const { data, t, dayOf, word, label, now } = phone;
  const ZERO_C = 273.15;
  const EARTH_M = 6371008.8; /* mean radius, IUGG */
  const HAIR = 1e-9;

  /* A number as people write it: 12,5 and 12.5. NaN for anything else, null for nothing. */
  function numberOf(text) {
    const said = String(text).trim().replace("−", "-").replace(",", ".");
    if (said === "") return null;
    return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(said) ? Number(said) : NaN;
  }
  function outOfRange(column, value) {
    if (value === null) return null;
    if (Number.isNaN(value) || (column.kind === "integer" && !Number.isInteger(value))) return t("not_a_number");
    if ((column.low !== null && value < column.low) || (column.high !== null && value > column.high)) {
      return t("out_of_range", { low: column.low, high: column.high, unit: column.unit });
    }
    return null;
  }

  /* Minutes at a temperature: straight in ln t over 1/T between rows of the data sheet, null
     outside them. */
  function minutesAt(celsius, times) {
    const at = data.cure.rock_temperature_c;
    const last = at.length - 1;
    if (!(celsius >= at[0] - HAIR && celsius <= at[last] + HAIR)) return null;
    const held = Math.min(Math.max(celsius, at[0]), at[last]);
    let i = 0;
    while (i < last - 1 && held > at[i + 1]) i += 1;
    const over = (c) => 1 / (c + ZERO_C);
    const share = (over(held) - over(at[i])) / (over(at[i + 1]) - over(at[i]));
    return Math.exp(Math.log(times[i]) + share * (Math.log(times[i + 1]) - Math.log(times[i])));
  }
  const dry = (values) => values.hole_condition === data.dry_hole;
  /* Whole minutes until it sets (rounded down) and until it may be loaded (rounded up). A hole
     that nobody called dry counts as wet. */
  function cureOf(values) {
    if (!data.cure || typeof values.rock_temperature_c !== "number") return null;
    const cure = minutesAt(values.rock_temperature_c, data.cure.cure_min);
    if (cure === null) return { outside: true };
    const gel = minutesAt(values.rock_temperature_c, data.cure.gel_min);
    const factor = dry(values) ? 1 : data.cure.wet_factor;
    return { gel_min: Math.floor(gel + HAIR), cure_min: Math.ceil(cure * factor - HAIR), wet: !dry(values) };
  }
  /* Minutes until it may be loaded: the longer of what was written and what the data sheet asks for. */
  function neededOf(values) {
    const known = [values.cure_needed_min, cureOf(values)?.cure_min].filter((one) => typeof one === "number");
    return known.length ? Math.max(...known) : null;
  }

  function momentOf(day, time) {
    const found = /^(\d{4})-(\d\d)-(\d\d)T(\d\d):(\d\d)$/.exec(`${day}T${time}`);
    if (!found) return null;
    const [year, month, date, hour, minute] = found.slice(1).map(Number);
    return new Date(year, month - 1, date, hour, minute);
  }
  const later = (moment, minutes) => new Date(moment.getTime() + minutes * 60000);
  function dayAfter(day) {
    const moment = momentOf(day, "12:00");
    return dayOf(new Date(moment.getFullYear(), moment.getMonth(), moment.getDate() + 1));
  }
  /* When it was set, may be loaded, and was loaded; null where that is not known. */
  function timesOf(values, doneOn) {
    const set = values.set_at ? momentOf(doneOn, values.set_at) : null;
    const needed = neededOf(values);
    const gel = cureOf(values)?.gel_min;
    return {
      set,
      sets: set && gel !== undefined ? later(set, Math.min(gel, needed)) : null,
      ready: set && needed !== null ? later(set, needed) : null,
      loaded: values.loaded_at ? momentOf(values.loaded_on ?? doneOn, values.loaded_at) : null,
    };
  }

  /* The expiry as ISO text, from what is printed; null where it cannot be read. A day between
     strokes (3/4/2027) says not which is the month. */
  const PRINTED = [
    /^(?<y>20\d\d)[-./]?(?<m>\d\d)$/,
    /^(?<y>20\d\d)([-./])(?<m>\d\d?)(?:\2(?<d>\d\d?))?$/,
    /^(?<y>20\d\d)(?<m>\d\d)(?<d>\d\d)$/,
    /^(?<m>\d\d?)[-./](?<y>20\d\d)$/,
    /^(?<m>\d\d?)[./](?<y>\d\d)$/,
    /^(?<m>\d\d)(?<y>(?:20)?\d\d)$/,
    /^(?<d>\d\d?)\.(?<m>\d\d?)\.(?<y>20\d\d)$/,
  ];
  function expiryOf(text) {
    const printed = String(text).replace(/\s/g, "").replaceAll(",", ".");
    for (const pattern of PRINTED) {
      const told = pattern.exec(printed)?.groups;
      if (!told) continue;
      const month = `${2000 + Number(told.y) % 100}-${phone.pad(Number(told.m))}`;
      const read = told.d ? `${month}-${phone.pad(Number(told.d))}` : month;
      if (lastDay(read)) return read;
    }
    return null;
  }
  /* What is wrong with the phone's clock: the page is older than today, and the trip is near. */
  function clockDoubt() {
    const today = dayOf(now());
    const made = new Date(data.trip.made_from);
    if (!Number.isNaN(made.getTime()) && today < dayOf(made)) return t("clock_early", { today, made: dayOf(made) });
    const day = momentOf(data.trip.date ?? "", "12:00");
    const far = day && Math.abs(momentOf(today, "12:00") - day) > (data.clock_days + 0.5) * 86400000;
    return far ? t("clock_far", { today, day: data.trip.date }) : null;
  }

  /* The last day on which a cartridge may be used, as ISO text; a month is good to its end. */
  function lastDay(text) {
    const found = /^(\d{4})-(\d\d)(?:-(\d\d))?$/.exec(String(text).trim());
    if (!found) return null;
    const [year, month] = [Number(found[1]), Number(found[2])];
    if (month < 1 || month > 12) return null;
    const end = new Date(year, month, 0).getDate();
    const date = found[3] === undefined ? end : Number(found[3]);
    return date < 1 || date > end ? null : `${found[1]}-${found[2]}-${phone.pad(date)}`;
  }

  const needs = (values, spot, name, planned) => (typeof values[name] === "number" ? values[name] : spot?.piece?.[planned] ?? null);
  const places = (values, spot) => (values.done ? data.placing.includes(values.done) : spot?.form === "place");
  /* What is recorded and does not belong to what was done. */
  function hiddenBy(values, spot) {
    const view = places(values, spot) ? "place" : "look";
    return Object.keys(values).filter((name) => phone.columnOf.has(name)
      && (values.done === data.not_reached ? !data.kept_unreached.includes(name) : !phone.columnOf.get(name).on.includes(view)));
  }
  /* Doubts about what was written: column and sentence. Nothing here keeps anybody from recording. */
  function doubtsOf(values, spot, doneOn) {
    const found = [];
    const doubt = (column, key, how = {}) => found.push({ column, text: t(key, how) });
    if (values.condition === 0) {
      const bad = (values.findings ?? []).filter((one) => data.damage.includes(one));
      if (bad.length) doubt("condition", "sound_but", { findings: bad.map(word).join(", ") });
    }
    if (typeof values.proof_load_kn === "number" && !values.proof_result) doubt("proof_result", "result_missing");
    const hidden = hiddenBy(values, spot);
    if (hidden.length) doubt("done", values.done === data.not_reached ? "not_given" : "not_shown", { what: hidden.map(label).join(", ") });
    if (!places(values, spot)) return found;
    const depth = values.hole_depth_mm;
    const length = needs(values, spot, "piece_length_mm", "length_mm");
    const wanted = Math.max(length ?? 0, typeof values.piece_length_mm === "number" ? 0 : spot?.piece?.hole_depth_mm ?? 0);
    if (typeof depth === "number" && wanted > 0) {
      if (depth < wanted) doubt("hole_depth_mm", "too_shallow", { depth, wanted });
      else if (depth > wanted + data.deeper_mm) doubt("hole_depth_mm", "too_deep", { more: depth - wanted });
    }
    const wide = spot?.piece?.hole_diameter_mm;
    if (typeof values.hole_diameter_mm === "number" && wide && values.hole_diameter_mm !== wide) {
      doubt("hole_diameter_mm", "other_diameter", { wanted: wide });
    }
    if (values.hole_cleaned === "no") doubt("hole_cleaned", "not_cleaned");
    const hole = { uncleaned: "not_cleaned", "water-filled": "water_filled", cored: "cored" }[values.hole_condition];
    if (hole) doubt("hole_condition", hole);
    for (const name of ["crack", "edge", "hole"]) {
      const least = spot?.spacing?.[`${name}_mm`];
      const given = values[`${name}_distance_mm`];
      if (typeof given === "number" && typeof least === "number" && given < least) {
        doubt(`${name}_distance_mm`, "too_near", { least });
      }
    }
    if (values.adhesive_expires_on) {
      const last = lastDay(values.adhesive_expires_on);
      if (last === null) doubt("adhesive_expires_on", "expiry_unreadable");
      else if (last < doneOn) doubt("adhesive_expires_on", "expired", { day: values.adhesive_expires_on });
    }
    const cure = cureOf(values);
    if (cure?.outside) doubt("rock_temperature_c", "outside_sheet", { low: data.cure.rock_temperature_c[0], high: data.cure.rock_temperature_c.at(-1) });
    else if (cure && typeof values.cure_needed_min === "number" && values.cure_needed_min < cure.cure_min) {
      doubt("cure_needed_min", "below_sheet", { minutes: cure.cure_min });
    }
    const times = timesOf(values, doneOn);
    if (times.set && times.loaded && times.loaded < times.set) doubt("loaded_at", "loaded_before_set");
    else if (times.ready && times.loaded && times.loaded < times.ready) {
      doubt("loaded_at", "loaded_early", { minutes: Math.ceil((times.ready - times.loaded) / 60000) });
    } else if (times.loaded && !times.ready) doubt("loaded_at", "cure_not_known");
    return found;
  }

  const rad = (degrees) => degrees * Math.PI / 180;
  /* Great circle: metres, and the bearing it starts with, degrees clockwise from north. */
  function wayTo(from, to) {
    const [a, b, over] = [rad(from.lat), rad(to.lat), rad(to.lon - from.lon)];
    const half = Math.sin((b - a) / 2) ** 2 + Math.cos(a) * Math.cos(b) * Math.sin(over / 2) ** 2;
    const bearing = Math.atan2(Math.sin(over) * Math.cos(b),
      Math.cos(a) * Math.sin(b) - Math.sin(a) * Math.cos(b) * Math.cos(over)) * 180 / Math.PI;
    return { distance_m: 2 * EARTH_M * Math.asin(Math.min(1, Math.sqrt(half))), bearing_deg: (bearing + 360) % 360 };
  }
  const compass = (degrees) => Math.round(degrees / 45) % 8;

  /* Where an anchor stands: open, begun (nobody said what was done), done, not reached. */
  function stageOf(records) {
    const live = records.filter((record) => record.values.done || Object.keys(record.values).length);
    if (!live.length) return "open";
    if (live.some((record) => !record.values.done)) return "begun";
    return live.some((record) => record.values.done !== data.not_reached) ? "done" : "missed";
  }

  phone.rules = { numberOf, outOfRange, minutesAt, cureOf, neededOf, timesOf, expiryOf, clockDoubt, momentOf, dayAfter, lastDay, doubtsOf, places, hiddenBy, wayTo, compass, stageOf };
})();
