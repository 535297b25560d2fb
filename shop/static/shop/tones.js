// A short tone for each scan, so that the eyes may stay on the plate: one for booked, others for what wants a look.
"use strict";
(() => {
  const MUTED = "muted";
  // Of each tone its notes: hertz and seconds.
  const TONES = {
    booked: [[880, 0.09]],
    warning: [[440, 0.12], [440, 0.12]],
    refused: [[220, 0.4]],
    kept: [[660, 0.06], [440, 0.06]],
  };
  let sound = null;

  // Browsers are silent until a person has touched the page.
  for (const touch of ["keydown", "pointerdown"]) {
    document.addEventListener(touch, () => (sound = sound || new AudioContext()));
  }

  function play(tone) {
    if (!sound || localStorage.getItem(MUTED)) return;
    let at = sound.currentTime;
    for (const [hertz, seconds] of TONES[tone] || []) {
      const voice = new OscillatorNode(sound, { type: "triangle", frequency: hertz });
      const loudness = new GainNode(sound, { gain: 0.2 });
      voice.connect(loudness).connect(sound.destination);
      voice.start(at);
      voice.stop(at + seconds);
      at += seconds + 0.05;
    }
  }

  const mute = document.querySelector("[data-mute]");
  const label = () => {
    const muted = Boolean(localStorage.getItem(MUTED));
    mute.setAttribute("aria-pressed", String(muted));
  };
  if (mute) {
    label();
    mute.addEventListener("click", () => {
      if (localStorage.getItem(MUTED)) localStorage.removeItem(MUTED);
      else localStorage.setItem(MUTED, "1");
      label();
      const field = document.querySelector("[autofocus]");
      if (field) field.focus();
    });
  }

  document.addEventListener("tone", (event) => play(event.detail));
  document.addEventListener("htmx:afterSwap", (event) => {
    const answer = event.detail.target.id === "scan" && document.querySelector("#scan .answer");
    if (answer) play(answer.dataset.tone);
  });
})();
