// What a phone can do besides showing: stay awake, shake, sound. Each only where the browser can, and said where it can't.
const SHAKES = { pass: [60], fail: [350, 120, 350], undecided: [150, 100, 150, 100, 150], "not judged": [60, 80, 60], live: [700, 150, 700, 150, 700] };
const TONES = { // Hz and s, one after the other
  pass: [[880, 0.12]], fail: [[220, 0.25], [165, 0.4]], undecided: [[440, 0.15], [440, 0.15]], "not judged": [[660, 0.1]],
  live: [[1200, 0.2], [800, 0.2], [1200, 0.2], [800, 0.2]],
};
const AGAIN_MS = 10_000;

let sound = null;
let lock = null;

/** Confirms an outcome to hand and ear. */
export function confirm(outcome) {
  if (navigator.userActivation?.hasBeenActive ?? true) navigator.vibrate?.(SHAKES[outcome] ?? []); // before a touch it is refused
  if (!sound) return;
  let at = sound.currentTime;
  for (const [hertz, length] of TONES[outcome] ?? []) {
    const tone = sound.createOscillator();
    const volume = sound.createGain();
    tone.frequency.value = hertz;
    volume.gain.setValueAtTime(0.25, at);
    volume.gain.linearRampToValueAtTime(0, at + length);
    tone.connect(volume).connect(sound.destination);
    tone.start(at);
    tone.stop(at + length);
    at += length + 0.05;
  }
}

/** What has to be seen is repeated until it was; `unseen()` answers its outcome, or "". */
export function remind(unseen) {
  setInterval(() => { const outcome = unseen(); if (outcome) confirm(outcome); }, AGAIN_MS);
}

async function stayAwake(said) {
  if (!navigator.wakeLock) {
    said.textContent = "This browser lets a page keep the screen on only over a secure connection. Set the phone's own screen time longer.";
    return false;
  }
  try {
    lock = await navigator.wakeLock.request("screen");
    said.textContent = "The screen stays on.";
    return true;
  } catch {
    said.textContent = "The phone refused to keep the screen on: is its battery low?";
    return false;
  }
}

const awake = document.getElementById("awake");
const said = document.getElementById("phone-said");
awake?.addEventListener("change", async () => {
  if (awake.checked) awake.checked = await stayAwake(said);
  else { await lock?.release(); lock = null; said.textContent = "The screen goes off as the phone is set."; }
});
document.addEventListener("visibilitychange", () => { if (!document.hidden && awake?.checked) stayAwake(said); });
document.getElementById("sound")?.addEventListener("change", (event) => {
  if (event.target.checked) { sound = new AudioContext(); confirm("pass"); }
  else { sound?.close(); sound = null; }
});
