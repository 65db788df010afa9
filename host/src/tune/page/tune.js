// The sliders ask the program, which judges; this draws what it answers.
import { escape, map, mapCues, sign, traces, tracesCues } from "./picture.js";

const $ = (id) => document.getElementById(id);
const ROWS = 120;
const TOLD = { now: "at once", after: "way out", ahead: "before" };

const session = await (await fetch("session.json")).json();
const sliders = session.groups.flatMap((g) => g.sliders);
const values = new Map(sliders.map((s) => [s.name, s.value]));
const kept = new Map();
let focus = session.focus, take = 0, lap = 0, chosen = null;
let answer = { cues: [] }, first = null;

/* A slider moves by equal factors, from its low end to its high end; a low end of 0 is none. */
const low = (s) => Math.max(s.low, s.high / 1000);
const toValue = (s, p) => (p <= 0 ? s.low : +(low(s) * (s.high / low(s)) ** (p / 1000)).toPrecision(3));
const toPlace = (s, v) => Math.round(1000 * Math.log(Math.max(v, low(s)) / low(s)) / Math.log(s.high / low(s)));

function buildSliders() {
  for (const group of session.groups) {
    const set = document.createElement("fieldset");
    set.innerHTML = `<legend>${escape(group.phase)}</legend>`;
    for (const s of group.sliders) {
      const label = document.createElement("label");
      label.className = "slider";
      label.dataset.name = s.name;
      label.innerHTML = `<span>${escape(s.about)}</span><input type="number" min="${s.least}" max="${s.most}" step="any" aria-label="${escape(s.about)}"><input type="range" min="0" max="1000" aria-label="${escape(s.about)}">`;
      const [number, range] = label.querySelectorAll("input");
      range.addEventListener("input", () => move(s, toValue(s, +range.value)));
      number.addEventListener("change", () => move(s, Math.min(s.most, Math.max(s.least, +number.value || s.value))));
      set.append(label);
    }
    $("groups").append(set);
  }
}

function showSlider(s) {
  const label = document.querySelector(`[data-name="${s.name}"]`), [number, range] = label.querySelectorAll("input");
  number.value = values.get(s.name);
  range.value = toPlace(s, values.get(s.name));
  label.classList.toggle("moved", values.get(s.name) !== s.value);
}

function move(s, value) {
  values.set(s.name, value);
  showSlider(s);
  judge();
}

function moveAll(factor) {
  for (const s of sliders) {
    const scaled = factor === 1 ? s.value : +Math.min(s.most, Math.max(s.least, s.value * factor)).toPrecision(4);
    values.set(s.name, scaled);
    showSlider(s);
  }
  $("all-number").value = factor;
  $("all").value = Math.round(100 * Math.log(factor) / Math.log(5));
  judge();
}

const position = () => new URLSearchParams([...values].map(([n, v]) => [n, String(v)]).concat([["focus", focus]])).toString();

/* One question at a time; of those asked meanwhile only the newest. */
let busy = false, again = false;
async function judge() {
  const begun = performance.now();
  if (busy) { again = true; return; }
  busy = true;
  do {
    again = false;
    const asked = position();
    try {
      const response = await fetch("judge?" + asked);
      if (!response.ok) throw new Error(await response.text());
      answer = await response.json();
      first ??= answer;
      draw();
      document.body.dataset.judged = asked;
      document.body.dataset.tookMs = (performance.now() - begun).toFixed(1);
    } catch (error) {
      say(`The program does not answer: ${error.message}`);
    }
  } while (again);
  busy = false;
}

const say = (text) => { $("said").textContent = text; };
const key = (c) => [c.take, c.lap, c.corner, c.phase, c.advice, c.told].join("|");

function draw() {
  $("per-lap").textContent = answer.cues_per_lap.toFixed(1);
  $("told").textContent = answer.told.join(" / ");
  $("told-s").textContent = answer.told_s_per_lap.toFixed(2);
  $("flips").textContent = answer.flips === null ? "–" : `${Math.round(answer.flips * 100)} %`;
  $("agreement").textContent = answer.marks ? answer.marks.join(" / ") : "none yet";
  const again = chosen && answer.cues.find((c) => key(c) === key(chosen));
  chosen = again || null;
  drawRows();
  drawPictures();
}

