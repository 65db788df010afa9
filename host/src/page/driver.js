// The driver's page: one cue at a time, and between cues the gap, quietly.
import { follow } from "./stream.js";

const FRESH_MS = 1000; // an older cue comes too late and is dropped
const SHOWN_MS = 3000; // a cue stands so long
const SHOWN_LEAST_MS = 1500; // before another may take its place
const EMPTY_MS = 500; // nothing between two cues, so that the second is seen as another
const GAP_MS = 500; // the gap changes no more often
const STALE_MS = 1500; // a state older than this is not shown as the present

const at = (id) => document.getElementById(id);
let shownAt = -Infinity;
let hideTimer = 0;
let waiting = null;
let now = null;
let nowAt = -Infinity;
let linkUp = false;
let ended = false;
let audio = null;

function show(cue) {
  const glance = cue.glance;
  at("start").hidden = true;
  at("word").textContent = glance.word;
  at("advice").textContent = glance.advice;
  at("size").textContent = glance.size;
  at("cue").className = glance.way + (glance.next ? " next" : "");
  at("quiet").hidden = true;
  at("cue").hidden = false;
  document.body.dataset.showing = "cue";
  shownAt = performance.now();
  clearTimeout(hideTimer);
  hideTimer = setTimeout(hide, SHOWN_MS);
  if (audio) play(glance);
}

function hide() {
  at("cue").hidden = true;
  document.body.dataset.showing = "nothing";
  setTimeout(() => {
    const next = waiting;
    waiting = null;
    if (next && performance.now() - next.at < FRESH_MS + SHOWN_LEAST_MS) {
      show(next.cue);
    } else if (at("cue").hidden) {
      at("quiet").hidden = false;
      document.body.dataset.showing = "quiet";
    }
  }, EMPTY_MS);
}

function cue(object) {
  if (object.age_ms > FRESH_MS) return;
  const stood = performance.now() - shownAt;
  if (document.body.dataset.showing === "quiet") return show(object);
  // One stands, or has just gone: the newest waits for it, older ones are dropped.
  waiting = { cue: object, at: performance.now() };
  if (document.body.dataset.showing === "cue") {
    clearTimeout(hideTimer);
    hideTimer = setTimeout(hide, Math.max(0, SHOWN_LEAST_MS - stood));
  }
}

const STATES = {
  lost: "SEARCHING",
  standing: "STANDING",
  "wrong-way": "WRONG WAY",
  pit: "PIT LANE",
  "off-track": "OFF TRACK",
  degraded: "POOR SIGNAL",
};

function quiet() {
  let gap = "";
  let state = "";
  if (ended) state = "DRIVE ENDED";
  else if (!linkUp || performance.now() - nowAt > STALE_MS) state = "NO CONNECTION";
  else if (now.source !== "open") state = "NO SIGNAL";
  else if (now.state !== "ok") state = STATES[now.state] ?? "NO CUES";
  else if (now.gap_s === null) state = "READY";
  else gap = (now.gap_s < 0 ? "−" : "+") + Math.abs(now.gap_s).toFixed(1);
  if (at("gap").textContent !== gap) at("gap").textContent = gap;
  if (at("state").textContent !== state) at("state").textContent = state;
}

// The counts and pitches of the sounder's code: low and short for sooner or less, high and long
// for later or more.
function play(glance) {
  const keep = glance.way === "keep";
  const less = glance.way === "less";
  const [on, off] = keep ? [0.6, 0] : less ? [0.12, 0.28] : [0.4, 0.2];
  const count = keep ? 1 : glance.count;
  for (let i = 0; i < count; i += 1) {
    const begin = audio.currentTime + i * (on + off);
    const tone = audio.createOscillator();
    const level = audio.createGain();
    tone.type = "triangle";
    tone.frequency.setValueAtTime(less || keep ? 1200 : 2400, begin);
    if (keep) tone.frequency.setValueAtTime(2400, begin + on / 2);
    level.gain.setValueAtTime(0, begin);
    level.gain.linearRampToValueAtTime(0.8, begin + 0.01);
    level.gain.setValueAtTime(0.8, begin + on - 0.01);
    level.gain.linearRampToValueAtTime(0, begin + on);
    tone.connect(level).connect(audio.destination);
    tone.start(begin);
    tone.stop(begin + on);
  }
}

// Browsers allow full screen, sound and a screen that stays on only after a touch.
async function start() {
  at("start").hidden = true;
  audio = null;
  if (at("sound").checked) {
    audio = new AudioContext();
    await audio.resume();
  }
  const wake = () => navigator.wakeLock?.request("screen").catch(() => {});
  document.documentElement.requestFullscreen?.().catch(() => {});
  wake();
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") wake();
  });
}

function settings() {
  // Never in the way of a cue, and not while driving.
  if (document.body.dataset.showing === "quiet" && (now === null || now.state !== "ok")) {
    at("start").hidden = false;
  }
}

document.body.dataset.showing = "quiet";
at("light").addEventListener("change", () => {
  document.documentElement.classList.toggle("light", at("light").checked);
});
at("go").addEventListener("click", start);
at("quiet").addEventListener("click", settings);
if (new URLSearchParams(location.search).has("now")) at("start").hidden = true;
follow({
  entry: (kind, object) => {
    if (kind === "cue") cue(object);
  },
  now: (object) => {
    now = object;
    nowAt = performance.now();
  },
  afresh: () => {},
  link: (isUp) => {
    linkUp = isUp;
  },
  end: () => {
    ended = true;
  },
});
quiet();
setInterval(quiet, GAP_MS);
