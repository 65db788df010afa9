// The pictures: speed and gap of one lap with the cues where they are told, and the map.

const SIGNS = { now: "●", after: "▲", ahead: "◇" };
export const sign = (told) => SIGNS[told];
export const escape = (t) => String(t).replace(/[&<>"]/g, (c) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" }[c]));

const W = 900, LEFT = 44, RIGHT = 8;
const PANES = { speed: [26, 200], gap: [258, 90] };
const H = 372;

function ticks(low, high, want) {
  const raw = (high - low) / want || 1, p = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((k) => k * p).find((s) => s >= raw), out = [];
  for (let v = Math.ceil(low / step) * step; v <= high + 1e-9; v += step) out.push(Math.abs(v) < 1e-9 ? 0 : v);
  return out;
}

function path(x, y, values) {
  let d = "", up = true;
  values.forEach((v, i) => {
    if (v === null) { up = true; return; }
    d += (up ? "M" : "L") + x(i).toFixed(1) + " " + y(v).toFixed(1);
    up = false;
  });
  return d;
}

const along = (session) => (m) => LEFT + (m / session.length_m) * (W - LEFT - RIGHT);

/* The lap shown; `trace` may be null while it is on its way. The cues are put into the empty group. */
export function traces(session, trace) {
  const line = session.line, L = session.length_m, k = session.speed.per;
  const at = along(session);
  const x = (i) => at(line[i][0]);
  let out = "";
  session.corners.forEach((c, i) => {
    const end = c.exit_m < c.turn_m ? L : c.exit_m;
    out += `<rect class="band" x="${at(c.turn_m)}" y="20" width="${at(end) - at(c.turn_m)}" height="${H - 42}"/>`;
    out += `<text class="strong" text-anchor="middle" x="${(at(c.turn_m) + at(end)) / 2}" y="14">${i + 1}</text>`;
  });
  const wanted = line.map((p) => p[3] * k);
  const driven = trace ? trace.speed_mps.map((v) => (v === null ? null : v * k)) : [];
  const known = wanted.concat(driven.filter((v) => v !== null));
  const pane = (name, low, high, title) => {
    const [top, h] = PANES[name];
    const y = (v) => top + h - ((v - low) / (high - low || 1)) * h;
    for (const t of ticks(low, high, h / 34)) out += `<path class="grid" d="M${LEFT} ${y(t)}H${W - RIGHT}"/><text text-anchor="end" x="${LEFT - 5}" y="${y(t) + 4}">${+t.toFixed(2)}</text>`;
    out += `<text x="${LEFT + 4}" y="${top - 2}">${title}</text>`;
    return y;
  };
  const ySpeed = pane("speed", Math.min(...known) * 0.9, Math.max(...known) * 1.05, `speed, ${escape(session.speed.name)}`);
  out += `<path class="reference" d="${path(x, ySpeed, wanted)}"/><path class="lap" d="${path(x, ySpeed, driven)}"/>`;
  const gap = trace ? trace.gap_s : [];
  const gaps = gap.filter((v) => v !== null);
  const yGap = pane("gap", Math.min(0, ...gaps), Math.max(0.1, ...gaps), "behind the reference, s (up: slower)");
  out += `<path class="lap" d="${path(x, yGap, gap)}"/>`;
  for (const t of ticks(0, L * session.length.per * 0.95, 8)) out += `<text text-anchor="middle" x="${at(t / session.length.per)}" y="${H - 6}">${Math.round(t)}</text>`;
  out += `<text text-anchor="end" x="${W - RIGHT}" y="${H - 6}">${escape(session.length.name)}</text>`;
  return `<svg viewBox="0 0 ${W} ${H}" role="img" aria-label="Speed and gap over distance">${out}<g></g></svg>`;
}

/* The cues of the lap shown, where they are told. */
export function tracesCues(session, cues, chosen) {
  const at = along(session);
  let out = "";
  for (const cue of cues) {
    const cx = at(cue.progress_m), here = cue === chosen ? " here" : "";
    out += `<path class="told${here}" d="M${cx} 20V${H - 22}"/><text class="sign" x="${cx}" y="${H - 28}">${sign(cue.told)}</text>`;
    if (here) {
      const end = cx > W / 2;
      out += `<text class="strong" text-anchor="${end ? "end" : "start"}" x="${cx + (end ? -8 : 8)}" y="40">corner ${cue.corner}: ${escape(cue.text)}</text>`;
    }
  }
  return out;
}

const SIZE = 400, PAD = 74;
function frame(session) {
  const line = session.line, e = line.map((p) => p[1]), n = line.map((p) => p[2]);
  const west = Math.min(...e), east = Math.max(...e), south = Math.min(...n), north = Math.max(...n);
  const k = (SIZE - 2 * PAD) / Math.max(east - west, north - south, 50);
  return {
    px: (i) => (SIZE - k * (east - west)) / 2 + k * (e[i] - west),
    py: (i) => (SIZE + k * (north - south)) / 2 - k * (n[i] - south),
    index: (m) => Math.round((m / session.length_m) * line.length) % line.length,
  };
}

/* The circuit. The cues are put into the empty group. */
export function map(session) {
  const { px, py } = frame(session);
  const road = session.line.map((_, i) => (i ? "L" : "M") + px(i).toFixed(1) + " " + py(i).toFixed(1)).join("");
  return `<svg viewBox="0 0 ${SIZE} ${SIZE}" role="img" aria-label="Map with the number of cues at each corner"><path class="road" d="${road}Z"/><g></g></svg>`;
}

/* `count` says how many cues each corner gets; `cues` are those of the lap shown. */
export function mapCues(session, count, cues, chosen) {
  const { px, py, index } = frame(session), N = session.line.length;
  const most = Math.max(1, ...count.values());
  let out = "";
  session.corners.forEach((c, j) => {
    const i = index(c.apex_m), a = (i + N - 2) % N, b = (i + 2) % N;
    const dx = px(b) - px(a), dy = py(b) - py(a), h = Math.hypot(dx, dy) || 1;
    const side = c.turn > 0 ? 1 : -1, many = count.get(j + 1) || 0;
    const r = many ? 9 + 11 * Math.sqrt(many / most) : 0;
    // Outside of the bend: the line to the right of the driving direction in a left-hander.
    const x = px(i) - side * (dy / h) * (r + 12), y = py(i) + side * (dx / h) * (r + 12);
    if (many) out += `<circle class="many" data-corner="${j + 1}" cx="${x}" cy="${y}" r="${r}"><title>${escape(c.name)}: ${many} cues</title></circle>`;
    out += `<text class="strong" pointer-events="none" text-anchor="middle" x="${x}" y="${y + 5}">${j + 1}</text>`;
    if (many) out += `<text text-anchor="middle" x="${x}" y="${y + r + 13}">×${many}</text>`;
  });
  for (const cue of cues) {
    const i = index(cue.progress_m);
    out += `<text class="sign" x="${px(i)}" y="${py(i) + 6}"${cue === chosen ? ' font-weight="700"' : ""}>${sign(cue.told)}</text>`;
  }
  return out;
}
