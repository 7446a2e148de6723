"use strict";
// Keeps what a page shows up to date, and says so when it cannot. Elements marked data-live are replaced by those of the
// same id on the page as it is now; a form that somebody is filling in is left alone.
(() => {
  const body = document.body;
  const pulse = body.dataset.pulse;
  const stale = document.getElementById("stale");
  if (!pulse || !stale) return;
  const began = new Date();
  let last = Date.now();
  let cut = false;
  let busy = false;

  // each form has a key of its own every time, which is no news
  const plain = (element) => element.innerHTML.replace(/(name="key" value=")[^"]*/g, "$1");

  const fresh = async () => {
    if (busy || document.hidden) return;
    busy = true;
    try {
      const answer = await fetch(location.href, { credentials: "same-origin", redirect: "error" });
      if (!answer.ok) throw new Error(String(answer.status));
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const old of document.querySelectorAll("[data-live][id]")) {
        const now = page.getElementById(old.id);
        if (!now || old.contains(document.activeElement) || plain(old) === plain(now)) continue;
        old.replaceWith(now);
        now.dispatchEvent(new CustomEvent("renewed", { bubbles: true }));
      }
      heard();
    } catch {
      lost();
    } finally {
      busy = false;
    }
  };

  const heard = () => {
    last = Date.now();
    cut = false;
    stale.hidden = true;
  };

  const lost = () => {
    cut = true;
    tell();
  };

  const tell = () => {
    if (!cut) return;
    const minutes = Math.floor((Date.now() - last) / 60000);
    const how = minutes < 1 ? "less than a minute" : minutes === 1 ? "1 minute" : `${minutes} minutes`;
    stale.textContent = `Not connected to the gateway for ${how}. What you see is from ${new Date(last).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })}; it is tried again by itself.`;
    stale.hidden = false;
  };

  const stream = new EventSource(pulse);
  stream.addEventListener("changed", fresh);
  stream.addEventListener("alive", () => { if (cut) fresh(); else heard(); });
  stream.addEventListener("open", () => { if (cut) fresh(); });
  stream.addEventListener("error", lost);
  addEventListener("online", fresh);
  addEventListener("look-again", fresh);
  addEventListener("offline", lost);
  document.addEventListener("visibilitychange", () => { if (!document.hidden && Date.now() - began > 1000) fresh(); });
  addEventListener("pagehide", () => stream.close());
  setInterval(tell, 20000);
})();
