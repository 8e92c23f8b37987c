// Pictures as they come, and whether they still do.

/** Older than this a picture is not "now" any more: one comes every second. */
export const OLD_AFTER_S = 3;
const AGAIN_MS = [250, 500, 1000, 2000];
const HUNG_S = 8;

/** Seconds since a mark. The clock of the page may stand still while a device sleeps, the other may be set: the longer. */
export function since(mark) {
  return Math.max(performance.now() - mark.monotonic, Date.now() - mark.wall) / 1000;
}

export const mark = () => ({ monotonic: performance.now(), wall: Date.now() });

/**
 * Listen to /pictures for ever. `on.role(role)`, `on.pictures(list)`, `on.lost(mark)` once when the watch is not
 * heard any more, `on.back(seconds)` once when it is again. `check()` judges at once whether it is.
 */
export class Pictures {
  constructor(on) {
    this.on = on;
    this.lost = false;
    this.last = null; // when a picture came that was not the one before
    this.begun = mark();
    this.lostAt = null;
    this.cut = false;
    this.tries = 0;
    this.source = null;
    this.opened = mark();
    this.stamp = "";
  }

  start() {
    this.open();
    setInterval(() => this.check(), 250);
    for (const name of ["visibilitychange", "resume"]) document.addEventListener(name, () => this.check());
    for (const name of ["pageshow", "online", "offline", "focus"]) addEventListener(name, () => this.check());
  }

  open() {
    this.source?.close();
    this.opened = mark();
    const source = new EventSource("/pictures");
    this.source = source;
    source.addEventListener("role", (event) => this.take(event, (role) => this.on.role(role)));
    source.addEventListener("picture", (event) => this.take(event, (pictures) => this.picture(pictures)));
    source.addEventListener("error", () => this.failed(source));
  }

  take(event, give) {
    let value;
    try {
      value = JSON.parse(event.data);
    } catch {
      return; // rubbish is no sign of life
    }
    give(value);
  }

  picture(pictures) {
    if (!Array.isArray(pictures)) return;
    this.tries = 0;
    this.cut = false;
    // the same picture again and again is a watch that stands still, unless it has ended
    const stamp = pictures.map((one) => `${one.station} ${one.time}`).join();
    const ended = pictures.length > 0 && pictures.every((one) => one.state !== "watching");
    if (stamp !== this.stamp || ended || pictures.length === 0) this.last = mark();
    this.stamp = stamp;
    this.on.pictures(pictures, this.last);
    this.check();
  }

  failed(source) {
    if (source !== this.source) return;
    source.close();
    this.source = null;
    this.cut = true;
    this.check();
    setTimeout(() => this.open(), AGAIN_MS[Math.min(this.tries, AGAIN_MS.length - 1)]);
    this.tries += 1;
  }

  /** Judge whether the watch is heard; called four times a second, and whenever the page is seen again. */
  check() {
    const heard = this.last ?? this.begun;
    const old = this.cut || since(heard) > OLD_AFTER_S;
    if (old && !this.lost) {
      this.lost = true;
      this.lostAt = heard;
      this.on.lost(heard, this.last === null);
    } else if (!old && this.lost) {
      this.lost = false;
      this.on.back(since(this.lostAt));
    }
    if (this.source !== null && since(this.opened) > HUNG_S && since(heard) > HUNG_S) this.open();
  }
}
