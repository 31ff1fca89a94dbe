// The bench page, live. The server draws the step at hand; this puts readings, trends and the limit's marker on it
// as they come, and says within two seconds when nothing comes any more.
import { drawn, takeActs } from "./acts.js";
import { confirm, remind } from "./phone.js";
import { listen } from "./stream.js";
import { draw, remember, seed } from "./trend.js";

const SILENCE_MS = 1900;
const ASK_AGAIN_MS = 2000;
const LINE = { left: 10, width: 300 }; // of the scale drawn in _screen.html

const hand = document.getElementById("at-hand");
const lost = document.getElementById("lost");
const lostWhat = document.getElementById("lost-what");
const lostWhy = document.getElementById("lost-why");
const answer = document.getElementById("answer");
const spoken = document.getElementById("heard");
const latest = new Map(); // link -> readings in words
let heard = performance.now();
let isReached = false; // whether this page has heard the bench since it was shown
let silent = lost.hidden ? "" : lostWhy.textContent; // why nothing is heard, "" when something is
let isDrawn = true; // whether the step at hand stands below as it was when it was last asked for
let isAway = silent !== ""; // no tap is sent

// ---- what comes ----

const COMES = {
  here: () => refresh(),
  reading: ({ link, readings }) => { latest.set(link, readings); readings.forEach((reading) => show(link, reading)); },
  walk: (walk) => { age(walk); refresh(); },
  lost: ({ why }) => lose(why),
  full: () => lose("More pages of this bench are open than it can serve. This one waits for a place: close another."),
  verdict: ({ outcome, why }) => { tell(`${outcome}: ${why}`); confirm(outcome); refresh(); },
  said: ({ say: words, facts }) => {
    if (words === "live point") confirm("live");
    if (words === "not taken") say(`Not taken: ${facts.why || "the probes left too soon"}.`, whileApart());
  },
};
for (const event of ["link", "job", "store", "capture"]) COMES[event] = () => refresh();

listen((event, data) => {
  heard = performance.now();
  isReached = true;
  if (silent && !["lost", "still lost", "full"].includes(event)) find();
  COMES[event]?.(data);
}, lose);

const isLost = () => silent !== "" || !isDrawn;

function lose(why, away = true) {
  silent = why;
  isAway = away;
  warn();
}

function find() {
  silent = "";
  isAway = false;
  timesFound += 1;
  warn();
  clear();
}

// What stands below is not known to be true now: it is said why, and struck through.
function warn() {
  const why = silent || "The pages' server failed on it, and is asked again.";
  lostWhat.textContent = silent ? "Nothing is heard." : "The step at hand cannot be drawn.";
  lostWhy.textContent = hand.querySelector(".digits") ? `${why} What stands below is old.` : why;
  lost.hidden = !isLost();
  document.body.classList.toggle("is-lost", isLost());
}

// A page that is not connected yet has heard no silence: its digits are old, and a tap is sent all the same.
setInterval(() => {
  if (silent || document.hidden || performance.now() - heard <= SILENCE_MS) return;
  if (isReached) lose("The bench has gone silent.");
  else lose("This page is not connected yet.", false);
}, 200);
document.addEventListener("visibilitychange", () => { isReached &&= !document.hidden; });

// ---- words: each goes with the state that it names ----

let isOver = () => true;
let timesFound = 0;
const stood = ({ job, step, phase, stage }) => [job, step, phase, stage].join("\n");
const stands = () => stood(hand.querySelector(".bench")?.dataset ?? {});
const whileHere = (at = stands()) => () => stands() !== at;
const untilFound = (at = stands(), before = timesFound) => () => stands() !== at || timesFound !== before;
const whileApart = (at = stands()) => () => stands() !== at || ["contact", "settling", "captured"].includes(hand.querySelector(".display-main")?.dataset.stands);
function say(words, over = whileHere()) { isOver = over; if (answer.textContent !== words) answer.textContent = words; } // seen and heard
function clear() { if (isOver()) say(""); }
function tell(words) { spoken.textContent = words; } // heard by a screen reader; the page shows it elsewhere

