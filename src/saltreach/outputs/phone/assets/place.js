"use strict";
/* How far and which way to the anchor, where the phone knows its place and may say so. */
(() => {
  const { t, el, button, rules, emit } = phone;
  const place = { watch: null, at: null, error: "" };
  const PATIENCE_MS = 60000;

  function begin() {
    if (!("geolocation" in navigator)) { place.error = t("place_none"); emit("place"); return; }
    place.error = t("place_waits");
    emit("place");
    place.watch ??= navigator.geolocation.watchPosition(({ coords }) => {
      place.at = { lat: coords.latitude, lon: coords.longitude, accuracy_m: coords.accuracy };
      place.error = "";
      emit("place");
    }, (error) => {
      place.error = t(["", "place_denied", "place_unknown", "place_late"][error.code] ?? "place_unknown");
      if (error.code === 1) { navigator.geolocation.clearWatch(place.watch); place.watch = null; place.at = null; }
      emit("place");
    }, { enableHighAccuracy: true, timeout: PATIENCE_MS, maximumAge: 5000 });
  }
  const metres = (m) => (m < 1000 ? t("metres", { n: m < 20 ? m.toFixed(0) : Math.round(m / 5) * 5 }) : t("kilometres", { n: (m / 1000).toFixed(m < 10000 ? 2 : 1) }));

  function sentence(spot) {
    if (place.error) return place.error;
    if (!place.at) return "";
    const { distance_m, bearing_deg } = rules.wayTo(place.at, spot);
    const accuracy = t("accuracy", { n: Math.ceil(place.at.accuracy_m) });
    if (distance_m <= place.at.accuracy_m) return `${t("here_within", { distance: metres(distance_m) })} ${accuracy}`;
    return `${t("way", { distance: metres(distance_m), side: t(`side_${rules.compass(bearing_deg)}`), degrees: Math.round(bearing_deg) % 360 })} ${accuracy}`;
  }
  /* The line on an anchor's page. */
  function line(spot) {
    if (typeof spot?.lon !== "number" || typeof spot?.lat !== "number") return el("p", { class: "small", text: t("no_position") });
    const said = el("p", { id: "way", text: sentence(spot) });
    const ask = button(t("place_ask"), begin, { class: "press wide quiet", id: "place-ask" });
    ask.hidden = Boolean(place.at);
    phone.placeDrawn = () => { said.textContent = sentence(spot); ask.hidden = Boolean(place.at); };
    return el("div", {}, said, ask);
  }
  phone.on("place", () => phone.placeDrawn?.());
  phone.place = { line, begin };
})();
