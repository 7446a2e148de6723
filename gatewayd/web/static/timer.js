"use strict";
// Lets the timers of a page run on between two looks at the gateway, also while it cannot be reached. They count from
// the gateway's time as the page was made, so the phone's own clock need not be right.
(() => {
  const MINUTE = 60000;
  const CALLS = [30, 15, 10, 5, 0]; // minutes left at which it is said aloud
  const said = document.getElementById("timer-said");
  const seen = new WeakMap(); // since when this page shows a timer, by the phone's clock
  const called = new Map();
  let spoke = 0;
  let waiting = "";

  const span = (ms) => {
    const minutes = Math.floor(ms / MINUTE);
    if (minutes >= 60) return `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
    return `${minutes} min`;
  };

  const words = (left, past) => {
    if (left <= 0 && left > -MINUTE) return past.replace(/ for$/, " now");
    if (left <= 0) return `${past} ${span(-left)}`;
    if (left >= 10 * MINUTE) return `${span(left)} left`;
    const seconds = Math.floor((left % MINUTE) / 1000);
    return `${Math.floor(left / MINUTE)} min ${String(seconds).padStart(2, "0")} s left`;
  };

  const call = (timer, left, advice) => {
    const name = timer.dataset.name;
    const rank = CALLS.filter((minutes) => left <= minutes * MINUTE).length;
    const before = called.get(name);
    called.set(name, rank);
    if (before === undefined || rank <= before) return;
    waiting = `${name}: ${words(left, timer.dataset.past)}. ${left <= 0 ? advice : ""}`;
  };

  const run = (timer) => {
    if (!seen.has(timer)) seen.set(timer, Date.now());
    const left = Number(timer.dataset.end) - Number(timer.dataset.now) - (Date.now() - seen.get(timer));
    const shown = timer.querySelector("[data-left]");
    const over = timer.querySelector("[data-over]");
    const soon = timer.querySelector("[data-soon]");
    const text = words(left, timer.dataset.past);
    if (shown.textContent !== text) shown.textContent = text;
    if (over) over.hidden = left > 0;
    if (soon) soon.hidden = left <= 0 || left > Number(timer.dataset.soon);
    if (timer.dataset.urgent) timer.classList.toggle("bad", left <= 0);
    call(timer, left, over ? over.textContent : "");
  };

  const tick = () => {
    document.querySelectorAll("[data-end]").forEach(run);
    if (!waiting || !said || Date.now() - spoke < MINUTE) return;
    said.textContent = waiting;
    spoke = Date.now();
    waiting = "";
  };

  // Another phone has gone on: this page says so, and leaves its button under the finger that is about to press it.
  const compare = () => {
    const here = document.getElementById("at-step");
    const now = document.getElementById("moved");
    if (here && now) now.hidden = now.dataset.step === here.dataset.step;
  };

  addEventListener("renewed", () => { tick(); compare(); });
  document.addEventListener("visibilitychange", tick);
  setInterval(() => { if (!document.hidden) tick(); }, 1000);
  tick();
})();
