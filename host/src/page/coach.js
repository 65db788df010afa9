// The coach's page: what the engine said, put into tables. Nothing is judged here.
import { follow } from "./stream.js";

const HISTORY = 5; // laps shown side by side
const CUES = 8;
const NOTES = 6;
const STALE_MS = 1500;
const SVG = "http://www.w3.org/2000/svg";

const at = (id) => document.getElementById(id);
let reference = null;
let corners = new Map(); // corner number -> passages, newest last
let laps = [];
let cues = [];
let notes = [];
let now = null;
let nowAt = -Infinity;
let linkUp = false;
let ended = false;
let dirty = true;

function element(name, text, className) {
  const e = document.createElement(name);
  if (text !== undefined) e.textContent = text;
  if (className) e.className = className;
  return e;
}

function signed(value, digits) {
  const text = Math.abs(value).toFixed(digits);
  const zero = Number(text) === 0;
  return (zero ? "±" : value < 0 ? "−" : "+") + text;
}

function loss(value) {
  if (value === null || value === undefined) return ["–", "none"];
  if (Math.abs(value) < 0.005) return ["0.00", "none"];
  return value > 0 ? [`▲ ${value.toFixed(2)}`, "lost"] : [`▼ ${(-value).toFixed(2)}`, "won"];
}

// The shorter way round the lap from one progress to another.
function ahead(from, to) {
  const d = to - from;
  return d - reference.length_m * Math.round(d / reference.length_m);
}

function against(mine, theirs, unit, isPlace) {
  if (mine === null || theirs === null) return ["–", "n none"];
  const d = isPlace ? ahead(theirs, mine) : mine - theirs;
  const factor = unit.per;
  return [`${signed(d * factor, Math.abs(d * factor) < 10 ? 1 : 0)} ${unit.name}`, "n"];
}

function lapTime(s) {
  const ms = Math.round(s * 1000);
  const m = Math.floor(ms / 60000);
  const rest = ((ms % 60000) / 1000).toFixed(3);
  return m ? `${m}:${rest.padStart(6, "0")}` : rest;
}

function cornerName(c) {
  return c.name ? `${c.number} ${c.name}` : `${c.number}`;
}

function drawCorners() {
  const { length, speed } = reference.units;
  const here = now?.corner ?? 0;
  const rows = reference.corners.map((c) => {
    const passages = corners.get(c.number) ?? [];
    const last = passages[passages.length - 1];
    const row = element("tr", undefined, c.number === here ? "here" : "");
    row.append(element("td", cornerName(c)));
    const cells = last
      ? [
          [loss(last.loss_s)[0], `n ${loss(last.loss_s)[1]}`],
          against(last.brake_m, c.brake_m, length, true),
          against(last.slowest_mps, c.slowest_mps, speed, false),
          against(last.throttle_m, c.throttle_m, length, true),
          against(last.exit_mps, c.exit_mps, speed, false),
        ]
      : Array(5).fill(["–", "n none"]);
    for (const [text, className] of cells) row.append(element("td", text, className));
    const history = element("td", undefined, "history");
    for (const p of passages.slice(-HISTORY)) {
      const [text, className] = loss(p.loss_s);
      const cell = element("span", text, className);
      cell.title = `Lap ${p.lap}`;
      history.append(cell);
    }
    row.append(history);
    return row;
  });
  at("corner-rows").replaceChildren(...rows);
}

function drawLaps() {
  const rows = laps.map((l) => {
    const row = element("tr");
    const [text, className] = loss(l.gap_s);
    row.append(
      element("td", l.lap),
      element("td", lapTime(l.time_s), "n"),
      element("td", text, `n ${className}`),
      element("td", l.valid ? "" : "not whole"),
    );
    return row;
  });
  at("lap-rows").replaceChildren(...rows.reverse());
}

function drawCues() {
  const items = cues.slice(-CUES).reverse().map((c) => {
    const item = element("li");
    item.append(element("small", c.event === "pace" ? `Lap ${c.lap}` : `Lap ${c.lap}, ${c.told}`));
    item.append(c.text);
    return item;
  });
  if (!items.length) items.push(element("li", "none yet", "none"));
  at("cue-list").replaceChildren(...items);
}

function drawNotes() {
  at("notes").replaceChildren(...notes.slice(-NOTES).reverse().map((n) => element("li", n.text)));
}

function svg(name, attributes) {
  const e = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) e.setAttribute(key, value);
  return e;
}

let car = null;
let roads = [];

