// A lesson on a phone. A press counts with its own time on the bench's clock, however late what was typed arrives: the
// clock's offset is taken from the quickest answer of the last while, and is known to half of what that took (RFC 5905).
const EVERY_MS = 700;
const CLOCKS = 12; // answers of which the quickest counts
const GONE_MS = 6000; // without an answer, what was read last is no longer live
const ANSWER_MS = 30_000; // a proposal of a long recording takes some seconds

const at = (id) => document.getElementById(id);
let clocks = [];
let pressed = null;
let lastAnswer = performance.now();
let isSaved = false;

async function clock() {
  const sent = performance.now();
  const { now_s: now } = await fetched("/clock");
  const took = performance.now() - sent;
  clocks = [...clocks, { offset: now - (sent + took / 2) / 1000, within: took / 2000 }].slice(-CLOCKS);
}

async function fetched(where, body) {
  const answer = await fetch(where, { method: body ? "POST" : "GET", body, signal: AbortSignal.timeout(ANSWER_MS) });
  if (!answer.ok) throw new Error(await answer.text());
  return answer.json();
}

/** When something happened here, on the bench's clock, and how well that is known, s. */
function onTheBench(moment) {
  const best = clocks.reduce((a, b) => (a.within <= b.within ? a : b));
  return { at_s: (moment / 1000 + best.offset).toFixed(3), within_s: best.within.toFixed(3) };
}

function draw(told) {
  lastAnswer = performance.now();
  at("asks").textContent = told.asks;
  at("shows").textContent = told.shows || (told.is_new ? "a state that is not known" : "nothing that is known");
  document.body.classList.toggle("is-new", told.is_new);
  if ("error" in told) at("answer").textContent = told.error;
  at("cut").textContent = told.cut;
  const many = (number, one) => `${number} ${one}${number === 1 ? "" : "s"}`;
  at("count").textContent = `${many(told.known.length, "state")} known, ${many(told.notes.length, "note")}`;
  at("known").replaceChildren(...told.known.map((words) => item(words)));
  const drawn = told.notes.map((note) => `${note.at_s} ${note.typed}`).join("\n");
  if (at("notes").dataset.drawn !== drawn) {
    at("notes").dataset.drawn = drawn;
    at("notes").replaceChildren(...told.notes.map((note) => item(note.typed, button("Take out", () => act("/take-out", { at_s: note.at_s })))));
    at("words").replaceChildren(...told.words.filter(Boolean).map((words) => button(words, () => append(words))));
  }
  at("save").disabled = !told.can_save;
  if (told.saved) saved(told);
}

function item(words, ...more) {
  const made = document.createElement("li");
  made.append(Object.assign(document.createElement("span"), { textContent: words }), ...more);
  return made;
}

function button(words, done) {
  const made = Object.assign(document.createElement("button"), { type: "button", textContent: words });
  made.addEventListener("click", done);
  return made;
}

function append(words) {
  const typed = at("typed");
  typed.value = `${typed.value.trim().split(/\s+/)[0] ?? ""} ${words}`.trim();
  typed.focus();
}

function saved(told) {
  isSaved = true;
  at("saved").hidden = false;
  at("where").textContent = told.saved;
  at("profile").textContent = told.profile;
  at("download").href = URL.createObjectURL(new Blob([told.profile], { type: "application/yaml" }));
  at("asks").textContent = "The lesson has ended.";
  for (const gone of ["entry", "more"]) at(gone).hidden = true;
  document.querySelector(".now").hidden = true;
  at("where").scrollIntoView();
}

async function act(where, fields) {
  at("answer").textContent = "";
  try {
    const told = await fetched(where, new URLSearchParams(fields));
    draw({ error: "", ...told });
    return !told.is_refused;
  } catch {
    at("answer").textContent = "No answer came. What stands below “What you noted” has arrived: send again what does not.";
    return false;
  }
}

at("press").addEventListener("click", (event) => {
  if (!clocks.length) { at("answer").textContent = "The bench has not answered yet: the time of a press is not known."; return; }
  pressed = onTheBench(event.timeStamp);
  at("answer").textContent = "";
  choose(true);
});
at("forget").addEventListener("click", () => { pressed = null; choose(false); });
at("save").addEventListener("click", () => act("/save", {}));
at("entry").addEventListener("submit", async (event) => {
  event.preventDefault();
  const shows = at("typed").value;
  if (!pressed || !shows.trim()) return;
  const send = event.submitter ?? at("typed");
  send.disabled = true;
  const isDone = await act("/note", { ...pressed, shows });
  send.disabled = false;
  if (isDone) {
    pressed = null;
    at("typed").value = "";
    choose(false);
  }
});

function choose(isTyping) {
  at("when").hidden = isTyping;
  at("what").hidden = !isTyping;
  if (isTyping) at("typed").focus();
}

async function follow() {
  while (!isSaved) {
    try {
      const [told] = await Promise.all([fetched("/standing"), clock()]);
      if (!isSaved) draw(told);
    } catch { /* what stands for it is drawn by `stale` */ }
    await new Promise((done) => setTimeout(done, document.hidden ? 5 * EVERY_MS : EVERY_MS));
  }
}

function stale() {
  if (isSaved || performance.now() - lastAnswer < GONE_MS) return;
  at("shows").textContent = "";
  at("asks").textContent = "The bench does not answer: is the command that serves this page still running?";
}

document.addEventListener("visibilitychange", () => { clocks = []; }); // a clock may stand while a phone sleeps
setInterval(stale, 500);
follow();
