// What a thumb does: shown at once as taken, sent once under an identity of its own, and answered in words.
// A button that has just come to mean something else takes no tap for a moment.
const CHANGED_MS = 700;
const ANSWER_MS = 9000;

const newId = () => [...crypto.getRandomValues(new Uint8Array(8))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
const buttons = () => document.querySelectorAll(".bar button, .go button, .entries button, .written button");
let isBusy = false;
let restUntil = 0;

/** Wires the acts; `isAway()` says whether the bench is lost, `refresh()` draws anew; `say(words)` answers for as long as
 *  the step stands as it does, `sayOfLoss(words)` until the bench is found again. */
export function takeActs({ isAway, say, sayOfLoss, refresh }) {
  document.addEventListener("submit", async (event) => {
    const form = event.target.closest("form[data-act], form[data-seen]");
    if (!form) return;
    event.preventDefault();
    if (isBusy || performance.now() < restUntil) return;
    if (isAway()) { sayOfLoss("The bench is away: nothing was sent, and nothing waits to be sent."); return; }
    say("");
    busy(event.submitter ?? form.querySelector("button"));
    try {
      const refused = form.matches("[data-seen]") ? see(form) : await send(form);
      const answer = () => refused && (refused.isUnknown ? sayOfLoss : say)(refused.error);
      answer();
      await refresh();
      answer(); // once more: of the step as it stands by now
    } finally { free(); }
  });
  document.addEventListener("click", (event) => {
    const button = event.target.closest('button[aria-disabled="true"]');
    if (button) event.preventDefault();
  }, true);
}

function see(form) {
  const { number, job } = Object.fromEntries(new FormData(form));
  document.cookie = `meterlog_seen=${number}.${encodeURIComponent(job)}; path=/; samesite=lax; max-age=31536000`;
}

// Answers why it was refused; nothing when it was done.
async function send(form) {
  const fields = new URLSearchParams(new FormData(form));
  const answer = await ask(form.action, fields);
  if (form.elements.id) form.elements.id.value = newId(); // whatever is sent from here again is another act
  if (!answer.ok) { mark(form, answer.field); return answer; }
  form.querySelectorAll("textarea, input:not([type=hidden])").forEach((field) => { field.value = ""; });
  const fold = form.closest("details");
  if (fold && !fold.matches(".all")) fold.open = false;
}

// The same act may arrive twice, under one identity: it is done once.
async function ask(where, fields, isSecond = false) {
  try {
    const found = await fetch(where, { method: "POST", body: fields, headers: { accept: "application/json" }, signal: AbortSignal.timeout(ANSWER_MS) });
    if ((found.headers.get("content-type") ?? "").includes("json")) return await found.json();
    return { ok: false, error: "This page was older than its server, and has been renewed. Nothing was done: tap once more." };
  } catch {
    if (!isSecond && fields.has("id")) return ask(where, fields, true);
    return { ok: false, isUnknown: true, error: "No answer came: it is not known whether that reached the bench. What stands here once it answers is true." };
  }
}

function mark(form, name) {
  form.querySelectorAll("[aria-invalid]").forEach((field) => field.removeAttribute("aria-invalid"));
  const field = name && form.elements[name];
  if (field) { field.setAttribute("aria-invalid", "true"); field.focus(); }
}

function busy(button) {
  isBusy = true;
  button?.classList.add("taken");
  rest(true);
}

function free() {
  isBusy = false;
  document.querySelectorAll("button.taken").forEach((button) => button.classList.remove("taken"));
  rest(performance.now() < restUntil);
}

function rest(isResting) {
  buttons().forEach((button) => (isResting ? button.setAttribute("aria-disabled", "true") : button.removeAttribute("aria-disabled")));
}

/** The buttons were drawn anew: `isOther` when they mean something else than before. */
export function drawn(isOther) {
  if (isOther) {
    restUntil = performance.now() + CHANGED_MS;
    setTimeout(() => { if (!isBusy && performance.now() >= restUntil) rest(false); }, CHANGED_MS + 20);
  }
  rest(isBusy || performance.now() < restUntil);
}
