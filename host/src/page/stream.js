// Follows the drive's event stream. Each numbered entry is handed on once, also across
// reconnects, and a break in the stream is told at once.

const SILENT_MS = 8000; // the server says something at least every 5 s
const RETRY_MS = 1000;

/** on: {entry(kind, object), now(object), afresh(), link(isUp), end()} */
export function follow(on) {
  let run = "";
  let last = 0;
  let source = null;
  let heard = performance.now();
  let up = null;
  let ended = false;

  function tell(isUp) {
    if (isUp !== up) {
      up = isUp;
      on.link(isUp);
    }
  }

  function alive() {
    heard = performance.now();
    tell(true);
  }

  function entry(kind, event) {
    alive();
    const cut = event.lastEventId.lastIndexOf("-");
    const of = event.lastEventId.slice(0, cut);
    const id = Number(event.lastEventId.slice(cut + 1));
    if (of === run && id <= last) return;
    if (run !== "" && of !== run) on.afresh();
    run = of;
    last = id;
    on.entry(kind, JSON.parse(event.data));
  }

  function open() {
    const after = run === "" ? "" : `?after=${encodeURIComponent(`${run}-${last}`)}`;
    source = new EventSource(`events${after}`);
    heard = performance.now();
    for (const kind of ["lap", "corner", "cue", "health", "pace", "note"]) {
      source.addEventListener(kind, (event) => entry(kind, event));
    }
    source.addEventListener("now", (event) => {
      alive();
      on.now(JSON.parse(event.data));
    });
    source.addEventListener("afresh", () => {
      alive();
      run = "";
      last = 0;
      on.afresh();
    });
    source.addEventListener("end", () => {
      ended = true;
      source.close();
      on.end();
    });
    source.addEventListener("open", alive);
    source.addEventListener("error", () => {
      if (!ended) again();
    });
  }

  // The browser's own retry gives up on some answers; ours never does.
  function again() {
    tell(false);
    source.close();
    setTimeout(open, RETRY_MS);
  }

  setInterval(() => {
    if (!ended && source.readyState === EventSource.OPEN && performance.now() - heard > SILENT_MS) {
      again();
    }
  }, 1000);
  open();
}