// What the bench has told is true no more goes at once; what is true instead comes with the next drawing.
function age(walk) {
  if (stands() !== stood(walk)) { hand.classList.add("is-old"); drawnLast = ""; }
  for (const { source, channel, state } of walk.displays) {
    const display = displayOf(source, channel);
    if (display && display.dataset.stands !== state) silence(display);
  }
}
function silence(display) {
  display.querySelector(".display-with").textContent = "";
  drawnLast = "";
}

// ---- the step at hand, drawn by the server ----

let asking = null;
let askAgain = false;
function refresh() {
  askAgain = asking !== null;
  asking ??= fetchHand().finally(() => { asking = null; if (askAgain) refresh(); });
  return asking;
}

async function fetchHand() {
  try {
    const found = await fetch("/bench/at-hand", { headers: { accept: "text/html" } });
    isDrawn = found.ok;
    if (found.ok) place(await found.text());
    else setTimeout(refresh, ASK_AGAIN_MS);
    warn();
  } catch { /* the stream says when the server is gone */ }
}

const meanings = () => [stands(), ...[...hand.querySelectorAll(".bar-main button, .bar-main > details > summary")].map((el) => el.textContent)].join("\n");

// A finger that is down keeps its button until it is up: what was drawn meanwhile waits. What is drawn already is left alone.
let isDown = false;
let waiting = null;
let drawnLast = "";
hand.addEventListener("pointerdown", () => { isDown = true; });
for (const event of ["pointerup", "pointercancel"]) addEventListener(event, () => setTimeout(() => {
  isDown = false;
  if (waiting !== null) place(waiting);
}, 30));

const lasting = (html) => html.replace(/name="(id|csrftoken)" value="[^"]*"/g, ""); // what differs each time is left out

function place(html) {
  waiting = isDown ? html : null;
  if (isDown || lasting(html) === drawnLast) return;
  drawnLast = lasting(html);
  put(html);
}

// Put the new part in place. What is being written, folds that are open, and the focus stay; a new step begins at the top.
function put(html) {
  const [was, meant] = [stands(), meanings()];
  const kept = keep();
  const title = document.getElementById("task")?.textContent;
  hand.innerHTML = html;
  hand.classList.remove("is-old");
  const isOther = was !== stands();
  restore(kept, isOther);
  if (isOther) {
    scrollTo(0, 0);
    const next = document.getElementById("task")?.textContent;
    if (next && next !== title) tell(next);
  }
  clear();
  drawn(meant !== meanings());
  latest.forEach((readings, link) => readings.forEach((reading) => show(link, reading, false)));
  fit();
  count();
  readOn();
}

function keep() {
  const focused = hand.contains(document.activeElement) ? document.activeElement : null;
  return {
    focus: focused?.id,
    written: [...hand.querySelectorAll("details.written[open]")].filter((fold) => fold.querySelector("textarea")?.value || fold.querySelector("input[type=file]")?.files.length || fold.contains(focused)),
    open: [...hand.querySelectorAll("details[id][open]")].map((fold) => fold.id),
    shut: [...hand.querySelectorAll("details[id]:not([open])")].map((fold) => fold.id),
    fields: [...hand.querySelectorAll("input[id]:not([type=file]), select[id]")].map((field) => [field.id, field.value]),
    scrolled: document.getElementById("words")?.scrollTop ?? 0,
  };
}

function restore({ focus, written, open, shut, fields, scrolled }, isOther) {
  for (const id of open) if (!isOther || id === "all") document.getElementById(id)?.setAttribute("open", "");
  if (!isOther) for (const id of shut) document.getElementById(id)?.removeAttribute("open");
  for (const [id, value] of fields) { const field = document.getElementById(id); if (field && !isOther) field.value = value; }
  for (const fold of written) { // what is being written stays with the step that it was begun for
    const place = document.getElementById(fold.id);
    if (!place) continue;
    place.replaceWith(fold);
    fold.closest("details.more")?.setAttribute("open", "");
  }
  if (!isOther && document.getElementById("words")) document.getElementById("words").scrollTop = scrolled;
  if (focus) document.getElementById(focus)?.focus({ preventScroll: true });
}

