// The tone that says the watch is lost, and that it is back. Only after somebody has allowed sound by a touch.

let audio = null;
let timer = null;
let elsewhere = () => false;

/** Where another part of the page already sounds that the watch is lost, this one is silent. */
export function silentWhile(test) {
  elsewhere = test;
}

export const allowed = () => audio !== null && audio.state === "running";

/** To be called in a touch or key press: browsers allow sound only then. */
export async function allow() {
  try {
    audio ??= new AudioContext();
    await audio.resume();
  } catch {
    audio = null;
  }
  return allowed();
}

function tone(hertz, after_s, long_s, loud = 0.5) {
  const start = audio.currentTime + after_s;
  const oscillator = new OscillatorNode(audio, { type: "triangle", frequency: hertz });
  const gain = new GainNode(audio, { gain: 0 });
  gain.gain.setValueAtTime(0, start);
  gain.gain.linearRampToValueAtTime(loud, start + 0.02);
  gain.gain.setValueAtTime(loud, start + long_s - 0.03);
  gain.gain.linearRampToValueAtTime(0, start + long_s);
  oscillator.connect(gain).connect(audio.destination);
  oscillator.start(start);
  oscillator.stop(start + long_s + 0.02);
}

/** Falling, twice, then a pause: nothing else on the page sounds so. */
function cry() {
  if (!allowed() || elsewhere()) return;
  for (const after of [0, 0.7]) {
    tone(880, after, 0.25);
    tone(587, after + 0.27, 0.35);
  }
}

export function startCrying() {
  if (timer !== null) return;
  cry();
  timer = setInterval(cry, 3000);
}

export const crying = () => timer !== null;

export function stopCrying() {
  clearInterval(timer);
  timer = null;
}

export function soundBack() {
  if (!allowed()) return;
  tone(587, 0, 0.18, 0.3);
  tone(880, 0.2, 0.3, 0.3);
}
