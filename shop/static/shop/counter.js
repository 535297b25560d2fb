// What the counter does beyond plain forms: undo by one key, a held key that acts once, and word of a lost line.
"use strict";
(() => {
  const trouble = () => document.getElementById("trouble");

  document.addEventListener("keydown", (event) => {
    const held = event.target;
    if (event.key === "Escape") {
      const undo = document.querySelector("[data-undo]");
      if (undo && !(held.value && held.matches("input[type=text], input:not([type])"))) {
        event.preventDefault();
        undo.click();
      }
    }
    // A key still down from the page before, or struck twice, must not take anything on this one.
    if (event.key === "Enter" && held.matches && held.matches("[data-steady]:not([data-awake])")) event.preventDefault();
    if (event.key === "Enter" && event.repeat) event.preventDefault();
  });

  // One letter decides what becomes of a plate that came out: of the one with the focus, else of the next one.
  document.addEventListener("keydown", (event) => {
    const held = event.target;
    if (event.repeat || event.ctrlKey || event.altKey || event.metaKey || held.matches("input, select, textarea")) return;
    const row = held.closest("[data-fates]") || document.querySelector("[data-fates]");
    const letters = row ? [...row.querySelectorAll("[data-letter]")] : [];
    const button = letters.find((one) => one.dataset.letter === event.key.toLowerCase());
    if (button) {
      event.preventDefault();
      button.click();
    }
  });

  window.addEventListener("load", () => {
    setTimeout(() => document.querySelectorAll("[data-steady]").forEach((one) => (one.dataset.awake = "")), 500);
  });

  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-print]")) window.print();
  });

  document.addEventListener("htmx:beforeRequest", () => {
    trouble().hidden = true;
  });
  for (const name of ["htmx:sendError", "htmx:timeout", "htmx:responseError"]) {
    document.addEventListener(name, (event) => {
      if (event.detail.requestConfig.verb === "get") return;
      trouble().textContent =
        name === "htmx:responseError"
          ? "That was refused: the page is older than what it shows. Load it again, then repeat."
          : "That did not arrive. What you typed still stands in its field: press Enter once more.";
      trouble().hidden = false;
    });
  }
})();
