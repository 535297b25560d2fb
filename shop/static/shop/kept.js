// Scans without an answer are kept in this browser, each by itself, and sent in their order when the line is back.
// A scan goes with the key that it was first sent with, so one whose answer was lost is not booked twice.
"use strict";
(() => {
  const PREFIX = "scan:";
  const AGAIN_MS = 3000;
  const PATIENCE_MS = 20000;
  const place = document.getElementById("kept");
  const me = place.dataset.person;
  let flying = null; // the scan that the page itself has under way, and its request
  let unanswered = null;
  let sending = false;
  let wait = ""; // why nothing is sent: "line", "sign-in", "page"

  // --- what is kept -----------------------------------------------------------------------------------------------
  const idOf = (scan) => `${PREFIX}${scan.by}:${scan.batch}:${scan.key}`;
  const all = () =>
    Object.keys(localStorage)
      .filter((id) => id.startsWith(PREFIX))
      .map((id) => JSON.parse(localStorage.getItem(id)))
      .sort((one, other) => one.number - other.number);
  const mine = () => all().filter((scan) => scan.by === me);
  const open = () => mine().filter((scan) => scan.state === "open" && !(flying && flying.scan.key === scan.key));
  const forget = (scan) => localStorage.removeItem(idOf(scan));
  const keep = (scan) => {
    localStorage.setItem(idOf(scan), JSON.stringify(scan));
    return scan;
  };
  const keyNew = (batch) =>
    `${batch}.${[...crypto.getRandomValues(new Uint8Array(16))].map((one) => one.toString(16).padStart(2, "0")).join("")}`;

  // --- from the form ----------------------------------------------------------------------------------------------
  const readingOf = (form) => form.querySelector("[name=reading]");
  const typedIn = (form) => readingOf(form).value.trim();
  // A label names something that only the service knows; seven figures on end are a maker's barcode.
  const isReading = (text) => /^[\d.]/.test(text) && !/\d{7}/.test(text) && !/[^\d\s.,"a-z-]/i.test(text);

  function scanOf(form) {
    const fields = [...new FormData(form)].filter(([name]) => name !== "csrfmiddlewaretoken");
    const of = Object.fromEntries(fields);
    const number = 1 + Math.max(0, ...mine().map((scan) => scan.number));
    const to = form.getAttribute("action");
    return { number, by: me, name: place.dataset.name, batch: of.batch, key: of.key, to, fields, state: "open" };
  }

  /** Make the form ready for the next plate. */
  function ready(form) {
    const field = readingOf(form);
    if (field.type === "hidden") {
      const doubt = document.getElementById("doubt");
      if (doubt) doubt.remove();
      return;
    }
    field.value = "";
    form.key.value = keyNew(form.batch.value);
    const echo = form.querySelector(".echo");
    if (echo) echo.textContent = "";
  }

  // Before the page's own handling: what cannot be sent now is kept, and never dropped.
  document.addEventListener(
    "submit",
    (event) => {
      const form = event.target;
      if (!form.matches("form[data-keep]") || (!flying && !open().length)) return;
      event.preventDefault();
      event.stopPropagation();
      const text = typedIn(form);
      if (!text) return; // Enter struck twice
      if (!isReading(text)) return say("A label needs the line. Wait until what is kept has gone out, then press Enter again.");
      keep(scanOf(form));
      ready(form);
      show();
      document.dispatchEvent(new CustomEvent("tone", { detail: "kept" }));
      send();
    },
    true,
  );

  document.addEventListener("htmx:beforeRequest", (event) => {
    const form = event.target;
    if (!form.matches("form[data-keep]") || event.detail.requestConfig.verb !== "post" || !isReading(typedIn(form))) return;
    flying = { scan: keep({ ...scanOf(form), tried: true }), xhr: event.detail.xhr };
    if (readingOf(form).type !== "hidden") ready(form);
  });

  let half = ""; // what is being typed while the answer comes in
  document.addEventListener("htmx:beforeSwap", (event) => {
    const field = document.querySelector("#scan form[data-keep] input[name=reading]:not([type=hidden])");
    half = flying && event.detail.xhr === flying.xhr && field ? field.value : "";
  });
  document.addEventListener("htmx:afterSwap", () => {
    const field = document.querySelector("#scan form[data-keep] input[name=reading]:not([type=hidden])");
    if (half && field) field.value = half;
    half = "";
  });

  document.addEventListener("htmx:afterRequest", (event) => {
    if (!flying || event.detail.xhr !== flying.xhr) return;
    const { scan, xhr } = flying;
    flying = null;
    if (xhr.status === 200 && !xhr.getResponseHeader("HX-Redirect")) forget(scan);
    else unanswered = xhr;
    if (xhr.status === 0) wait = "line";
    if (unanswered === xhr) document.dispatchEvent(new CustomEvent("tone", { detail: "kept" }));
    show();
    send();
  });

  // The list says it, so the general word of a lost line is not needed.
  for (const name of ["htmx:sendError", "htmx:timeout", "htmx:responseError"]) {
    document.addEventListener(name, (event) => {
      const kept = [unanswered, flying && flying.xhr].includes(event.detail.xhr);
      if (kept) document.getElementById("trouble").hidden = true;
    });
  }

  // --- to the service ---------------------------------------------------------------------------------------------
  /** Send one kept scan; false when none can go out now. */
  async function sendOne(scan) {
    keep({ ...scan, tried: true });
    const body = new URLSearchParams(scan.fields);
    body.append("csrfmiddlewaretoken", document.querySelector("[name=csrfmiddlewaretoken]").value);
    const headers = { Accept: "application/json", "HX-Request": "true" };
    let response;
    try {
      response = await fetch(scan.to, { method: "POST", body, headers, signal: AbortSignal.timeout(PATIENCE_MS) });
      if (response.status >= 500) throw new Error(response.statusText);
    } catch {
      wait = "line";
      return false;
    }
    if (response.headers.get("HX-Redirect")) {
      wait = "sign-in";
      return false;
    }
    const told = (response.headers.get("Content-Type") || "").includes("json") ? await response.json() : null;
    if (!told || told.code === "other_person") {
      wait = "page";
      return false;
    }
    wait = "";
    if (!response.ok) document.dispatchEvent(new CustomEvent("tone", { detail: "refused" }));
    keep(response.ok ? { ...scan, ...told, state: "booked" } : { ...scan, ...told, tried: false, state: "refused" });
    return true;
  }

  async function send() {
    if (sending || flying) return;
    sending = true;
    let gone = false;
    for (let scan; (scan = open()[0]) && (await sendOne(scan)); show()) gone = true;
    sending = false;
    show();
    if (gone && !open().length) refresh();
  }

  /** The answer and the tally of the page, as they are after what was sent; the field is left alone. */
  function refresh() {
    const form = document.querySelector("#scan form[data-keep]");
    if (!form || document.getElementById("doubt")) return;
    const of = new FormData(form);
    of.delete("csrfmiddlewaretoken");
    const from = `${form.getAttribute("action")}?${new URLSearchParams([...of].filter(([name]) => name !== "reading"))}`;
    for (const part of [".answer", ".tally"]) htmx.ajax("GET", from, { target: part, select: part, swap: "outerHTML" });
  }

  window.addEventListener("online", send);
  setInterval(() => open().length && send(), AGAIN_MS);

  // --- what a person sees -----------------------------------------------------------------------------------------
  function make(tag, text, attributes = {}) {
    const one = document.createElement(tag);
    one.textContent = text;
    Object.assign(one, attributes);
    return one;
  }

  function say(text) {
    const trouble = document.getElementById("trouble");
    trouble.textContent = text;
    trouble.hidden = false;
  }

  const WHY = {
    "": "They are being sent.",
    line: "The line is lost. Go on: each is kept here and sent when the line is back. Lay the plates aside in this order.",
    "sign-in": "You are not signed in any more. They are sent when you are.",
    page: "This page is older than who is signed in. Load it again.",
  };
  const textOf = (scan) => `${scan.fields.find(([name]) => name === "reading")[1]} · ${scan.to.split("/").at(-2)}`;

  function row(scan) {
    const one = make("li", "", { className: scan.state });
    one.append(make("span", `${scan.number}`, { className: "number" }), make("span", textOf(scan), { className: "typed" }));
    if (scan.state === "booked") one.append(make("b", scan.lies), make("small", scan.thickness));
    if (scan.state === "open") one.append(make("span", "not yet sent"));
    if (scan.state === "refused") {
      one.append(make("p", `Not booked. ${scan.detail}`, { className: "error" }));
      for (const way of scan.ways || []) {
        const key = keyNew(scan.batch);
        const meant = { ...scan, key, to: way.to, fields: Object.entries({ ...way.fields, key }), state: "open" };
        one.append(make("button", way.text, { type: "button", onclick: () => instead([scan], meant) }));
      }
      one.append(make("button", "Leave it out", { type: "button", onclick: () => instead([scan]) }));
    }
    return one;
  }

  /** In place of these scans ``meant``, or nothing. */
  function instead(scans, meant) {
    scans.forEach(forget);
    if (meant) keep(meant);
    show();
    send();
    const field = document.querySelector("[autofocus]");
    if (field) field.focus();
  }

  function show() {
    const shown = mine().filter((scan) => !(flying && flying.scan.key === scan.key));
    const unsent = shown.filter((scan) => scan.state === "open");
    const others = all().filter((scan) => scan.by !== me && scan.state === "open");
    place.hidden = !shown.length && !others.length;
    place.replaceChildren();
    if (shown.length) {
      const refused = shown.some((scan) => scan.state === "refused");
      const done = refused ? "Sent: one was not booked" : "Sent: lay each one into its bin";
      place.append(make("h2", unsent.length ? `Not yet sent: ${unsent.length}` : done));
      if (unsent.length) place.append(make("p", WHY[wait]));
      if (unsent.length && wait === "sign-in") place.append(make("a", "Sign in", { href: place.dataset.signIn, className: "go" }));
      const list = make("ol", "");
      list.append(...shown.map(row));
      place.append(list);
      if (!unsent.length && !refused) {
        const clear = () => instead(shown);
        place.append(make("button", "They lie there: clear this list", { type: "button", onclick: clear }));
      }
    }
    for (const name of new Set(others.map((scan) => scan.name))) {
      const count = others.filter((scan) => scan.name === name).length;
      place.append(make("p", `Not yet sent: ${count} of ${name}. Kept here until ${name} signs in again.`));
    }
    aside(unsent.at(-1));
  }

  /** Where the bin would stand: that it cannot be told, and the number to lay the plate aside under. */
  function aside(scan) {
    const answer = document.querySelector("#scan:has(form[data-keep]) .answer");
    if (!answer || !scan) return;
    answer.replaceChildren(
      make("p", "lay it aside, in this order, as number", { className: "into" }),
      make("p", `${scan.number}`, { className: "bin none" }),
      make("p", textOf(scan), { className: "thick" }),
      make("p", "Its bin is told when the line is back."),
    );
    const undo = make("button", "Leave it out Esc", { type: "button", onclick: () => instead([scan]) });
    undo.dataset.undo = "";
    if (!scan.tried) answer.append(undo);
    else answer.append(make("p", "It may have arrived: to undo it, wait for the line."));
  }

  show();
  send();
})();
