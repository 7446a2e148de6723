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

  const DOORS = ["/sign-in", "/set-up"]; // where somebody is led who is not signed in
  const BEHIND = [502, 503, 504]; // what a proxy answers when the gateway behind it does not

  const PATIENCE = 15000; // ms: a line that is dead without saying so would be waited at for minutes

  const fresh = async () => {
    if (busy || document.hidden) return;
    busy = true;
    try {
      // the address of a form leads to the page it stands on, which has the same parts
      // it says that it looks by itself, so that words for the person are kept for a page that the person opens
      const answer = await fetch(location.href, {
        credentials: "same-origin", headers: { "X-Fresh": "1" }, signal: AbortSignal.timeout?.(PATIENCE),
      });
      if (BEHIND.includes(answer.status)) throw new Error(String(answer.status));
      if (answer.status === 401 || (answer.redirected && DOORS.includes(new URL(answer.url).pathname))) {
        out();
        return;
      }
      if (!answer.ok) {
        unlike(answer.status);
        return;
      }
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
    // a stream that was once answered with anything else has ended for good (WHATWG HTML, 9.2.3); a new one may do
    if (stream.readyState === EventSource.CLOSED) stream = connect();
  };

  const lost = () => {
    cut = true;
    tell();
  };

  // it answers, but does not show this page anew
  const unlike = (status) => {
    cut = false;
    say(`The gateway answers, but not with this page (${status}). What you see is from ${hour()}.`);
  };

  const out = () => {
    cut = false;
    stream.close();
    say(`You are not signed in any more. What you see is from ${hour()}; load the page anew to sign in.`);
  };

  // the house's time as the page shows it: the phone's clock may be set to anything
  const hour = () => document.querySelector("#as-of time")?.textContent ?? "before";

  const say = (text) => {
    stale.textContent = text;
    stale.hidden = false;
  };

  const tell = () => {
    if (!cut) return;
    const minutes = Math.floor((Date.now() - last) / 60000);
    const how = minutes < 1 ? "less than a minute" : minutes === 1 ? "1 minute" : `${minutes} minutes`;
    say(`Not connected to the gateway for ${how}. What you see is from ${hour()}; it is tried again by itself.`);
  };

  const connect = () => {
    const made = new EventSource(pulse);
    made.addEventListener("changed", fresh);
    made.addEventListener("alive", () => { if (cut) fresh(); else heard(); });
    made.addEventListener("open", () => { if (cut) fresh(); });
    // it says not why; asking does, unless it has ended: then the next look, so that it is not tried without a pause
    made.addEventListener("error", () => { if (made.readyState !== EventSource.CLOSED) fresh(); });
    return made;
  };

  let stream = connect();
  addEventListener("online", fresh);
  addEventListener("look-again", fresh);
  addEventListener("offline", lost);
  // a page that nobody sees lets go of its line: a browser has six for one address, and the gateway looks for nobody
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) stream.close();
    else if (Date.now() - began > 1000) fresh();
  });
  addEventListener("pagehide", () => stream.close());
  addEventListener("pageshow", (event) => { if (event.persisted) fresh(); }); // back to a page that was kept
  setInterval(() => { if (cut || stream.readyState === EventSource.CLOSED) fresh(); tell(); }, 20000);
})();
