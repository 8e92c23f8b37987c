// Listening to the watch: one endless sound from the server, played by an audio element near its live end.
//
// listening({onState}) -> {start(), stop(), state}; start() has to be called in a touch or key press.
// States: "off", "starting", "hearing", "lost" (listening is wanted, and nothing is heard: this device then sounds
// and shakes by itself until it hears the watch again, and goes on trying).

const LOST_AFTER_MS = 3000; // of a position that stands still
const HEARD_EVERY_MS = 5000;
const LOOK_EVERY_MS = 250;
const FIRST_PAUSE_MS = 500;
const LONGEST_PAUSE_MS = 8000;
const CRY_EVERY_MS = 2500;
const LEAST_LEAD_S = 0.25; // sound held here: the less, the sooner heard; the more, the fewer gaps
const MOST_LEAD_S = 1.0;
const LEAD_STEP_S = 0.15; // more after each gap
const SKIP_S = 2.5; // so far behind it jumps
const KEPT_S = 10;

const Source = window.ManagedMediaSource ?? window.MediaSource;
const fed = () => Source !== undefined && Source.isTypeSupported("audio/mpeg");

/** A name for this page's life; crypto.randomUUID is not there over plain http. */
function newName() {
  return Array.from(crypto.getRandomValues(new Uint8Array(8)), (byte) => byte.toString(16).padStart(2, "0")).join("");
}