function drawRows() {
  const onlyLap = $("only-lap").value, onlyCorner = $("only-corner").value;
  const shown = (c) => (!onlyLap || `${c.take}|${c.lap}` === onlyLap) && (!onlyCorner || String(c.corner) === onlyCorner);
  const before = new Set(first.cues.map(key)), now = new Set(answer.cues.map(key));
  const gone = first.cues.filter((c) => !now.has(key(c)) && shown(c)).map((c) => ({ ...c, gone: true }));
  const order = (a, b) => a.take - b.take || a.lap - b.lap || a.corner - b.corner;
  const rows = answer.cues.filter(shown);
  const all = gone.length ? rows.concat(gone).sort(order) : rows;
  const several = session.takes.length > 1;
  let html = "";
  for (const c of all.slice(0, ROWS)) {
    const state = c.gone ? "gone" : before.has(key(c)) ? "" : "new";
    const here = c === chosen ? " here" : "";
    const mark = (word, right, sign) => `<button type="button" class="${word}" aria-pressed="${c.right === right}" title="${right ? "accept" : "reject"}">${sign}</button>`;
    html += `<tr class="${state}${here}" tabindex="${c.gone ? -1 : 0}" data-index="${c.gone ? "" : answer.cues.indexOf(c)}">` +
      `<td>${several ? `${c.take + 1}/` : ""}${c.lap}</td><td>${c.corner}</td><td>${sign(c.told)} ${TOLD[c.told]}</td>` +
      `<td>${state === "new" ? "+ " : c.gone ? "− " : ""}${escape(c.text)}</td><td class="n">${c.lost_s === null ? "" : c.lost_s.toFixed(2).replace("-", "−")}</td>` +
      `<td>${c.gone ? "" : mark("yes", true, "✓") + " " + mark("no", false, "✗")}</td></tr>`;
  }
  $("rows").innerHTML = html;
  $("count").textContent = all.length > ROWS ? `${rows.length} cues, the first ${ROWS} shown: choose a lap or a corner` : cuesOf(rows.length);
}

const cuesOf = (n) => (n === 1 ? "1 cue" : `${n} cues`);
const lapOf = () => answer.cues.filter((c) => c.take === take && c.lap === lap);

/* Only what a slider moves; the lap and the circuit stay. */
function drawPictures() {
  const count = new Map();
  for (const c of answer.cues) count.set(c.corner, (count.get(c.corner) || 0) + 1);
  const cues = lapOf();
  $("traces").querySelector("g").innerHTML = tracesCues(session, cues, chosen);
  $("map").querySelector("g").innerHTML = mapCues(session, count, cues, chosen);
  $("read").textContent = chosen ? `corner ${chosen.corner}: ${chosen.text}` : `${cuesOf(cues.length)} in this lap`;
}

function drawLap() {
  $("traces").innerHTML = traces(session, kept.get(`${take}|${lap}`) || null);
  drawPictures();
}

async function showLap(newTake, newLap) {
  take = newTake; lap = newLap;
  const name = `${take}|${lap}`;
  $("take").value = take;
  fillLaps();
  $("lap").value = lap;
  if (!kept.has(name)) {
    const got = await (await fetch(`lap?take=${take}&lap=${lap}`)).json();
    kept.set(name, got);
  }
  drawLap();
  document.body.dataset.lap = name;
}

function choose(cue) {
  chosen = cue;
  drawRows();
  document.querySelector("#rows tr.here")?.focus({ preventScroll: false });
  if (cue && (cue.take !== take || cue.lap !== lap)) return showLap(cue.take, cue.lap);
  drawPictures();
}

async function mark(cue, right) {
  const wanted = cue.right === right ? "none" : right ? "yes" : "no";
  const of = new URLSearchParams({ take: cue.take, lap: cue.lap, corner: cue.corner, phase: cue.phase, advice: cue.advice, right: wanted });
  const response = await fetch("mark?" + of, { method: "POST" });
  if (!response.ok) { say(await response.text()); return; }
  say(wanted === "none" ? "Mark taken back." : `Lap ${cue.lap}, corner ${cue.corner} ${right ? "accepted" : "rejected"}.`);
  await judge();
  document.querySelector("#rows tr.here")?.focus();
}

