"use strict";
// The second tap of two, or one of cold wet hands, must not answer the next question, which nobody has read yet. The
// gateway looks at it too, from when it made the page; a slow line eats that time, so here it counts from when it stands.
(() => {
  const EARLY = 700; // ms, longer than a double tap takes, shorter than reading a question
  let shown = performance.now();
  addEventListener("pageshow", () => { shown = performance.now(); });
  document.addEventListener("submit", (event) => {
    if (event.target.closest("main") && performance.now() - shown < EARLY) event.preventDefault();
  });
})();
