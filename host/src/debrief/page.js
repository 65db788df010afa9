"use strict";
(() => {
const D = JSON.parse(document.getElementById("data").textContent);
const $ = (id) => document.getElementById(id);
const MISSING = -32768, NO_PEDAL = 255;
const MARKS = [["brake", "▼"], ["turn-in", "◆"], ["release", "△"], ["slowest", "●"], ["throttle", "▲"], ["full throttle", "■"]];

const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
const words = (text) => { const b = bytes(text), v = new DataView(b.buffer);
  return Int16Array.from({ length: b.length / 2 }, (_, i) => v.getInt16(2 * i, true)); };
const laps = D.laps.map((l) => ({ ...l, speed: words(l.speed), gap: words(l.gap), offset: words(l.offset),
  brake: l.brake && bytes(l.brake), throttle: l.throttle && bytes(l.throttle) }));
const byNumber = new Map(laps.map((l) => [l.lap, l]));
const pedals = laps.some((l) => l.brake || l.throttle);
const N = D.points, L = D.length_m;
const kSpeed = D.units.speeds_a_mps / 100, kLen = D.units.lengths_a_metre;
const wrap = (m) => ((m % L) + L) % L;

const state = { lap: D.first ? D.first.lap : (laps[0] || { lap: 0 }).lap, corner: 0, at: 0 };
if (!byNumber.has(state.lap) && laps.length) state.lap = laps[laps.length - 1].lap;

/* Distances run on over the start line: below 0 is the lap before, from L on the next one. */
const stepOf = (m) => Math.round(m / D.step_m);
const indexOf = (m) => ((stepOf(m) % N) + N) % N;
const turnsOf = (m) => Math.floor(stepOf(m) / N);
function value(lap, key, m) {
  const l = turnsOf(m) ? byNumber.get(lap.lap + turnsOf(m)) : lap;
  const v = l && l[key] ? l[key][indexOf(m)] : MISSING;
  return v === MISSING || v === undefined || (v === NO_PEDAL && (key === "brake" || key === "throttle")) ? null : v;
}
/* Behind the reference since this lap's start line, ms. */
function gap(lap, m) {
  const v = value(lap, "gap", m), turns = turnsOf(m);
  if (v === null || turns === 0) return v;
  const whole = turns > 0 ? lap : byNumber.get(lap.lap - 1);
  return !whole || whole.gap_s === null ? null : v + turns * whole.gap_s * 1000;
}

/* The stretch of road shown: a corner belongs to the lap of its slowest point. */
function span() {
  if (!state.corner) return [0, L - D.step_m];
  const c = D.corners[state.corner - 1], next = D.corners[state.corner % D.corners.length];
  const begin = c.apex < c.begin ? c.begin - L : c.begin;
  return [begin, begin + Math.max(wrap(next.begin - c.begin) || L, 50)];
}
/* A place brought into the stretch shown. */
function fit(m, [a, b]) {
  let u = m;
  while (u < a - 1) u += L;
  while (u > b + 1) u -= L;
  return u;
}
const points = ([a, b]) => { const out = []; for (let m = Math.ceil(a / D.step_m) * D.step_m; m <= b; m += D.step_m) out.push(m); return out; };

function path(list, x, y, f) {
  let d = "", up = true;
  for (const m of list) {
    const v = f(m);
    if (v === null) { up = true; continue; }
    d += (up ? "M" : "L") + x(m).toFixed(1) + " " + y(v).toFixed(1);
    up = false;
  }
  return d;
}
const esc = (t) => String(t).replace(/[&<>"]/g, (c) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" }[c]));
const minus = (t) => String(t).replace("-", "−");
const signed = (v, d) => minus((v >= 0 ? "+" : "") + v.toFixed(d));

const LEFT = 46, RIGHT = 10;
/* Drawn as wide as there is room for, so that its letters keep their size on a telephone. */
let W = 960;
let geometry = null;
const width = () => Math.min(960, Math.max(320, $("charts").clientWidth || 960));
function panes() {
  const list = [{ key: "speed", top: 34, h: 240 }, { key: "gap", top: 300, h: 110 }];
  if (pedals) list.push({ key: "pedals", top: 436, h: 70 });
  return list;
}
function ticks(lo, hi, want) {
  const raw = (hi - lo) / want, p = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((k) => k * p).find((s) => s >= raw), out = [];
  for (let v = Math.ceil(lo / step) * step; v <= hi + 1e-9; v += step) out.push(Math.abs(v) < 1e-9 ? 0 : v);
  return out;
}

function drawCharts() {
  const lap = byNumber.get(state.lap), s = span(), list = points(s), all = panes();
  W = width();
  const H = all[all.length - 1].top + all[all.length - 1].h + 26;
  const x = (m) => LEFT + (m - s[0]) / (s[1] - s[0]) * (W - LEFT - RIGHT);
  const others = laps.filter((l) => l !== lap && (state.corner !== 0));
  let out = "";
  /* Corner bands, so that the eye finds them in every pane. */
  D.corners.forEach((c, i) => {
    for (const turn of [-L, 0, L]) {
      const a = Math.max(c.middle + turn, s[0]); let e = c.middle_end + turn;
      if (c.middle_end < c.middle) e += L;
      e = Math.min(e, s[1]);
      if (e <= a) continue;
      out += `<rect x="${x(a)}" y="22" width="${x(e) - x(a)}" height="${H - 48}" fill="#eef1f3"/>`;
      out += `<text class="strong" text-anchor="middle" x="${(x(a) + x(e)) / 2}" y="16">${i + 1}</text>`;
    }
  });
  for (const p of all) {
    let lo, hi, f, unit, scale;
    if (p.key === "speed") {
      unit = D.units.speed; f = (l, m) => value(l, "speed", m); scale = kSpeed;
      const v = list.flatMap((m) => [D.speed[indexOf(m)], lap ? f(lap, m) : null]).filter((q) => q !== null).map((q) => q * scale);
      lo = Math.max(0, Math.min(...v) * 0.9); hi = Math.max(...v) * 1.04;
    } else if (p.key === "gap") {
      unit = "s"; scale = 1e-3;
      f = (l, m) => { const g = gap(l, m); if (g === null) return null;
        const z = state.corner ? gap(l, list[0]) : 0; return z === null ? null : g - z; };
      const show = state.corner ? laps : lap ? [lap] : [];
      const v = show.flatMap((l) => list.map((m) => f(l, m))).filter((q) => q !== null).map((q) => q * scale);
      lo = Math.min(0, ...v); hi = Math.max(0.1, ...v);
      if (state.corner) { const w = list.map((m) => lap ? f(lap, m) : null).filter((q) => q !== null).map((q) => q * scale);
        const top = Math.max(0.3, ...w) * 1.3; hi = Math.min(hi, Math.max(top, 0.6)); lo = Math.max(lo, Math.min(-0.3, ...w) * 1.3); }
    } else { unit = "%"; scale = 1; lo = 0; hi = 104; f = null; }
    const y = (v) => p.top + p.h - Math.min(1.02, Math.max(-0.02, (v - lo) / (hi - lo || 1))) * p.h;
    for (const t of ticks(lo, hi, p.h / 30)) {
      out += `<path d="M${LEFT} ${y(t)}H${W - RIGHT}" stroke="${t === 0 && p.key === "gap" ? "#16202b" : "#dfe3e6"}"/>`;
      out += `<text text-anchor="end" x="${LEFT - 5}" y="${y(t) + 4}">${minus(+t.toFixed(2))}</text>`;
    }
    const title = { speed: `speed, ${unit}`, gap: state.corner ? "lost since the corner began, s (up: slower)" : "behind the reference, s (up: slower)", pedals: "brake (solid) and throttle (dashed), %" }[p.key];
    out += `<text text-anchor="end" x="${W - RIGHT}" y="${p.top - 4}">${title}</text>`;
    if (p.key === "pedals") {
      if (lap) {
        out += `<path d="${path(list, x, y, (m) => value(lap, "brake", m))}" fill="none" stroke="#d55e00" stroke-width="2.5"/><path d="${path(list, x, y, (m) => value(lap, "throttle", m))}" fill="none" stroke="#009e73" stroke-width="1.5" stroke-dasharray="7 2"/>`;
      }
      continue;
    }
    for (const l of others) out += `<path d="${path(list, x, y, (m) => { const v = f(l, m); return v === null ? null : v * scale; })}" fill="none" stroke="#9aa4ad" stroke-width="1"/>`;
    if (p.key === "speed") out += `<path d="${path(list, x, y, (m) => D.speed[indexOf(m)] * scale)}" fill="none" stroke="#16202b" stroke-width="1.6" stroke-dasharray="6 3"/>`;
    if (lap) out += `<path d="${path(list, x, y, (m) => { const v = f(lap, m); return v === null ? null : v * scale; })}" fill="none" stroke="#0072b2" stroke-width="2.4"/>`;
    if (p.key === "speed" && state.corner) out += onsets(s, x, y, scale);
    p.y = y; p.scale = scale; p.f = f;
  }
  for (const t of ticks(s[0] * kLen, (s[0] + (s[1] - s[0]) * .95) * kLen, W / 110)) out += `<text text-anchor="middle" x="${x(t / kLen)}" y="${H - 8}">${minus(Math.round(wrap(t / kLen) * kLen))}</text>`;
  out += `<text text-anchor="end" x="${W - RIGHT}" y="${H - 8}">${D.units.length}</text>`;
  /* A name that would stand on the one before it is left out; its line is there. */
  let free = -Infinity;
  const seen = D.landmarks.flatMap((l) => [-L, 0, L].map((turn) => [l.at + turn, l.name])).sort((a, b) => a[0] - b[0]);
  for (const [m, name] of seen) {
    if (!state.corner || m < s[0] || m > s[1]) continue;
    const at = x(m) + 3, room = 7 * name.length;
    out += `<path d="M${x(m)} 22V${H - 26}" stroke="#5b6773" stroke-dasharray="1 4"/>`;
    if (at < free || at + room > W) continue;
    out += `<text x="${at}" y="32">${esc(name)}</text>`;
    free = at + room;
  }
  out += `<path id="cursor" d="" stroke="#16202b" stroke-width="1"/><g id="dots"></g>`;
  $("charts").innerHTML = `<svg viewBox="0 0 ${W} ${H}" role="img" aria-label="Speed and gap over distance">${out}</svg>`;
  geometry = { x, s, H, all, lap, list };
}

/* The onsets of every lap and of the reference, each kind with a sign of its own. */
function onsets(s, x, y, scale) {
  const c = D.corners[state.corner - 1];
  let out = "";
  const put = (m, v, sign, colour, size) => {
    if (m === null) return;
    const u = fit(m, s);
    if (u < s[0] || u > s[1]) return;
    const speed = v(u); if (speed === null) return;
    out += `<text text-anchor="middle" style="font-size:${size}px;fill:${colour}" x="${x(u)}" y="${y(speed * scale) + size * .36}">${sign}</text>`;
  };
  const of = (lap) => D.passages.find((p) => p.lap === lap && p.corner === state.corner);
  for (const l of laps) {
    const p = of(l.lap);
    if (l.lap === state.lap || !p) continue;
    MARKS.forEach(([, sign], i) => put(p.marks[i], (u) => value(l, "speed", u), sign, "#9aa4ad", 10));
  }
  MARKS.forEach(([, sign], i) => put(c.marks[i], (u) => D.speed[indexOf(u)], sign, "#16202b", 14));
  const own = of(state.lap), lap = byNumber.get(state.lap);
  if (own && lap) MARKS.forEach(([, sign], i) => put(own.marks[i], (u) => value(lap, "speed", u), sign, "#0072b2", 17));
  return out;
}

/* The map: the line in the phases of the lap shown. */
let mapping = null;
function drawMap() {
  const e = D.east, n = D.north;
  let box = [Math.min(...e), Math.min(...n), Math.max(...e), Math.max(...n)];
  const s = span(), list = points(s);
  if (state.corner) { const i = list.map(indexOf); box = [Math.min(...i.map((k) => e[k])), Math.min(...i.map((k) => n[k])), Math.max(...i.map((k) => e[k])), Math.max(...i.map((k) => n[k]))]; }
  const size = 360, pad = 26, k = (size - 2 * pad) / Math.max(box[2] - box[0], box[3] - box[1], 200);
  const ox = (size - k * (box[2] - box[0])) / 2, oy = (size - k * (box[3] - box[1])) / 2;
  const lap = byNumber.get(state.lap);
  const px = (i) => ox + k * (e[i] - box[0]), py = (i) => size - oy - k * (n[i] - box[1]);
  /* Left of the line, drawn to scale where a corner fills the map. */
  const xy = (m, off) => { const i = indexOf(m), a = (i + N - 1) % N, b = (i + 1) % N;
    const dx = e[b] - e[a], dy = n[b] - n[a], h = Math.hypot(dx, dy) || 1;
    return [px(i) - k * off * 10 * dy / h, py(i) - k * off * 10 * dx / h]; };
  const line = (from, to, off) => { let d = ""; for (let m = from; m <= to + D.step_m / 2; m += D.step_m) { const [a, b] = xy(m, off ? off(m) : 0); d += (d ? "L" : "M") + a.toFixed(1) + " " + b.toFixed(1); } return d; };
  const whole = line(0, L - D.step_m) + "Z";
  let out = `<path d="${whole}" fill="none" stroke="#dfe3e6" stroke-width="${state.corner ? 26 : 9}" stroke-linejoin="round"/>`;
  const off = state.corner && lap ? (m) => (value(lap, "offset", m) || 0) / 100 : null;
  if (state.corner) out += `<path d="${line(s[0], s[1])}" fill="none" stroke="#16202b" stroke-width="1.4" stroke-dasharray="6 3"/>`;
  out += `<path d="${line(s[0], s[1], off)}" fill="none" stroke="#009e73" stroke-width="1.6"/>`;
  const phase = (a, b, style) => { if (a === null || b === null) return; let to = b; if (to < a) to += L; if (to - a > L / 2) return; out += `<path d="${line(a, to, off)}" fill="none" ${style}/>`; };
  for (const p of D.passages) {
    if (p.lap !== state.lap || (state.corner && p.corner !== state.corner)) continue;
    const [brake, turn, release, slowest, throttle] = p.marks, end = release === null ? slowest : release;
    const trail = turn !== null && end !== null && brake !== null && wrap(turn - brake) < wrap(end - brake);
    phase(brake, trail ? turn : end, 'stroke="#d55e00" stroke-width="6"');
    if (trail) phase(turn, end, 'stroke="#e69f00" stroke-width="6" stroke-dasharray="3 2"');
    phase(end, throttle, 'stroke="#56b4e9" stroke-width="4" stroke-dasharray="1.5 2.5"');
  }
  D.corners.forEach((c, i) => {
    if (state.corner && state.corner !== i + 1) return;
    const [a, b] = xy(c.apex, 0), [u, v] = xy(c.apex, 40);
    const h = Math.hypot(u - a, v - b) || 1, far = state.corner ? 34 : 15, side = -(c.turn || 1);
    out += `<text class="strong pick" data-corner="${i + 1}" text-anchor="middle" style="cursor:pointer" x="${a + side * far * (u - a) / h}" y="${b + side * far * (v - b) / h + 4}">${i + 1}</text>`;
  });
  const [sx, sy] = xy(0, 0), [tx, ty] = xy(0, 10), h = Math.hypot(tx - sx, ty - sy) || 1;
  out += `<path d="M${sx - 9 * (tx - sx) / h} ${sy - 9 * (ty - sy) / h}L${sx + 9 * (tx - sx) / h} ${sy + 9 * (ty - sy) / h}" stroke="#16202b" stroke-width="3"/>`;
  out += `<circle id="here" r="7" fill="#fff" stroke="#16202b" stroke-width="3" cx="-20" cy="-20"/>`;
  $("map").innerHTML = `<svg viewBox="0 0 ${size} ${size}" role="img" aria-label="Map of the circuit with the phases of the lap shown">${out}</svg>`;
  mapping = { xy, off };
  const swatch = (style) => `<svg viewBox="0 0 30 12"><path d="M1 6H29" fill="none" ${style}/></svg>`;
  $("key").innerHTML = `${swatch('stroke="#0072b2" stroke-width="3"')} lap shown ${swatch('stroke="#16202b" stroke-width="2" stroke-dasharray="6 3"')} reference ` +
    (state.corner ? `${swatch('stroke="#9aa4ad"')} other laps ` : "") +
    `<br>${swatch('stroke="#d55e00" stroke-width="6"')} brake ${swatch('stroke="#e69f00" stroke-width="6" stroke-dasharray="3 2"')} trail ${swatch('stroke="#56b4e9" stroke-width="4" stroke-dasharray="1.5 2.5"')} rotation ${swatch('stroke="#009e73" stroke-width="1.6"')} throttle` +
    (state.corner ? "<br>" + MARKS.map(([name, sign]) => `${sign} ${name}`).join(" · ") : "");
}

function drawCursor() {
  const g = geometry, [a, b] = g.s;
  state.at = Math.min(b, Math.max(a, state.at));
  const cx = g.x(state.at), lap = g.lap;
  document.getElementById("cursor").setAttribute("d", `M${cx} 20V${g.H - 26}`);
  let dots = "";
  const said = [`${Math.round(wrap(state.at) * kLen)} ${D.units.length}`];
  for (const p of g.all) {
    if (!p.f || !lap) continue;
    const v = p.f(lap, state.at);
    if (v !== null) dots += `<circle cx="${cx}" cy="${p.y(v * p.scale)}" r="4.5" fill="#0072b2"/>`;
    if (p.key === "speed") {
      const r = D.speed[indexOf(state.at)];
      dots += `<circle cx="${cx}" cy="${p.y(r * p.scale)}" r="4" fill="#fff" stroke="#16202b" stroke-width="2"/>`;
      if (v !== null) said.push(`lap ${lap.lap}: ${(v * p.scale).toFixed(0)} ${D.units.speed}`, `reference: ${(r * p.scale).toFixed(0)}`, `${signed((v - r) * p.scale, 1)} ${D.units.speed}`);
    } else if (v !== null) said.push(`${signed(v * p.scale, 2)} s`);
  }
  document.getElementById("dots").innerHTML = dots;
  if (lap && pedals) for (const k of ["brake", "throttle"]) { const v = value(lap, k, state.at); if (v !== null) said.push(`${k} ${v} %`); }
  const inside = D.corners.findIndex((c, i) => wrap(state.at - c.begin) < wrap(D.corners[(i + 1) % D.corners.length].begin - c.begin));
  if (inside >= 0) said.push(D.corners[inside].name);
  $("read").textContent = said.join(" · ");
  const [x, y] = mapping.xy(state.at, mapping.off ? mapping.off(state.at) : 0), here = document.getElementById("here");
  here.setAttribute("cx", x); here.setAttribute("cy", y);
}

/* The corner in every lap, as numbers. */
function drawPassages() {
  if (!state.corner) { $("passages").innerHTML = ""; return; }
  const c = D.corners[state.corner - 1];
  const shift = (m, want) => { if (m === null || want === null) return ""; let d = m - want; d -= L * Math.round(d / L); return signed(d * kLen, 1); };
  const loss = (v) => v === null ? "" : signed(v, 2);
  const heads = ["Lap", "Lost, s", "Entry", "Middle", "Exit", ...[0, 2, 4, 5].map((i) => `${MARKS[i][1]} ${MARKS[i][0]}, ${D.units.length}`), `Slowest, ${D.units.speed}`, `Exit, ${D.units.speed}`, "Found"];
  const rows = D.passages.filter((p) => p.corner === state.corner).map((p) => {
    const sum = p.loss.every((v) => v !== null) ? p.loss.reduce((a, b) => a + b) : null;
    const cells = [loss(sum), ...p.loss.map(loss), ...[0, 2, 4, 5].map((i) => shift(p.marks[i], c.marks[i])),
      ...[p.slowest_mps, p.exit_mps].map((v) => v === null ? "" : (v * D.units.speeds_a_mps).toFixed(1))];
    const lap = byNumber.has(p.lap) ? `<button type="button" data-lap="${p.lap}">${p.lap}</button>` : `${p.lap}`;
    return `<tr class="${p.lap === state.lap ? "chosen" : ""} ${p.usable ? "" : "off"}"><th scope="row">${lap}</th>${cells.map((t) => `<td class="n">${t}</td>`).join("")}<td>${p.usable ? esc(p.told || "") : "not judged: the stream or the line was broken"}</td></tr>`;
  });
  $("passages").innerHTML = `<table><thead><tr>${heads.map((h, i) => `<th${i && i < heads.length - 1 ? ' class="n"' : ""}>${h}</th>`).join("")}</tr></thead><tbody>${rows.join("")}</tbody></table><p class="hint">Places against the reference: + is later on the road.</p>`;
}

function drawChoice() {
  $("laps").innerHTML = "<b>Lap</b>" + laps.map((l) => `<button type="button" data-lap="${l.lap}" aria-pressed="${l.lap === state.lap}">${l.lap} <small>${esc(l.time)}${l.valid ? "" : " *"}</small></button>`).join("");
  $("corners").innerHTML = `<b>Part</b><button type="button" data-corner="0" aria-pressed="${!state.corner}">Whole lap</button>` +
    D.corners.map((c) => `<button type="button" data-corner="${c.number}" aria-pressed="${c.number === state.corner}" title="${esc(c.name)}">${c.number}</button>`).join("");
  for (const row of document.querySelectorAll("#table tr[data-corner]")) row.classList.toggle("chosen", +row.dataset.corner === state.corner);
  $("view-h").textContent = (state.corner ? D.corners[state.corner - 1].name + ", all laps" : "Where the time went") + (byNumber.has(state.lap) ? `: lap ${state.lap}` : "");
}
function draw() { drawChoice(); drawCharts(); drawMap(); drawPassages(); drawCursor(); }

function show(corner, lap) {
  if (lap !== null && byNumber.has(lap)) state.lap = lap;
  if (corner !== null && corner !== state.corner) {
    state.corner = corner;
    if (corner) { const c = D.corners[corner - 1]; state.at = fit(c.marks[0] === null ? c.middle : c.marks[0], span()); }
    else state.at = wrap(state.at);
  }
  draw();
}
document.addEventListener("click", (event) => {
  const hit = event.target.closest("[data-corner],[data-lap]");
  if (!hit || hit.tagName === "TR" && !hit.dataset.corner) return;
  const corner = hit.dataset.corner === undefined ? null : +hit.dataset.corner;
  const lap = hit.dataset.lap === undefined ? null : +hit.dataset.lap;
  const refocus = hit.closest("nav") && (hit.dataset.lap !== undefined ? `#laps [data-lap="${lap}"]` : `#corners [data-corner="${corner}"]`);
  show(corner, lap);
  if (refocus) { const again = document.querySelector(refocus); if (again) again.focus(); }
  else if (!hit.closest("#view")) { $("view").scrollIntoView({ block: "start" }); $("charts").focus({ preventScroll: true }); }
});
$("charts").addEventListener("pointermove", (event) => {
  const box = $("charts").getBoundingClientRect(), g = geometry;
  const f = ((event.clientX - box.left) / box.width * W - LEFT) / (W - LEFT - RIGHT);
  state.at = g.s[0] + f * (g.s[1] - g.s[0]);
  drawCursor();
});
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const inside = $("charts").contains(document.activeElement);
  const i = laps.findIndex((l) => l.lap === state.lap), count = D.corners.length;
  const step = D.step_m * (event.shiftKey ? 10 : 1);
  if (event.key === "Escape") show(0, null);
  else if (event.key === "," && count) show((state.corner + count) % (count + 1), null);
  else if (event.key === "." && count) show((state.corner + 1) % (count + 1), null);
  else if (!inside) return;
  else if (event.key === "ArrowLeft") { state.at -= step; drawCursor(); }
  else if (event.key === "ArrowRight") { state.at += step; drawCursor(); }
  else if (event.key === "ArrowUp" && i > 0) show(null, laps[i - 1].lap);
  else if (event.key === "ArrowDown" && i >= 0 && i < laps.length - 1) show(null, laps[i + 1].lap);
  else return;
  event.preventDefault();
});
window.addEventListener("resize", () => { if (width() !== W) draw(); });
if (D.first) show(D.first.corner, D.first.lap); else draw();
document.body.dataset.ready = "yes";
})();