// Cautions that do not fit are read to the end before the button that acknowledges them takes a tap.
function readOn() {
  const words = hand.querySelector(".words.cautions");
  const button = document.getElementById("act-1");
  if (!words || !button) return;
  button.dataset.label ??= button.textContent;
  const more = () => words.scrollTop + words.clientHeight < words.scrollHeight - 8;
  const name = () => { button.textContent = more() ? "Read on ↓" : button.dataset.label; };
  let wasMore = more();
  name();
  words.onscroll = () => { if (wasMore !== more()) { wasMore = more(); name(); drawn(true); } };
  button.onclick = (event) => {
    if (!more()) return;
    event.preventDefault();
    words.scrollBy({ top: words.clientHeight - 24 });
  };
}

// ---- readings ----

const displayOf = (link, channel) => [...hand.querySelectorAll(".display")].find((el) => el.dataset.link === link && el.dataset.channel === channel);

function show(link, reading, isNew = true) {
  if (isNew && !reading.is_stale) remember(link, reading);
  const display = displayOf(link, reading.channel);
  const isOther = display && (display.querySelector(".display-kind").textContent !== reading.kind || display.hasAttribute("data-old") !== reading.is_stale);
  if (isNew && isOther) { silence(display); display.querySelector(".display-kind").textContent = reading.kind; }
  if (display && reading.is_stale) display.setAttribute("data-old", "");
  if (!display || (isNew && isOther)) refresh();
  if (!display || reading.is_stale) return;
  const number = display.querySelector(".digits-number");
  if (number.textContent !== reading.digits) { number.textContent = reading.digits; fitOne(display); }
  display.querySelector(".digits-unit").textContent = reading.unit;
  display.querySelector(".display-note").textContent = [reading.note, ...reading.flags].filter(Boolean).join(", ");
  draw(display);
  if (display.matches(".display-main")) mark(reading);
}

function fitOne(display) {
  display.style.setProperty("--characters", Math.max(4, display.querySelector(".digits-number").textContent.length));
}
function fit() { hand.querySelectorAll(".display").forEach((display) => { fitOne(display); draw(display); }); }
setInterval(() => hand.querySelectorAll(".display").forEach(draw), 1000);

// The reading on the limit's line; words beside it where one reading lies inside or does not, so that no colour is needed.
function mark(reading) {
  const scale = hand.querySelector(".scale");
  if (!scale) return;
  const marker = scale.querySelector(".scale-now");
  const words = hand.querySelector(".scale-words");
  const fits = scale.dataset.quantity === reading.quantity;
  marker.toggleAttribute("hidden", !fits);
  words.textContent = "";
  if (!fits) return;
  const { first, last, low, high } = Object.fromEntries(Object.entries(scale.dataset).map(([name, value]) => [name, Number(value)]));
  const value = reading.value ?? (reading.bound === "below" ? reading.edge : reading.edge ?? Infinity);
  const place = Math.min(Math.max((value - first) / (last - first), 0), 1);
  marker.setAttribute("transform", `translate(${LINE.left + LINE.width * place} 0)`);
  if (scale.dataset.spoken === undefined || reading.bound === "overload") return;
  const under = scale.dataset.low !== undefined && value < low;
  const over = scale.dataset.high !== undefined && value > high;
  words.textContent = under ? "now below the limit" : over ? "now above the limit" : "now inside the limit";
}

// ---- time that runs ----

let zero = null;
function count() {
  const shown = document.getElementById("elapsed");
  zero = shown ? performance.now() - 1000 * Number(shown.dataset.elapsed) : null;
}
setInterval(() => {
  const shown = document.getElementById("elapsed");
  if (shown && zero !== null && !isLost()) shown.textContent = ((performance.now() - zero) / 1000).toFixed(0);
}, 100);

// ---- the bar keeps what has the focus from lying behind it ----

const bar = new ResizeObserver(([entry]) => document.documentElement.style.setProperty("--bar-now", `${entry.target.offsetHeight}px`));
new MutationObserver(() => { const now = hand.querySelector(".bar"); bar.disconnect(); if (now) bar.observe(now); }).observe(hand, { childList: true });

addEventListener("resize", readOn);
remind(() => (hand.querySelector(".screen-live") ? "live" : hand.querySelector(".alert-fail") ? "fail" : hand.querySelector(".alert") ? "undecided" : ""));
takeActs({ isAway: () => isAway, say, sayOfLoss: (words) => say(words, untilFound()), refresh });
fit();
count();
readOn();
if (hand.querySelector(".bar")) bar.observe(hand.querySelector(".bar"));
seed().then(fit);
