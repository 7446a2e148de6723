"use strict";
// Looks again every three seconds while the page shows something that changes faster than the house speaks: what is
// heard while somebody listens, or a signal while somebody walks about. live.js does the rest.
setInterval(() => {
  if (document.querySelector("[data-often]")) dispatchEvent(new Event("look-again"));
}, 3000);