export function listening({ onState = () => {}, audio = "/audio", heard = "/heard" } = {}) {
  const phone = newName();
  let state = "off";
  let element = null;
  let context = null;
  let attempt = null; // the connection of now
  let failures = 0;
  let looking = null;
  let retrying = null;
  let crying = null;
  let at = 0; // where the element was when last looked at
  let movedMs = 0;
  let heardMs = 0;
  let lead = LEAST_LEAD_S;

  function become(next) {
    if (next === state) return;
    state = next;
    if (next === "lost") startCrying();
    else stopCrying();
    onState(next);
  }

  function start() {
    if (state !== "off") return;
    allowCry();
    element ??= newElement();
    lead = LEAST_LEAD_S;
    failures = 0;
    movedMs = performance.now();
    heardMs = -Infinity;
    become("starting");
    looking = setInterval(look, LOOK_EVERY_MS);
    connect();
  }

  function stop() {
    if (state === "off") return;
    tell({ stopped: true });
    clearInterval(looking);
    disconnect();
    element.pause();
    become("off");
  }

  function newElement() {
    const made = document.createElement("audio");
    made.hidden = true;
    made.disableRemotePlayback = true; // a ManagedMediaSource wants it
    made.addEventListener("error", () => failed(attempt));
    made.addEventListener("ended", () => failed(attempt));
    made.addEventListener("waiting", () => {
      if (state === "hearing") lead = Math.min(lead + LEAD_STEP_S, MOST_LEAD_S);
    });
    document.body.append(made);
    return made;
  }

  function disconnect() {
    clearTimeout(retrying);
    retrying = null;
    const old = attempt;
    attempt = null;
    old?.abort.abort();
    if (element.src) {
      URL.revokeObjectURL(element.src);
      element.removeAttribute("src");
      element.load();
    }
  }

  function failed(which) {
    if (which === null || which !== attempt || retrying !== null || state === "off") return;
    const pause = Math.min(FIRST_PAUSE_MS * 2 ** failures, LONGEST_PAUSE_MS);
    failures += 1;
    retrying = setTimeout(connect, pause * (0.75 + 0.5 * Math.random()));
  }

  function connect() {
    disconnect();
    const mine = { abort: new AbortController(), buffer: null, waiting: [], sinceMs: performance.now() };
    attempt = mine;
    at = 0;
    element.playbackRate = 1;
    if (fed()) feed(mine).catch(() => failed(mine));
    else element.src = `${audio}?${newName()}`;
    element.play().catch((error) => {
      if (error.name !== "AbortError") failed(mine);
    });
  }

  async function feed(mine) {
    const source = new Source();
    const open = new Promise((resolve) => source.addEventListener("sourceopen", resolve, { once: true }));
    element.src = URL.createObjectURL(source);
    const signal = mine.abort.signal;
    const answer = await fetch(audio, { cache: "no-store", signal });
    if (!answer.ok) throw new Error(`no stream: ${answer.status}`);
    await open;
    if (mine !== attempt) return;
    mine.buffer = source.addSourceBuffer("audio/mpeg");
    mine.buffer.addEventListener("updateend", () => append(mine));
    const reader = answer.body.getReader();
    for (;;) {
      const { done, value } = await reader.read();
      if (mine !== attempt) return;
      if (done) throw new Error("the stream ended");
      mine.waiting.push(value);
      append(mine);
    }
  }

  function append(mine) {
    const { buffer, waiting } = mine;
    if (mine !== attempt || buffer.updating) return;
    try {
      if (element.currentTime > 2 * KEPT_S && buffer.buffered.length > 0 && buffer.buffered.start(0) < element.currentTime - 2 * KEPT_S) {
        buffer.remove(0, element.currentTime - KEPT_S);
      } else if (waiting.length > 0) {
        buffer.appendBuffer(joined(waiting.splice(0)));
      }
      stayLive();
    } catch {
      failed(mine);
    }
  }

  /** Keep so much sound ahead, not more: slightly faster or slower, a jump if it is far behind and can. */
  function stayLive() {
    const ranges = element.buffered;
    if (ranges.length === 0) return;
    const end = ranges.end(ranges.length - 1);
    const ahead = end - element.currentTime;
    if (fed() && (ahead > SKIP_S || element.currentTime < ranges.start(0))) {
      element.currentTime = Math.max(ranges.start(0), end - lead);
      element.playbackRate = 1;
    } else if (ahead > lead + 0.35) element.playbackRate = 1.08;
    else if (ahead < lead / 2) element.playbackRate = 0.95;
    else if ((element.playbackRate > 1 && ahead < lead + 0.1) || (element.playbackRate < 1 && ahead > lead)) element.playbackRate = 1;
  }

  function look() {
    const now = performance.now();
    if (element.currentTime !== at) {
      if (element.currentTime > at && !element.paused) {
        movedMs = now;
        failures = 0;
        become("hearing");
      }
      at = element.currentTime;
    }
    if (now - movedMs > LOST_AFTER_MS) {
      become("lost");
      if (now - attempt.sinceMs > LOST_AFTER_MS) failed(attempt);
    } else if (state === "hearing" && now - movedMs < 2 * LOOK_EVERY_MS && now - heardMs >= HEARD_EVERY_MS) {
      heardMs = now;
      tell({});
    }
    if (!fed()) stayLive();
    if (element.paused && attempt !== null && retrying === null) element.play().catch(() => {}); // a call came between
  }

  function tell(more) {
    const body = JSON.stringify({ at_s: Math.max(0, element.currentTime), phone, ...more });
    const headers = { "Content-Type": "application/json" };
    fetch(heard, { method: "POST", headers, body, keepalive: true, cache: "no-store" }).catch(() => {});
  }

  // The sound of a lost watch, made here: high and low in turn, as the station's own computer sounds it.

  function allowCry() {
    try {
      context ??= new AudioContext();
      context.resume().catch(() => {});
    } catch {
      context = null;
    }
  }

  function cry() {
    navigator.vibrate?.([400, 150, 400]);
    if (context === null || context.state !== "running") {
      context?.resume().catch(() => {});
      return;
    }
    for (let i = 0; i < 6; i++) {
      const begins = context.currentTime + 0.05 + 0.16 * i;
      const oscillator = new OscillatorNode(context, { frequency: i % 2 === 0 ? 988 : 659 });
      const gain = new GainNode(context, { gain: 0 });
      gain.gain.setTargetAtTime(0.6, begins, 0.005);
      gain.gain.setTargetAtTime(0, begins + 0.14, 0.005);
      oscillator.connect(gain).connect(context.destination);
      oscillator.start(begins);
      oscillator.stop(begins + 0.16);
    }
  }

  function startCrying() {
    cry();
    crying ??= setInterval(cry, CRY_EVERY_MS);
  }

  function stopCrying() {
    clearInterval(crying);
    crying = null;
  }

  function hurry() {
    if (state !== "lost" || retrying === null) return;
    connect();
  }
  window.addEventListener("online", hurry);
  document.addEventListener("visibilitychange", hurry);

  return { start, stop, get state() { return state; } };
}

function joined(parts) {
  if (parts.length === 1) return parts[0];
  const all = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    all.set(part, at);
    at += part.length;
  }
  return all;
}
