/* Saying that the time is up, as far as a phone lets a page: a tone, vibration, and a screen that stays on. */

let audio;
let lock;

/** Call this from a tap: sound is only allowed to a page that was touched. */
export function prepare() {
  const Context = globalThis.AudioContext ?? globalThis.webkitAudioContext;
  if (Context) audio ??= new Context();
  audio?.resume().catch(() => {});
  stayAwake();
}

/** Keep the screen on; a browser gives it up whenever the page is hidden, so ask again once it is shown. */
export async function stayAwake() {
  if (lock && !lock.released) return; // one lock: a second one would never be let go
  try {
    lock = await navigator.wakeLock?.request("screen");
  } catch {
    lock = undefined; // low on battery, or not allowed: the phone may then lock, and the page says so
  }
}

export function letSleep() {
  lock?.release();
  lock = undefined;
}

/** Three tones and a vibration. */
export function sound() {
  navigator.vibrate?.([500, 200, 500, 200, 500]);
  if (audio?.state !== "running") return;
  for (const start of [0, 0.5, 1]) {
    const tone = audio.createOscillator();
    const volume = audio.createGain();
    volume.gain.value = 0.3;
    tone.frequency.value = 880;
    tone.connect(volume).connect(audio.destination);
    tone.start(audio.currentTime + start);
    tone.stop(audio.currentTime + start + 0.25);
  }
}
