// One stream for all the pages of this browser. A browser keeps six connections to a server, and a stream holds one for
// as long as it lasts: so one visible page listens, and passes what comes on to the others.
const WAIT_MS = 120; // for a page that listens already to say so
const SILENCE_MS = 2500; // after which a page that listened for the others is given up
const TRY_AGAIN_MS = 2000;
const EVENTS = ["here", "reading", "beat", "lost", "still lost", "full", "walk", "link", "capture", "verdict", "said", "job", "store"];

const channel = new BroadcastChannel("meterlog bench");
const me = Math.random();
let stream = null;
let seeking = 0;
let lastPassed = 0;
let lastTaken = 0;

/** Calls `heard(event, data)` for whatever comes, and `trouble(words)` when nothing can. */
export function listen(heard, trouble) {
  function seek() {
    if (document.hidden || stream || seeking) return;
    channel.postMessage({ kind: "who listens" });
    seeking = setTimeout(() => { seeking = 0; hold(); }, WAIT_MS + 80 * Math.random());
  }

  function hold() {
    if (stream || document.hidden) return;
    const mine = stream = new EventSource("/bench/stream");
    for (const event of EVENTS) mine.addEventListener(event, (message) => take(event, JSON.parse(message.data)));
    mine.onerror = () => { if (stream === mine) failed(); };
  }

  function take(event, data) {
    lastTaken = performance.now();
    heard(event, data);
    channel.postMessage({ kind: "event", from: me, event, data });
  }

  async function failed() {
    if (stream.readyState !== EventSource.CLOSED) { sought(); return; } // it tries again by itself
    stream = null;
    try {
      const asked = await fetch("/bench/at-hand", { headers: { accept: "application/json" } });
      trouble(asked.status === 403 ? (await asked.json()).error : "The stream was refused. It is tried again.");
    } catch { sought(); }
    setTimeout(seek, TRY_AGAIN_MS);
  }

  function sought() {
    if (performance.now() - lastTaken > SILENCE_MS) trouble("The pages' server does not answer. It is looked for.");
  }

  function leave() {
    clearTimeout(seeking);
    seeking = 0;
    if (!stream) return;
    stream.close();
    stream = null;
    channel.postMessage({ kind: "leaves" });
  }

  channel.onmessage = ({ data: told }) => {
    if (told.kind === "who listens") { if (stream) channel.postMessage({ kind: "event", from: me, event: "here", data: {} }); return; }
    if (told.kind === "leaves") { seek(); return; }
    if (stream && told.from > me) return; // two listen: the one with the smaller number gives way
    leave();
    lastPassed = performance.now();
    if (!document.hidden) heard(told.event, told.data);
  };
  document.addEventListener("visibilitychange", () => (document.hidden ? leave() : seek()));
  addEventListener("pagehide", leave);
  addEventListener("pageshow", seek);
  setInterval(() => { if (performance.now() - lastPassed > SILENCE_MS) seek(); }, 500);
  seek();
}
