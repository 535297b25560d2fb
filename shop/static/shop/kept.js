// Scans without an answer are kept in this browser, each by itself, and sent in their order when the line is back.
// A scan goes with the key that it was first sent with, so one whose answer was lost is not booked twice.
"use strict";
(() => {
	const PREFIX = "scan:";
	const AGAIN_MS = 3000;
	const PATIENCE_MS = 20000;
	// Kept with each scan until it is answered, so that a full store cannot stop the answer from being kept.
	const room = " ".repeat(2000);
	const LONG_AGO = 1e12; // as many figures as now: in a full store nothing may grow
	const place = document.getElementById("kept");
	const me = place.dataset.person;
	let flying = null; // the scan that the page itself has under way, and its request
	let unanswered = null;
	let sending = null; // the kept scan that is under way
	let wait = ""; // why nothing is sent: "line", "sign-in", "page"

	// --- what is kept -----------------------------------------------------------------------------------------------
	const idOf = (scan) => `${PREFIX}${scan.by}:${scan.batch}:${scan.key}`;
	const all = () =>
		Object.keys(localStorage)
			.filter((id) => id.startsWith(PREFIX))
			.map((id) => JSON.parse(localStorage.getItem(id)))
			.sort((one, other) => one.number - other.number);
	const mine = () => all().filter((scan) => scan.by === me);
	// What this page or another tab has under way is left to it.
	const fresh = (scan) => Math.abs(Date.now() - scan.sent) < PATIENCE_MS && scan.key !== sending?.key;
	const away = (scan) => scan.state === "open" && (fresh(scan) || scan.key === flying?.scan.key);
	const open = () => mine().filter((scan) => scan.state === "open" && !away(scan));
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
		const { name } = place.dataset;
		return { number, by: me, name, batch: of.batch, key: of.key, to, fields, state: "open", tried: false, sent: LONG_AGO, room };
	}

	/** Keep what stands in the form; undefined, with a word, when this browser has no room for it. */
	function keepNew(form, more) {
		try {
			return keep({ ...scanOf(form), ...more });
		} catch {
			return say(FULL);
		}
	}

	/** Make the form ready for the next plate. */
	function ready(form) {
		const field = readingOf(form);
		if (field.type === "hidden") return document.getElementById("doubt")?.remove();
		field.value = "";
		form.key.value = keyNew(form.batch.value);
		form.querySelector(".echo")?.replaceChildren();
	}

	// Before the page's own handling: what cannot be sent now is kept, and never dropped.
	document.addEventListener(
		"submit",
		(event) => {
			const form = event.target;
			if (!form.matches("form[data-keep]") || (!flying && !open().length)) return;
			event.preventDefault();
			event.stopPropagation();
			if (!typedIn(form)) return; // Enter struck twice
			if (!isReading(typedIn(form))) return say(LABEL);
			if (!keepNew(form)) return;
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
		const scan = keepNew(form, { tried: true, sent: Date.now() });
		if (!scan) return; // it stays in the field under its key until it is answered
		flying = { scan, xhr: event.detail.xhr };
		if (readingOf(form).type !== "hidden") ready(form);
	});

	const nextField = () => document.querySelector("#scan form[data-keep] input[name=reading]:not([type=hidden])");
	let half = ""; // what is being typed while the answer comes in
	document.addEventListener("htmx:beforeSwap", (event) => {
		half = flying && event.detail.xhr === flying.xhr ? (nextField()?.value ?? "") : "";
	});
	document.addEventListener("htmx:afterSwap", () => {
		if (half && nextField()) nextField().value = half;
		half = "";
	});

	document.addEventListener("htmx:afterRequest", (event) => {
		if (!flying || event.detail.xhr !== flying.xhr) return;
		const { scan, xhr } = flying;
		flying = null;
		if (xhr.status === 200 && !xhr.getResponseHeader("HX-Redirect")) forget(scan);
		else unanswered = keep({ ...scan, sent: LONG_AGO }) && xhr;
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
			else if (name !== "htmx:responseError" && event.target.matches("#scan form[data-keep]") && typedIn(event.target)) {
				say(isReading(typedIn(event.target)) ? FULL : LABEL);
			}
		});
	}

	// --- to the service ---------------------------------------------------------------------------------------------
	/** Send one kept scan under the key that it was kept with; false when none can go out now. */
	async function sendOne(scan) {
		keep({ ...scan, tried: true, sent: Date.now() });
		const told = await answerTo(scan);
		wait = told.wait || "";
		if (!localStorage.getItem(idOf(scan))) return true; // another tab has had its answer
		if (!told.state) return !keep({ ...scan, tried: true, sent: LONG_AGO });
		keep({ ...scan, room: told.state === "failed" ? room.slice(2) : "", tried: told.state !== "refused", sent: LONG_AGO, ...told });
		if (told.state !== "booked") document.dispatchEvent(new CustomEvent("tone", { detail: "refused" }));
		return true;
	}

	/** What the service says to a scan: its new state with what belongs to it; without one, why it has to wait. */
	async function answerTo(scan) {
		const body = new URLSearchParams(scan.fields);
		body.append("csrfmiddlewaretoken", document.querySelector("[name=csrfmiddlewaretoken]").value);
		const headers = { Accept: "application/json", "HX-Request": "true" };
		try {
			const response = await fetch(scan.to, { method: "POST", body, headers, signal: AbortSignal.timeout(PATIENCE_MS) });
			if ([502, 503, 504].includes(response.status)) return { wait: "line" };
			if (response.headers.get("HX-Redirect")) return { wait: "sign-in" };
			const json = response.headers.get("Content-Type")?.includes("json");
			const told = json ? await response.json() : {};
			if ((response.status === 403 && !json) || told.code === "other_person") return { wait: "page" };
			if (told.code === "busy") return {};
			// Whatever else is no answer concerns this one scan: the others go on.
			if (!json) return { state: "failed" };
			return { ...told, state: response.ok ? "booked" : "refused" };
		} catch {
			return { wait: "line" };
		}
	}

	async function send() {
		if (sending || flying) return;
		let gone = false;
		for (; (sending = open()[0]) && (await sendOne(sending)); show()) gone = true;
		sending = null;
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
		const parts = [".answer", ".tally", ".came"].filter((part) => document.querySelector(`#scan ${part}`));
		for (const part of parts) htmx.ajax("GET", from, { target: part, select: part, swap: "outerHTML" });
	}

	window.addEventListener("online", send);
	window.addEventListener("storage", show);
	// Nobody waits any more for what is under way: the next page may send it again at once.
	window.addEventListener("pagehide", () => {
		for (const scan of [sending, flying && flying.scan]) if (scan) keep({ ...scan, tried: true, sent: LONG_AGO });
	});
	setInterval(() => open().length && send(), AGAIN_MS);

	// --- what a person sees -----------------------------------------------------------------------------------------
	function make(tag, text, attributes = {}) {
		const one = document.createElement(tag);
		one.textContent = text;
		Object.assign(one, attributes);
		return one;
	}

	const button = (text, onclick) => make("button", text, { type: "button", onclick });

	function say(text) {
		Object.assign(document.getElementById("trouble"), { textContent: text, hidden: false });
	}

	const FULL = "No room is left in this browser to keep it: press Enter again when the list of what was sent is cleared.";
	const LABEL =
		"A label needs the line: press Enter again when nothing is kept here any more. Go on with this kind until then.";
	const WHY = {
		"": "They are being sent.",
		line: "The line is lost. Go on: each is kept here and sent when the line is back. Lay the plates aside in this order.",
		"sign-in": "You are not signed in any more. They are sent when you are.",
		page: "This page is older than who is signed in. Load it again.",
	};
	const LOOK = {
		failed: "The service failed on this one, the others go on. It may be booked: sent again, it counts once.",
		aside: "Put aside, with this written on it. Look for it in the batch or its bin; where it is not, scan it in anew.",
	};
	const textOf = (scan) => `${scan.fields.find(([name]) => name === "reading")[1]} · ${scan.to.split("/").at(-2)}`;

	function row(scan) {
		const one = make("li", "", { className: scan.state });
		one.append(make("span", `${scan.number}`, { className: "number" }), make("span", textOf(scan), { className: "typed" }));
		if (scan.state === "booked") one.append(make("b", scan.lies), make("small", scan.thickness));
		if (scan.state === "open") one.append(make("span", "not yet sent"));
		if (scan.state in LOOK) one.append(make("p", LOOK[scan.state], { className: "error" }));
		if (scan.state === "failed") {
			one.append(button("Try again", () => instead([scan], { ...scan, state: "open" })));
			one.append(button("Put it aside", () => instead([scan], { ...scan, state: "aside" })));
		}
		if (scan.state === "aside") one.append(button("That is done", () => instead([scan])));
		if (scan.state === "refused") {
			one.append(make("p", `Not booked. ${scan.detail}`, { className: "error" }));
			for (const way of scan.ways || []) {
				const key = keyNew(scan.batch);
				const meant = { ...scan, key, to: way.to, fields: Object.entries({ ...way.fields, key }), state: "open" };
				one.append(button(way.text, () => instead([scan], meant)));
			}
			one.append(button("Leave it out", () => instead([scan])));
		}
		return one;
	}

	/** In place of these scans ``meant``, or nothing. */
	function instead(scans, meant) {
		scans.forEach(forget);
		if (meant) keep(meant);
		show();
		send();
		document.querySelector("[autofocus]")?.focus();
	}

	function show() {
		const shown = mine().filter((scan) => !away(scan));
		const unsent = shown.filter((scan) => scan.state === "open");
		const others = all().filter((scan) => scan.by !== me && ["open", "failed"].includes(scan.state));
		place.hidden = !shown.length && !others.length;
		place.replaceChildren();
		if (shown.length) {
			const left = shown.some((scan) => scan.state === "refused" || scan.state in LOOK);
			const done = left ? "Sent: look at what was not booked" : "Sent: lay each one into its bin";
			place.append(make("h2", unsent.length ? `Not yet sent: ${unsent.length}` : done));
			if (unsent.length) place.append(make("p", WHY[wait]));
			if (unsent.length && wait === "sign-in") place.append(make("a", "Sign in", { href: place.dataset.signIn, className: "go" }));
			const list = make("ol", "");
			list.append(...shown.map(row));
			place.append(list);
			if (!unsent.length && !left) place.append(button("They lie there: clear this list", () => instead(shown)));
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
		const undo = button("Leave it out Esc", () => instead([scan]));
		undo.dataset.undo = "";
		if (!scan.tried) answer.append(undo);
		else answer.append(make("p", "It may have arrived: to undo it, wait for the line."));
	}

	// What failed may have been mended since.
	mine().filter((scan) => scan.state === "failed").forEach((scan) => keep({ ...scan, state: "open" }));
	show();
	send();
})();
