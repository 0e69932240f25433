"use strict";
/* Views, the bar below them, light, and the beginning. */
(() => {
  const { data, spots, t, el, byId, button, store, say } = phone;
  const MODES = ["auto", "day", "night", "sun"];
  const root = document.documentElement;

  phone.view = (...parts) => byId("view").replaceChildren(...parts.flat(2).filter(Boolean));
  const names = { list: "#list", return: "#return", who: "#who" };
  function show(view, at = 0) {
    const address = view === "anchor" ? `#${at + 1}` : names[view];
    if (location.hash === address) opened();
    else location.hash = address;
  }
  phone.show = show;
  function opened() {
    const said = location.hash.slice(1);
    const at = Number(said) - 1;
    let view = Number.isInteger(at) && at >= 0 && at < spots.length ? "anchor" : said in names ? said : "list";
    if (!phone.state.who) view = "who";
    Object.assign(phone.state, { view, at: view === "anchor" ? at : phone.state.at });
    byId("bar").hidden = view === "who";
    if (view === "anchor") phone.anchor.open(at);
    else if (view === "return") phone.giving.open().then(landed);
    else if (view === "who") who();
    else phone.list.open();
    bar();
    if (view !== "return") landed();
  }
  function landed() {
    window.scrollTo(0, 0);
    byId("heading")?.focus({ preventScroll: true });
    phone.emit("landed");
  }

  function bar() {
    const { view, at } = phone.state;
    const inside = view === "anchor";
    byId("previous").disabled = inside ? at === 0 : true;
    byId("next").disabled = inside ? at === spots.length - 1 : !spots.length;
    for (const [id, name] of [["to-list", "list"], ["to-return", "return"]]) {
      if (view === name) byId(id).setAttribute("aria-current", "page");
      else byId(id).removeAttribute("aria-current");
    }
  }
  byId("previous").addEventListener("click", () => show("anchor", phone.state.at - 1));
  byId("next").addEventListener("click", () => show("anchor", phone.state.view === "anchor" ? phone.state.at + 1 : phone.state.at));
  byId("to-list").addEventListener("click", () => show("list"));
  byId("to-return").addEventListener("click", () => show("return"));

  function who() {
    const input = el("input", { id: "who", autocomplete: "name", maxlength: "100", enterkeyhint: "done" });
    input.value = phone.state.who;
    const keep = async (event) => {
      event.preventDefault();
      const name = input.value.trim();
      if (!name) { byId("doubt-who").hidden = false; input.focus(); return; }
      phone.state.who = name;
      store.set("who", name);
      show("list");
    };
    phone.view(el("h2", { id: "heading", tabindex: "-1", text: t("who_ask") }), el("p", { text: t("who_why") }),
      el("form", { on: { submit: keep } }, el("div", { class: "field" }, el("label", { for: "who", text: t("who") }), input,
        el("p", { class: "doubt", id: "doubt-who", role: "alert", hidden: true, text: t("who_empty") })),
        el("button", { type: "submit", class: "press wide strong", text: t("go") })));
  }

  let mode = "auto";
  function light(name) {
    mode = MODES.includes(name) ? name : "auto";
    root.dataset.mode = mode;
    byId("mode").textContent = t(`mode_${mode}`);
    byId("mode").setAttribute("aria-label", t("mode_label", { mode: t(`mode_${mode}`) }));
  }
  byId("mode").addEventListener("click", () => {
    light(MODES[(MODES.indexOf(mode) + 1) % MODES.length]);
    store.set("mode", mode);
    say(t("mode_label", { mode: t(`mode_${mode}`) }));
  });

  phone.on("saving", () => { byId("kept").textContent = t("saving"); });
  phone.on("saved", () => { byId("kept").textContent = store.kind() === "memory" ? t("not_kept_here") : t("saved", { time: phone.timeOf(phone.now()) }); });
  setInterval(() => phone.emit("second"), 1000);
  phone.on("failed", () => { byId("kept").textContent = t("not_kept_here"); });
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") store.look(); });
  window.addEventListener("hashchange", opened);
  const broke = (what) => phone.warn("error", t("broke", { what }), () => button(t("give_now"), () => show("return")));
  window.addEventListener("error", (event) => broke(event.message));
  window.addEventListener("unhandledrejection", (event) => broke(event.reason?.message ?? ""));

  /* Served from a safe address the page can be installed and opens without a network. */
  function served() {
    if (!location.protocol.startsWith("http") || !("serviceWorker" in navigator)) return;
    document.head.append(el("link", { rel: "manifest", href: data.beside.manifest }));
    navigator.serviceWorker.register(data.beside.worker).catch(() => { /* the file alone serves */ });
  }

  (async () => {
    await store.open();
    phone.state.who = (await store.setting("who")) ?? "";
    light((await store.setting("mode")) ?? "auto");
    byId("kept").textContent = t(`kept_short_${store.kind()}`);
    opened();
    await phone.giving.offer();
    served();
    root.dataset.ready = "yes";
  })();
})();
