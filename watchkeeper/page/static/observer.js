// The observer's buttons: one press tells the pilot, and the page says within a second what came of it.

import { el, put, show } from "./dom.js";
import { icon } from "./icons.js";
import { order } from "./orders.js";
import { SIGHTED } from "./words.js";

const ANSWER_WITHIN_MS = 900;
const FAILED = "Not sent. Call out.";
const STANDS_MS = 8000;

export class Observer {
  constructor(part) {
    this.part = part;
    this.says = part.querySelector("#observer-says");
    this.station = null;
    this.aircraft = null;
    this.presses = 0;
    // what lies under the bar of buttons can be scrolled out from under it
    new ResizeObserver(() => document.documentElement.style.setProperty("--bar", `${part.offsetHeight}px`)).observe(part);
    const buttons = part.querySelector("#observer-buttons");
    for (const [text, words] of Object.entries(SIGHTED)) {
      const button = el("button", `big sight-${text}`, icon(text), el("span", "", words));
      button.type = "button";
      button.addEventListener("click", () => this.press(text, button));
      buttons.append(button);
    }
  }

  draw(can, station, aircraft) {
    show(this.part, can.has("sighted"));
    this.station = station;
    this.aircraft = aircraft;
  }

  async press(text, button) {
    const press = ++this.presses;
    const words = SIGHTED[text];
    const what = { action: "sighted", station: this.station, aircraft: this.aircraft, text };
    button.classList.add("pressed");
    this.say(`Telling the pilot: ${words} …`, "sending");
    // every press is sent: twice the same does no harm, one that waits for another might
    const slow = setTimeout(() => {
      if (press === this.presses) this.fail("");
    }, ANSWER_WITHIN_MS);
    const { done, reason } = await order(what, 6000);
    clearTimeout(slow);
    setTimeout(() => button.classList.remove("pressed"), 400);
    if (press !== this.presses) return;
    if (done) {
      this.say(`The pilot was told: ${words}.`, "sent");
      navigator.vibrate?.(80);
    } else this.fail(reason);
  }

  fail(reason) {
    this.say(reason ? `${FAILED} (${reason})` : FAILED, "failed");
    navigator.vibrate?.([250, 100, 250]);
  }

  say(words, how) {
    clearTimeout(this.fades);
    this.says.className = how;
    put(this.says, words);
    if (how === "sending") return;
    this.fades = setTimeout(() => this.rest(), how === "sent" ? STANDS_MS : 4 * STANDS_MS);
  }

  rest() {
    this.says.className = "";
    put(this.says, "Press to tell the pilot at once.");
  }
}
