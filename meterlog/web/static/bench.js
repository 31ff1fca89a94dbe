// The bench page, live. The server draws the step at hand; this puts readings, trends and the
// limit's marker on it as they come, and says within two seconds when nothing comes any more.
const SILENCE_MS = 1900;
const MINUTE_MS = 60_000;
const LINE = { left: 10, width: 300 }; // of the scale drawn in _at_hand.html

const hand = document.getElementById("at-hand");
const lost = document.getElementById("lost");
const lostWhy = document.getElementById("lost-why");
const answer = document.getElementById("answer");
const spoken = document.getElementById("heard");
const trends = new Map(); // "link channel quantity" -> [[ms, value, words]]
const latest = new Map(); // link -> readings in words
let heard = performance.now();
let isLost = !lost.hidden;

// ---- what comes ----

const stream = new EventSource("/bench/stream");
const on = (event, act) => stream.addEventListener(event, (message) => { hear(event); act(JSON.parse(message.data)); });
on("here", () => refresh());
on("reading", ({ link, readings }) => { latest.set(link, readings); readings.forEach((reading) => show(link, reading)); });
on("beat", () => {});
on("lost", ({ why }) => lose(why));
on("still lost", () => {});
on("capture", () => refresh());
on("verdict", ({ outcome, why }) => { tell(`${outcome}: ${why}`); refresh(); });
on("said", ({ say: words, facts }) => {
  if (words === "wrong function") say(`The meter stands on ${facts.shows.replace("_", " ")}; this check wants ${facts.wants.replace("_", " ")}.`);
  else if (words === "not taken") say(`Not taken: ${facts.why || "the probes left too soon"}.`);
  else if (words === "frozen") say("HOLD is on: nothing is taken until it is off.");
  else if (["step began", "captured", "lifted"].includes(words)) say("");
});
for (const event of ["walk", "link", "job", "store"]) on(event, () => refresh());
stream.onerror = () => lose("The pages' server does not answer. Start it again with: meterlog browse");

function hear(event) {
  heard = performance.now();
  if (isLost && event !== "lost" && event !== "still lost") {
    isLost = false;
    lost.hidden = true;
    document.body.classList.remove("is-lost");
  }
}

function lose(why) {
  isLost = true;
  lostWhy.textContent = hand.querySelector(".display") ? `${why} What stands below is old.` : why;
  lost.hidden = false;
  document.body.classList.add("is-lost");
}

setInterval(() => { if (!isLost && performance.now() - heard > SILENCE_MS) lose("The bench has gone silent."); }, 200);

function say(words) { answer.textContent = words; } // seen and heard
function tell(words) { spoken.textContent = words; } // heard by a screen reader; the page shows it elsewhere

// ---- the step at hand, drawn by the server ----

let asking = false;
let askAgain = false;
async function refresh() {
  if (asking) { askAgain = true; return; }
  asking = true;
  try {
    const found = await fetch("/bench/at-hand", { headers: { accept: "text/html" } });
    if (found.ok) put(await found.text());
  } catch { /* the stream says when the server is gone */ }
  asking = false;
  if (askAgain) { askAgain = false; refresh(); }
}

// Put the new part in place unless words are being written in it; keep the focus where it was.
function put(html) {
  if (hand.querySelector("details.act-words[open]")) { askAgain = false; waiting = html; return; }
  const focused = hand.contains(document.activeElement) ? document.activeElement : null;
  const before = focused && [focused.tagName, focused.name, focused.value, focused.id];
  const opened = [...hand.querySelectorAll(".all details[open]")].length > 0;
  const chosen = document.getElementById("procedure")?.value;
  const written = new Map([...hand.querySelectorAll(".entries input")].map((el) => [el.name, el.value]));
  const title = document.getElementById("task")?.textContent;
  hand.innerHTML = html;
  const choice = document.getElementById("procedure");
  if (choice && chosen) choice.value = chosen;
  hand.querySelectorAll(".entries input").forEach((el) => { if (el.type === "text") el.value = written.get(el.name) ?? ""; });
  const next = document.getElementById("task")?.textContent;
  if (next && next !== title) tell(next);
  if (opened) hand.querySelector(".all details")?.setAttribute("open", "");
  if (before) [...hand.querySelectorAll(before[0])].find((el) => el.name === before[1] && el.value === before[2] && el.id === before[3])?.focus();
  latest.forEach((readings, link) => readings.forEach((reading) => show(link, reading, false)));
  fit();
  count();
}
let waiting = null;
hand.addEventListener("toggle", () => { if (waiting && !hand.querySelector("details.act-words[open]")) { waiting = null; refresh(); } }, true);

// ---- readings ----

