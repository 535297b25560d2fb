// A lot is read press by press, each on top of the ones before it: what is read while one is under way waits for it.
"use strict";
(() => {
	const LOT = "form[data-lot]";
	let reading = null;
	let waiting = [];
	document.addEventListener(
		"submit",
		(event) => {
			if (!reading || !event.target.matches(LOT)) return;
			event.preventDefault();
			event.stopPropagation();
			const field = event.target.elements.reading;
			if (field && field.value.trim()) waiting.push(field.value);
			if (field) field.value = "";
		},
		true
	);
	document.addEventListener("htmx:beforeRequest", (event) => {
		const form = event.target;
		if (!form.matches(LOT) || event.detail.requestConfig.verb !== "post") return;
		const field = form.elements.reading;
		reading = { xhr: event.detail.xhr, typed: field ? field.value : "" };
		if (field) field.value = "";
	});
	document.addEventListener("htmx:afterRequest", (event) => {
		if (!reading || event.detail.xhr !== reading.xhr) return;
		const field = document.querySelector(`${LOT} [name=reading]`);
		if (!event.detail.successful && field) {
			field.value = reading.typed;
			field.select();
			waiting = [];
		}
		reading = null;
		readNext();
	});
	const readNext = () => {
		const field = document.querySelector(`${LOT} [name=reading]`);
		if (reading || !waiting.length || !field) return;
		field.value = waiting.shift();
		if (document.querySelector("#scan [role=alert]")) waiting = [];
		else field.form.requestSubmit();
	};
	document.addEventListener("htmx:afterSettle", () => {
		// What was refused stands there selected: the next press of the micrometer takes its place.
		const refused = document.querySelector("#scan [autofocus]");
		if (refused && refused.defaultValue && refused.value === refused.defaultValue) refused.select();
		readNext();
	});
})();
