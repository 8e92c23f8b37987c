// The button that starts to listen: the server's voice on this device, and the tone if the watch is lost.

import { put, show } from "./dom.js";
import { allow, allowed } from "./sound.js";

const WORDS = {
  off: "",
  starting: "Starting …",
  hearing: "You hear the watch on this device.",
  lost: "You do not hear the watch. Trying again …",
};

export class Ear {
  /** `changed()` is called whenever what is heard has changed. */
  constructor(part, changed) {
    this.button = part.querySelector("#listen");
    this.says = part.querySelector("#listen-says");
    this.part = part;
    this.changed = changed;
    this.voice = null; // what plays the server's voice; null while there is none
    this.button.addEventListener("click", () => this.press());
  }

  get state() {
    return this.voice?.state ?? "off";
  }

  /** `sound`: whether there is a watch here that speaks; a board has none. */
  draw(role, sound) {
    this.speaks = role !== null && sound;
    this.part.classList.toggle("large", role === "observer");
    if (this.speaks && this.voice === null && !this.asked) {
      this.asked = true; // fetched ahead: it has to start within the touch itself
      import("./listen.js").then(
        ({ listening }) => {
          this.voice = listening({ onState: () => this.drawState() });
        },
        () => {},
      );
    }
    this.drawState();
  }

  async press() {
    const tone = allow();
    if (this.state !== "off") this.voice.stop();
    else if (this.voice !== null) this.voice.start();
    await tone;
    this.pressed = true;
    this.drawState();
  }

  drawState() {
    const { state } = this;
    const only = allowed() && state === "off";
    put(this.button, state !== "off" ? "End listening" : this.speaks ? "Start listening" : "Allow sound");
    show(this.button, !(only && this.voice === null));
    this.part.classList.toggle("on", state !== "off");
    const none = this.pressed && !allowed() ? "The browser allows no sound." : "";
    put(this.says, WORDS[state] || (only ? "Sounds only if the watch is lost." : none));
    this.changed();
  }
}