const option = (value, text) => `<option value="${escape(value)}">${escape(text)}</option>`;
function fillLaps() {
  const laps = session.takes[take].laps.map((l) => option(l.lap, `${l.lap}: ${l.time}${l.valid ? "" : " (not whole)"}`));
  $("lap").innerHTML = laps.join("");
}

function build() {
  $("name").textContent = session.reference ? `Thresholds: ${session.reference}` : "Thresholds";
  $("marks-path").textContent = session.marks_path;
  $("take").innerHTML = session.takes.map((t, i) => option(i, t.name)).join("");
  $("take-label").hidden = session.takes.length < 2;
  const laps = session.takes.flatMap((t, i) => t.laps.map((l) => option(`${i}|${l.lap}`, session.takes.length > 1 ? `${t.name}, ${l.lap}` : l.lap)));
  $("only-lap").innerHTML = option("", "all") + laps.join("");
  $("only-corner").innerHTML = option("", "all") + session.corners.map((c, i) => option(i + 1, c.name)).join("");
  $("focus").value = focus;
  buildSliders();
  sliders.forEach(showSlider);
}

const cueOf = (target) => answer.cues[target.closest("tr")?.dataset.index || -1];
function listen() {
  $("take").addEventListener("change", () => { take = +$("take").value; showLap(take, session.takes[take].laps[0]?.lap ?? 0); });
  $("lap").addEventListener("change", () => { chosen = null; drawRows(); showLap(take, +$("lap").value); });
  for (const id of ["only-lap", "only-corner"]) $(id).addEventListener("change", drawRows);
  $("focus").addEventListener("change", () => { focus = $("focus").value; judge(); });
  $("all").addEventListener("input", () => moveAll(+(5 ** (+$("all").value / 100)).toFixed(2)));
  $("all-number").addEventListener("change", () => moveAll(Math.min(5, Math.max(0.2, +$("all-number").value || 1))));
  $("reset").addEventListener("click", () => { focus = session.focus; $("focus").value = focus; moveAll(1); say("As it began."); });
  $("save").addEventListener("click", async () => {
    const response = await fetch("save?" + position(), { method: "POST" });
    say(response.ok ? `Saved as ${await response.json()}.` : await response.text());
  });
  $("sliders").addEventListener("submit", (event) => event.preventDefault());
  $("rows").addEventListener("click", (event) => {
    const cue = cueOf(event.target);
    if (!cue) return;
    const button = event.target.closest("button");
    if (button) mark(cue, button.classList.contains("yes")); else choose(cue);
  });
  $("rows").addEventListener("keydown", (event) => {
    const cue = cueOf(event.target), row = event.target.closest("tr");
    if (!cue || event.ctrlKey || event.altKey || event.metaKey) return;
    const step = { ArrowDown: "nextElementSibling", ArrowUp: "previousElementSibling" }[event.key];
    if (step) {
      let to = row[step];
      while (to && !to.dataset.index) to = to[step];
      if (to) choose(answer.cues[to.dataset.index]);
    } else if (event.key === "y" || event.key === "n") mark(cue, event.key === "y");
    else if (event.key === "Enter" && event.target === row) choose(cue);
    else return;
    event.preventDefault();
  });
  $("map").addEventListener("click", (event) => {
    const corner = event.target.dataset?.corner;
    if (!corner) return;
    $("only-corner").value = $("only-corner").value === corner ? "" : corner;
    drawRows();
  });
  $("traces").addEventListener("keydown", (event) => {
    const cues = lapOf(), at = cues.indexOf(chosen), laps = session.takes[take].laps;
    const number = laps.findIndex((l) => l.lap === lap);
    const turn = { ArrowRight: 1, ArrowLeft: -1 }[event.key], other = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (turn && cues.length) { chosen = cues[(at + turn + cues.length) % cues.length]; drawRows(); drawPictures(); }
    else if (other && laps[number + other]) { chosen = null; drawRows(); showLap(take, laps[number + other].lap); }
    else return;
    event.preventDefault();
  });
}

build();
$("map").innerHTML = map(session);
drawLap();
listen();
await judge();
const begin = answer.cues[0];
const lapBegin = session.takes[0].laps[0];
await showLap(begin ? begin.take : 0, begin && begin.lap ? begin.lap : lapBegin ? lapBegin.lap : 0);
document.body.dataset.ready = "yes";