function show(link, reading, isNew = true) {
  if (isNew) remember(link, reading);
  const display = [...hand.querySelectorAll(".display")].find((el) => el.dataset.link === link && el.dataset.channel === reading.channel);
  if (!display) { if (isNew) refresh(); return; }
  const number = display.querySelector(".digits-number");
  if (number.textContent !== reading.digits) { number.textContent = reading.digits; fitOne(display); }
  display.dataset.quantity = reading.quantity;
  display.querySelector(".digits-unit").textContent = reading.unit;
  display.querySelector(".display-kind").textContent = reading.kind;
  display.querySelector(".display-note").textContent = [reading.note, ...reading.flags].filter(Boolean).join(", ");
  drawTrend(display, key(link, reading));
  mark(reading);
}

function fitOne(display) {
  display.style.setProperty("--characters", Math.max(4, display.querySelector(".digits-number").textContent.length));
}
function fit() { hand.querySelectorAll(".display").forEach(fitOne); }

// The reading on the limit's line; words beside it, so that no colour is needed.
function mark(reading) {
  const scale = hand.querySelector(".scale");
  if (!scale || scale.dataset.quantity !== reading.quantity) return;
  const { first, last, low, high } = Object.fromEntries(Object.entries(scale.dataset).map(([name, value]) => [name, Number(value)]));
  const words = hand.querySelector(".scale-words");
  const marker = scale.querySelector(".scale-now");
  const value = reading.value ?? (reading.bound === "below" ? reading.edge : reading.edge ?? Infinity);
  const place = Math.min(Math.max((value - first) / (last - first), 0), 1);
  marker.removeAttribute("hidden");
  marker.setAttribute("transform", `translate(${LINE.left + LINE.width * place} 0)`);
  const under = scale.dataset.low !== undefined && value < low;
  const over = scale.dataset.high !== undefined && value > high;
  words.textContent = under ? "now below the limit" : over ? "now above the limit" : "now inside the limit";
  scale.dataset.now = under || over ? "out" : "in";
}

// ---- trends ----

function key(link, reading) { return `${link} ${reading.channel} ${reading.quantity}`; }

function remember(link, reading, at = Date.now()) {
  if (reading.value === null || reading.value === undefined) return;
  const name = key(link, reading);
  const points = trends.get(name) ?? trends.set(name, []).get(name);
  points.push([at, reading.value, reading.digits ? `${reading.digits} ${reading.unit}` : ""]);
  while (points.length && points[0][0] < Date.now() - MINUTE_MS) points.shift();
}

function drawTrend(display, name) {
  const points = trends.get(name) ?? [];
  const path = display.querySelector(".trend path");
  if (points.length < 2) { path.removeAttribute("d"); return; }
  const values = points.map((point) => point[1]);
  const low = Math.min(...values);
  const high = Math.max(...values);
  const now = Date.now();
  const x = (at) => (300 * (1 - (now - at) / MINUTE_MS)).toFixed(1);
  const y = (value) => (high > low ? 44 - (40 * (value - low)) / (high - low) : 24).toFixed(1);
  const words = (value) => points.find((point) => point[1] === value)[2];
  display.querySelector(".trend-low").textContent = words(low) && `low ${words(low)}`;
  display.querySelector(".trend-high").textContent = words(high) && `high ${words(high)}`;
  path.setAttribute("d", "M" + points.map(([at, value]) => `${x(at)} ${y(value)}`).join("L"));
}

async function seed() {
  const found = await fetch("/bench/minute");
  if (!found.ok) return;
  for (const row of await found.json()) remember(row.link, row, row.utc_ms);
  for (const points of trends.values()) points.sort((a, b) => a[0] - b[0]);
  hand.querySelectorAll(".display").forEach((el) => drawTrend(el, `${el.dataset.link} ${el.dataset.channel} ${el.dataset.quantity}`));
}

// ---- time that runs ----

let zero = null;
function count() {
  const shown = document.getElementById("elapsed");
  zero = shown ? performance.now() - 1000 * Number(shown.dataset.elapsed) : null;
}
setInterval(() => {
  const shown = document.getElementById("elapsed");
  if (shown && zero !== null) shown.textContent = ((performance.now() - zero) / 1000).toFixed(0);
}, 100);

// ---- acts ----

function identity() {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.matches("[data-act]")) return;
  event.preventDefault();
  const fields = new URLSearchParams(new FormData(form, event.submitter));
  if (fields.has("id")) fields.set("id", identity()); // each tap is an act of its own
  const more = form.closest("details.act-words");
  say("");
  try {
    const done = await fetch(form.action, { method: "POST", body: fields, headers: { accept: "application/json" } });
    const { ok, error } = await done.json();
    if (!ok) { say(error); return; }
    form.querySelectorAll("textarea").forEach((area) => { area.value = ""; });
    if (more) more.open = false;
    await refresh();
  } catch {
    say("That did not reach the bench. Try once more.");
  }
});

fit();
count();
seed();
