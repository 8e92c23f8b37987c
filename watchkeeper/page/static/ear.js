// The button that starts to listen: the server's voice on this device, and the tone if the watch is lost.

import { put, show } from "./dom.js";
import { allow, allowed } from "./sound.js";

export class Ear {
  constructor(part, changed) {
    this.part = part;
    this.button = part.querySelector("#listen");
    this.says = part.querySelector("#listen-says");
    this.changed = changed;
    this.control = null;
    this.button.addEventListener("click", () => this.press());
  }

  draw(role) {
    this.role = role;
    this.part.classList.toggle("large", role === "observer");
    if (this.control === null) put(this.button, role === null ? "Allow sound" : "Start listening");
    show(this.button, !this.going);
  }

  async press() {
    const tone = allow(); // within the touch, before anything is waited for
    this.going = true;
    show(this.button, false);
    if (this.role !== null) {
      put(this.says, "Starting …");
      try {
        const { listening } = await import("./listen.js");
        this.control = listening((state) => this.heard(state));
        await this.control;
      } catch {
        await tone;
        put(this.says, allowed() ? "No voice on this device. It sounds only if the watch is lost." : "No sound on this device.");
      }
    } else {
      await tone;
      put(this.says, allowed() ? "It sounds if the watch is lost." : "The browser allows no sound.");
    }
    this.again();
    this.changed();
  }

  heard(state) {
    put(this.says, typeof state === "string" ? state : state ? "You hear the watch." : "You do not hear the watch.");
    this.again(state === false);
  }

  again(stopped = false) {
    this.going = !stopped && (allowed() || this.control !== null);
    show(this.button, !this.going);
  }
}