function drawMap() {
  const line = reference.line;
  const xs = line.map((p) => p[1]);
  const ys = line.map((p) => -p[2]);
  const [left, right] = [Math.min(...xs), Math.max(...xs)];
  const [top, bottom] = [Math.min(...ys), Math.max(...ys)];
  const size = Math.max(right - left, bottom - top, 1);
  const margin = size * 0.08;
  const map = at("map");
  map.setAttribute("viewBox", `${left - margin} ${top - margin} ${right - left + 2 * margin} ${bottom - top + 2 * margin}`);
  const road = (points, id) => svg("polyline", { class: "road", points: points.map((p) => `${p[1]},${-p[2]}`).join(" "), "data-corner": id });
  map.replaceChildren(road([...line, line[0]], 0));
  roads = reference.corners.map((c) => {
    const part = line.filter((p) => p[0] >= c.turn_m && p[0] <= c.exit_m);
    const e = road(part, c.number);
    map.append(e);
    return e;
  });
  const [a, b] = [line[0], line[1]];
  const [dx, dy] = [b[1] - a[1], b[2] - a[2]];
  const half = (size * 0.03) / Math.max(Math.hypot(dx, dy), 1e-6);
  map.append(svg("line", { class: "line", x1: a[1] - dy * half, y1: -(a[2] + dx * half), x2: a[1] + dy * half, y2: -(a[2] - dx * half) }));
  const [cx, cy] = [(left + right) / 2, (top + bottom) / 2];
  for (const c of reference.corners) {
    const [x, y] = [c.apex[0], -c.apex[1]];
    const away = Math.max(Math.hypot(x - cx, y - cy), 1e-6);
    const step = size * 0.05;
    const t = svg("text", { x: x + ((x - cx) / away) * step, y: y + ((y - cy) / away) * step, "font-size": size * 0.045 });
    t.textContent = c.number;
    map.append(t);
  }
  car = svg("circle", { class: "car", r: size * 0.022, cx: line[0][1], cy: -line[0][2] });
  map.append(car);
}

function drawNow() {
  const stale = performance.now() - nowAt > STALE_MS;
  let [bad, state] = [true, "no connection"];
  if (ended) state = "drive ended";
  else if (linkUp && now && !stale) {
    if (now.source !== "open") state = "no signal";
    else [bad, state] = [now.state !== "ok", now.state === "ok" ? "good" : `${now.state}: ${now.why}`];
  }
  at("health").className = bad ? "bad" : "";
  at("state").textContent = state;
  if (!now || !reference) return;
  const { speed } = reference.units;
  at("lap").textContent = now.lap || "–";
  at("gap").textContent = now.gap_s === null || bad ? "–" : signed(now.gap_s, 2);
  at("speed").textContent = now.speed_mps === null ? "–" : `${Math.round(now.speed_mps * speed.per)} ${speed.name}`;
  if (now.east_m !== null) {
    car.setAttribute("cx", now.east_m);
    car.setAttribute("cy", -now.north_m);
  }
  for (const e of roads) e.classList.toggle("here", Number(e.dataset.corner) === now.corner);
  const facts = now.facts.flatMap(([name, value]) => [element("dt", name), element("dd", value)]);
  at("facts").replaceChildren(...facts);
}

let cornerShown = null;

function draw() {
  if (!reference) return;
  if (dirty || now?.corner !== cornerShown) {
    cornerShown = now?.corner;
    drawCorners();
  }
  if (dirty) {
    drawLaps();
    drawCues();
    drawNotes();
    dirty = false;
  }
  drawNow();
}

function entry(kind, object) {
  dirty = true;
  if (kind === "lap") laps.push(object);
  else if (kind === "cue" || kind === "pace") cues.push(object);
  else if (kind === "note") notes.push(object);
  else if (kind === "corner") {
    const passages = corners.get(object.corner) ?? [];
    passages.push(object);
    corners.set(object.corner, passages.slice(-HISTORY));
  }
  cues = cues.slice(-100);
  notes = notes.slice(-100);
}

async function begin() {
  for (;;) {
    try {
      reference = await (await fetch("reference.json")).json();
      break;
    } catch {
      await new Promise((r) => setTimeout(r, 1000));
    }
  }
  at("name").textContent = reference.name || "Cuepost";
  drawMap();
  dirty = true;
}

function afresh() {
  corners = new Map();
  laps = [];
  cues = [];
  notes = [];
  dirty = true;
  begin();
}

begin();
follow({
  entry,
  now: (object) => {
    now = object;
    nowAt = performance.now();
  },
  afresh,
  link: (isUp) => {
    linkUp = isUp;
  },
  end: () => {
    ended = true;
  },
});
setInterval(draw, 200);
