"use strict";
// Draws the curve of a freezer with uPlot: a band from lowest to highest, the mean, limits, what happened, what may
// come. Zoom by pinch, by the buttons, or by the keys + - 0 and the arrows. Colours are those of the page.
(() => {
  const place = document.getElementById("curve");
  if (!place || !window.uPlot) return;
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const zone = place.dataset.zone || undefined;
  const at = (s) => uPlot.tzDate(new Date(s * 1000), zone || "UTC");
  const degrees = (v, unit) => `${v.toFixed(1).replace("-", "\u2212")} ${unit}`;
  let plot = null;
  let data = null;
  let zoomed = false;

  const line = (u, y, dash, name) => {
    const c = u.ctx, top = u.bbox.top, h = u.bbox.height, v = u.valToPos(y, "y", true);
    if (v < top || v > top + h) return;
    c.setLineDash(dash);
    c.strokeStyle = c.fillStyle = colour("--bad");
    c.lineWidth = devicePixelRatio;
    c.beginPath(); c.moveTo(u.bbox.left, v); c.lineTo(u.bbox.left + u.bbox.width, v); c.stroke();
    c.setLineDash([]);
    c.textAlign = "left"; c.textBaseline = "bottom";  // a forecast's bars lie on the right
    c.fillText(name, u.bbox.left + 4, v - 2);
  };
  const x = (u, s) => u.valToPos(s, "x", true);
  const clipped = (u, draw) => {
    const c = u.ctx;
    c.save();
    c.beginPath(); c.rect(u.bbox.left, u.bbox.top, u.bbox.width, u.bbox.height); c.clip();
    c.font = `${13 * devicePixelRatio}px system-ui, sans-serif`;
    draw(c);
    c.restore();
  };
  const behind = (u) => clipped(u, (c) => {
    c.fillStyle = colour("--bad-soft");
    for (const [from, to] of data.spells) c.fillRect(x(u, from), u.bbox.top, Math.max(2, x(u, to) - x(u, from)), u.bbox.height);
    c.fillStyle = colour("--warn");
    for (const [from, to] of data.lids) c.fillRect(x(u, from), u.bbox.top + u.bbox.height - 8 * devicePixelRatio, Math.max(3, x(u, to) - x(u, from)), 8 * devicePixelRatio);
  });
  const before = (u) => clipped(u, (c) => {
    c.lineWidth = 1.5 * devicePixelRatio;
    c.strokeStyle = colour("--ink");
    for (const [first, last, v] of data.late) {
      c.beginPath(); c.arc(x(u, (first + last) / 2), u.valToPos(v, "y", true), 3.5 * devicePixelRatio, 0, 7); c.stroke();
    }
    for (const [level, early, likely, late] of data.forecast) {
      if (early === null) continue;
      const v = u.valToPos(level, "y", true), on = late === null || late > data.ends;
      const end = on ? x(u, data.ends) : x(u, late), tip = on ? 9 * devicePixelRatio : 0;
      c.strokeStyle = c.fillStyle = colour("--warn");
      c.lineWidth = 5 * devicePixelRatio;
      c.globalAlpha = .55;
      c.beginPath(); c.moveTo(x(u, early), v); c.lineTo(end - tip, v); c.stroke();
      c.beginPath(); c.moveTo(end, v); c.lineTo(end - tip, v - tip); c.lineTo(end - tip, v + tip); c.fill();
      c.globalAlpha = 1;
      c.fillStyle = colour("--ink");
      if (likely !== null) c.fillRect(x(u, likely) - devicePixelRatio, v - 6 * devicePixelRatio, 2 * devicePixelRatio, 12 * devicePixelRatio);
    }
    data.limits.forEach(([level, name], i) => line(u, level, i ? [2, 3] : [6, 4], name));
  });

  const range = (_u, low, high) => {
    const marks = [...data.limits, ...data.forecast].map((f) => f[0]);
    if (low === null || high === null) [low, high] = [data.limits[0][0] - 8, data.limits[1][0]];
    low = Math.min(low, ...marks); high = Math.max(high, ...marks);
    const air = Math.max(.5, (high - low) * .08);
    return [low - air, high + air * 1.5];
  };
  const options = () => ({
    width: place.clientWidth,
    height: Math.max(220, Math.min(360, Math.round(place.clientWidth * .6))),
    tzDate: at,
    legend: { show: false },
    cursor: { drag: { x: true, y: false }, points: { show: false }, y: false },
    scales: { x: { time: true }, y: { range } },
    series: [
      {},
      { label: "lowest", stroke: "transparent", width: 0, points: { show: false } },
      { label: "highest", stroke: "transparent", width: 0, points: { show: false } },
      { label: "mean", stroke: () => colour("--tap"), width: 2, points: { size: 4 } },
    ],
    bands: [{ series: [2, 1], fill: () => colour("--band") }],
    axes: [
      { stroke: () => colour("--soft"), grid: { stroke: () => colour("--line"), width: 1 }, ticks: { stroke: () => colour("--line") },
        values: words, space: 64 },
      { stroke: () => colour("--soft"), grid: { stroke: () => colour("--line"), width: 1 }, ticks: { stroke: () => colour("--line") },
        values: (_u, all) => all.map((v) => `${String(v).replace("-", "\u2212")}°`), size: 48 },
    ],
    hooks: {
      drawClear: [behind],
      draw: [before],
      setCursor: [said],
      setSelect: [() => { zoomed = true; }],
    },
  });
  const format = (options) => new Intl.DateTimeFormat("en-GB", { timeZone: zone, ...options });
  const clock = format({ hour: "2-digit", minute: "2-digit" });
  const day = format({ day: "numeric", month: "short" });
  const month = format({ month: "short", year: "numeric" });
  const words = (u, all) => {
    const span = u.scales.x.max - u.scales.x.min;
    const form = span > 200 * 86400 ? month : span > 3 * 86400 ? day : clock;
    return all.map((s) => form.format(s * 1000));
  };
  const full = format({ weekday: "short", day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit" });

  const note = document.createElement("p");
  note.className = "help";
  const keys = "Zoom with two fingers, by drawing over a piece, with these buttons, or with the keys + and −; the arrow keys move, 0 shows all.";
  const said = (u) => {
    const i = u.cursor.idx;
    const mean = i === null || i === undefined ? null : data.mean[i];
    note.textContent = mean === null ? keys
      : `${full.format(data.t[i] * 1000)}: mean ${degrees(mean, data.unit)}, lowest ${degrees(data.low[i], data.unit)}, highest ${degrees(data.high[i], data.unit)}`;
  };

  const look = (min, max) => {
    const all = data.ends - data.since, least = Math.min(600, all);
    let span = Math.min(all, Math.max(least, max - min));
    let begin = (min + max - span) / 2;
    begin = Math.max(data.since, Math.min(data.ends - span, begin));
    zoomed = span < all - 1;
    plot.setScale("x", { min: begin, max: begin + span });
  };
  const zoom = (by, about = .5) => {
    const { min, max } = plot.scales.x, focus = min + (max - min) * about;
    look(focus - (focus - min) * by, focus + (max - focus) * by);
  };
  const move = (by) => {
    const { min, max } = plot.scales.x, way = (max - min) * by;
    look(min + way, max + way);
  };
  const whole = () => look(data.since, data.ends);
  const KEYS = { "+": () => zoom(.5), "=": () => zoom(.5), "-": () => zoom(2), "0": whole, Home: () => move(-1e6), End: () => move(1e6), ArrowLeft: () => move(-.2), ArrowRight: () => move(.2), ArrowUp: () => zoom(.5), ArrowDown: () => zoom(2) };
  place.addEventListener("keydown", (event) => {
    if (!plot || event.ctrlKey || event.metaKey || event.altKey || !KEYS[event.key]) return;
    event.preventDefault();
    KEYS[event.key]();
  });

  const fingers = new Map();
  let pinch = null;
  const spread = () => {
    const [a, b] = [...fingers.values()], box = plot.over.getBoundingClientRect();
    return { far: Math.max(24, Math.abs(a - b)), about: Math.min(1, Math.max(0, ((a + b) / 2 - box.left) / box.width)) };
  };
  const touched = (event) => {
    if (event.pointerType !== "touch") return;
    if (event.type === "pointerup" || event.type === "pointercancel") fingers.delete(event.pointerId);
    else if (event.type === "pointerdown" || fingers.has(event.pointerId)) fingers.set(event.pointerId, event.clientX);
    if (fingers.size !== 2 || !plot) { pinch = null; return; }
    const now = spread();
    if (pinch) zoom(pinch.far / now.far, now.about);
    pinch = now;
  };
  for (const kind of ["pointerdown", "pointermove", "pointerup", "pointercancel"]) place.addEventListener(kind, touched);

  const buttons = document.createElement("p");
  buttons.className = "taps no-print";
  for (const [text, label, does] of [["+", "Zoom in", () => zoom(.5)], ["\u2212", "Zoom out", () => zoom(2)], ["All", "Show all of the time", whole]]) {
    const one = document.createElement("button");
    one.type = "button"; one.className = "second"; one.textContent = text; one.setAttribute("aria-label", label);
    one.addEventListener("click", () => { if (plot) does(); });
    buttons.append(one);
  }

  const draw = () => {
    if (plot) plot.destroy();
    plot = new uPlot(options(), [data.t, data.low, data.high, data.mean], place);
    plot.setScale("x", { min: data.since, max: data.ends });
    zoomed = false;
    said(plot);
  };
  const load = async () => {
    try {
      const answer = await fetch(place.dataset.curve, { credentials: "same-origin" });
      if (!answer.ok) throw new Error(String(answer.status));
      data = await answer.json();
      if (!plot) {
        place.tabIndex = 0;
        place.setAttribute("role", "application");
        place.setAttribute("aria-label", `Curve of ${place.dataset.name}. The same figures stand in the table below.`);
        place.after(note, buttons);
        draw();
      } else if (!zoomed) draw();
      else plot.setData([data.t, data.low, data.high, data.mean], false);
    } catch {
      if (!plot) { note.textContent = "The curve could not be loaded. The same figures stand in the table below."; place.after(note); }
    }
  };
  document.addEventListener("renewed", (event) => { if (event.target.id === "figures") load(); });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { if (plot) plot.redraw(); });
  let wide = place.clientWidth;
  addEventListener("resize", () => {
    if (!plot || place.clientWidth === wide) return;
    wide = place.clientWidth;
    plot.setSize({ width: wide, height: options().height });
  });
  load();
})();
