// What the counter does beyond plain forms: undo by one key, a held key that acts once, word of a lost line, and what
// was typed when the page had to ask who is there.
"use strict";
(() => {
	const names = ["addEventListener", "querySelector", "querySelectorAll"];
	const [on, first, all] = names.map((name) => document[name].bind(document));
	const trouble = () => document.getElementById("trouble");

	// A form that was just swapped in is in htmx's hands at once: a scan must not slip through before.
	htmx.config.defaultSettleDelay = 0;

	on("keydown", (event) => {
		const held = event.target;
		if (event.key === "Escape" && !event.repeat) {
			const undo = first("[data-undo]");
			// What is half typed stays; what was refused stands as it came, and may go.
			if (undo && !(held.matches("input[type=text], input:not([type])") && held.value !== held.defaultValue)) {
				event.preventDefault();
				undo.click();
			}
		}
		// One key for a choice of two: it chooses the other one.
		const two = /^F\d+$/.test(event.key) && first(`[data-hotkey="${event.key}"]`);
		if (two && !event.repeat) {
			event.preventDefault();
			two.querySelector("input:not(:checked)").checked = true;
		}
		// A key still down from the page before, or struck twice, must not take anything on this one.
		if (event.key === "Enter" && held.matches && held.matches("[data-steady]:not([data-awake])")) {
			// What a micrometer has just typed into a field is no key of the page before.
			if (!held.matches("input") || !held.value) event.preventDefault();
		}
		if (event.key === "Enter" && event.repeat) event.preventDefault();
	});

	// One letter decides what becomes of a plate that came out: of the one with the focus, else of the next one.
	on("keydown", (event) => {
		const held = event.target;
		if (event.repeat || event.ctrlKey || event.altKey || event.metaKey || held.matches("input, select, textarea")) return;
		const row = held.closest("[data-fates]") || first("[data-fates]");
		const letters = row ? [...row.querySelectorAll("[data-letter]")] : [];
		const button = letters.find((one) => one.dataset.letter === event.key.toLowerCase());
		if (button) {
			event.preventDefault();
			button.click();
		}
	});

	// Find: by one key from any page, and by nothing at all for a label scanned where no field has the focus.
	const field = (held) => held.matches && held.matches("input:not([type=checkbox], [type=radio]), select, textarea");
	let scan = "";
	let last = 0;
	on(
		"keydown",
		(event) => {
			const find = first("[data-find]");
			if (!find || event.ctrlKey || event.altKey || event.metaKey) return;
			if (event.key === "F4" && !event.repeat) {
				event.preventDefault();
				find.click();
			}
			if (event.timeStamp - last > 2000 || field(event.target)) scan = "";
			if (field(event.target) || (!scan && event.key !== "%" && event.key !== "]")) return;
			last = event.timeStamp;
			if (event.key.length === 1) scan += event.key;
			if (event.key === "Enter") location.assign(`${find.href}?q=${encodeURIComponent(scan)}`);
			if (event.key !== "Shift") {
				event.preventDefault();
				event.stopPropagation();
			}
		},
		true
	);

	// What a badge says goes into no address, neither of a search nor of a fragment.
	const badge = (one) => /^\s*id-\w{20}\s*$/i.test(one.value);
	on("submit", (event) => {
		const form = event.target;
		if (form.method !== "get" || ![...form.elements].some(badge)) return;
		event.preventDefault();
		location.assign(`${first("[data-find]").href}?badge`);
	});
	on("htmx:beforeRequest", (event) => {
		if (event.detail.requestConfig.verb === "get" && badge(event.target)) event.preventDefault();
	});

	const wake = () => {
		setTimeout(() => all("[data-steady]").forEach((one) => (one.dataset.awake = "")), 500);
	};
	window.addEventListener("load", wake);
	on("htmx:afterSettle", wake);

	// What takes seconds says so at once and is not sent twice; when it failed, or one comes back to it, it may be again.
	on(
		"submit",
		(event) => {
			const form = event.target;
			if (!form.matches("[data-working]")) return;
			if (form.querySelector(".working")) {
				event.preventDefault();
				return event.stopPropagation();
			}
			const said = document.createElement("p");
			const seconds = document.createElement("span");
			Object.assign(said, { className: "working", role: "status" });
			seconds.ariaHidden = "true";
			(event.submitter?.closest(".buttons") || form.lastElementChild).after(said);
			const began = Date.now();
			const tell = () => {
				if (!said.firstChild) said.append(form.dataset.working, " ", seconds);
				const took = Math.floor((Date.now() - began) / 1000);
				seconds.textContent = `${took} s`;
				// Nobody tells of a page that was stopped by hand.
				if (took > 59) said.remove();
				else if (said.isConnected) setTimeout(tell, 1000);
			};
			setTimeout(tell);
		},
		true
	);
	const worked = () => all(".working").forEach((one) => one.remove());
	window.addEventListener("pageshow", worked);
	on("htmx:afterRequest", worked);

	// The time left of a hold, by the server's clock: this machine's may be off.
	const off = new WeakMap();
	const count = () =>
		all("time[data-now]").forEach((one) => {
			if (!off.has(one)) off.set(one, Date.parse(one.dataset.now) - Date.now());
			const seconds = Math.floor((Date.parse(one.dateTime) - Date.now() - off.get(one)) / 1000);
			const [hours, minutes] = [Math.floor(seconds / 3600), Math.floor((seconds % 3600) / 60)];
			if (seconds <= 0) one.textContent = "none: it ran out, load the page again";
			else if (hours) one.textContent = `${hours} h ${minutes} min`;
			else one.textContent = minutes >= 5 ? `${minutes} min` : `${minutes} min ${seconds % 60} s`;
		});
	window.addEventListener("load", () => {
		count();
		setInterval(count, 1000);
	});

	on("click", (event) => {
		if (event.target.closest("[data-print]")) window.print();
	});

	on("keydown", (event) => {
		const button = event.key.length > 1 && first(`[data-key="${CSS.escape(event.key)}"]`);
		if (button && !event.repeat) {
			event.preventDefault();
			button.click();
		}
	});

	// Forms of this page as they stand, but for those with a secret; kept in this tab until the page is back.
	const KEPT = "typed";
	const forms = () => [...all("main form[method=post]")].filter((one) => !one.matches("[data-secret]") && !one.querySelector("[type=password]"));
	const stood = (which) => {
		for (const one of all("main input, main option")) {
			if (one.matches("option")) one.toggleAttribute("selected", one.selected);
			else if (one.matches("[type=checkbox], [type=radio]")) one.toggleAttribute("checked", one.checked);
			else one.setAttribute("value", one.value);
		}
		const stand = which.map((one) => [one.getAttribute("action"), one.className, one.innerHTML]);
		const { name } = first("main :focus") || first("main [autofocus]") || {};
		return { page: location.pathname + location.search, stand, focus: name };
	};
	const keep = () => {
		if (!("door" in document.body.dataset)) sessionStorage.setItem(KEPT, JSON.stringify(stood(forms())));
	};
	const restore = () => {
		if ("door" in document.body.dataset) return;
		const kept = JSON.parse(sessionStorage.getItem(KEPT)) || history.state;
		sessionStorage.removeItem(KEPT);
		if (!kept || !kept.stand || kept.page !== location.pathname + location.search) return;
		const fresh = forms();
		for (const [action, look, html] of kept.stand) {
			const at = fresh.findIndex((one) => one.getAttribute("action") === action);
			if (at < 0) continue;
			const [form] = fresh.splice(at, 1);
			const token = form.elements.csrfmiddlewaretoken.value;
			form.className = look;
			form.innerHTML = html;
			form.elements.csrfmiddlewaretoken.value = token;
			htmx.process(form);
		}
		const focus = kept.focus && first(`main [name="${CSS.escape(kept.focus)}"]`);
		if (!focus) return;
		focus.focus();
		if (focus.matches("[type=text], input:not([type])")) focus.setSelectionRange(focus.value.length, focus.value.length);
	};

	// The answer to a form has no address to come back to: the browser would ask to send the form again. It takes that of
	// the page that the form was on, else its own, and *back* finds there what was typed into the form that was sent.
	const settle = () => {
		if (!("posted" in document.body.dataset)) return;
		const { href, origin, pathname } = location;
		const from = document.referrer && new URL(document.referrer);
		const above = from && from.origin === origin && pathname.startsWith(from.pathname);
		const typed = (one) => one.querySelector("input:not([type=hidden]), select, textarea");
		const sent = () => forms().filter((one) => new URL(one.action).pathname === pathname && typed(one));
		history.replaceState(null, "", above ? from.href : href);
		const note = () => history.replaceState(stood(sent()), "");
		note();
		on("change", note);
	};
	on("keep-typed", keep);
	on("submit", (event) => {
		if (event.target.matches("[data-keep-typed]")) keep();
		if (event.target.matches("[action='/sign-out/']")) sessionStorage.removeItem(KEPT);
	});
	window.addEventListener("load", restore);
	window.addEventListener("load", settle);

	// The server locks; the page asks it when the time has come, so that nobody types into a locked one.
	const { lock, lockMinutes } = document.body.dataset;
	let timer;
	const wait = () => {
		clearTimeout(timer);
		timer = setTimeout(() => {
			keep();
			location.assign(`${lock}?next=${encodeURIComponent(location.pathname + location.search)}`);
		}, lockMinutes * 60_000 + 2_000);
	};
	if (lock) {
		wait();
		on("htmx:afterRequest", wait);
	}

	// What was sought stands there selected: the next scan takes its place.
	all("[data-select]").forEach((one) => one.select());

	// What a preview said stays until there is more to say: Enter, which brings a fresh form, must not blank it.
	let before = [];
	on("htmx:beforeSwap", (event) => {
		if (event.detail.target.id === "ask") before = [...all("#so-far, #preview")];
	});
	on("htmx:afterSwap", () => {
		for (const one of before) document.getElementById(one.id)?.replaceChildren(...one.childNodes);
		before = [];
	});

	// A preview comes and goes: what became of it is no news of what was typed or done.
	const quiet = (event) => event.detail.elt.matches("[data-quiet]");
	on("htmx:beforeRequest", (event) => {
		if (!quiet(event)) trouble().hidden = true;
	});
	for (const name of ["htmx:sendError", "htmx:timeout", "htmx:responseError"]) {
		on(name, (event) => {
			const button = (event.detail.requestConfig.triggeringEvent || {}).submitter || event.detail.elt;
			const undoes = "undo" in button.dataset;
			if ((event.detail.requestConfig.verb === "get" && !undoes) || quiet(event)) return;
			const key = undoes ? "Esc" : button.dataset.key || "Enter";
			trouble().textContent =
				name === "htmx:responseError"
					? "That was refused: the page is older than what it shows. Load it again, then repeat."
					: `That did not arrive. What you typed still stands in its field: press ${key} once more.`;
			trouble().hidden = false;
		});
	}
})();
