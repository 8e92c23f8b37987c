// Before a take-off: reasons to wait, the checklist, who hears the watch.

import { el, keyed, put, show, wordy } from "./dom.js";
import { order } from "./orders.js";
import { ROLES } from "./words.js";

const ROLE_OF = Object.fromEntries(Object.keys(ROLES).map((role) => [role, ROLES[role]]));

export class Before {
  constructor() {
    this.part = document.getElementById("before");
    this.waits = this.room("before-waits", "Reasons to wait", "ul", "plain");
    this.checks = this.room("before-checks", "Checklist", "ul", "ticks");
    this.roles = this.room("before-roles", "Who hears the watch", "ul", "plain roles");
    this.nothing = el("p", "", "Nothing known against it.");
    this.waits.room.append(this.nothing);
    this.says = el("p", "answer");
    this.says.setAttribute("role", "status");
    this.call = this.button("test", "Call everybody for a test");
    this.hear = this.button("confirm", "I hear the watch");
    this.roles.room.append(el("div", "deeds", this.call, this.hear));
    this.part.append(this.says);
    this.target = {};
  }

  room(id, head, tag, css) {
    const room = document.getElementById(id);
    const list = el(tag, css);
    room.append(el("h3", "", head), list);
    return { room, list };
  }

  button(action, words) {
    const button = el("button", "quiet", words);
    button.type = "button";
    button.addEventListener("click", () =>
      this.give({ action }, action === "test" ? "Everybody is being called." : ""),
    );
    return button;
  }

  async give(what, words) {
    const { done, reason } = await order({ ...what, ...this.target });
    put(this.says, done ? words : `Not done: ${reason}.`);
    return done;
  }

  /** Returns whether there is anything to be shown before a take-off. */
  draw({ station, aircraft }, role, can) {
    const grounded = aircraft.phase === null || ["on_ground", "armed", "landed"].includes(aircraft.phase);
    const any =
      grounded && (aircraft.waits.length > 0 || aircraft.checklist.length > 0 || aircraft.roles.length > 0);
    show(this.part, any);
    this.target = { station: station.station, aircraft: aircraft.system };
    if (!any) return false;
    const live = station.state === "watching";
    keyed(
      this.waits.list,
      aircraft.waits.slice(0, 60),
      (words) => words,
      () => wordy("li"),
      (node, words) => put(node, words),
    );
    show(this.nothing, aircraft.waits.length === 0);
    show(this.checks.room, aircraft.checklist.length > 0);
    const may = live && (can.has("check") || can.has("uncheck"));
    keyed(
      this.checks.list,
      aircraft.checklist,
      (check) => check.words,
      (check) => this.tick(check),
      (node, check) => {
        const box = node.querySelector("input");
        box.disabled = !may;
        if (!box.dataset.sending) box.checked = check.done;
      },
    );
    show(this.roles.room, aircraft.roles.length > 0);
    keyed(
      this.roles.list,
      aircraft.roles,
      (check) => check.words,
      () => el("li", "", wordy("b"), el("span")),
      (node, check) => {
        put(node.firstElementChild, ROLE_OF[check.words] ?? check.words, 60);
        put(node.lastElementChild, check.done ? "hears the watch" : "has not confirmed");
        node.className = check.done ? "done" : "open";
      },
    );
    show(this.call, live && can.has("test"));
    const own = aircraft.roles.find((check) => check.words === role);
    show(this.hear, live && can.has("confirm") && aircraft.roles.some((check) => !check.done) && !own?.done);
    return true;
  }

  tick(check) {
    const box = el("input");
    box.type = "checkbox";
    box.addEventListener("change", async () => {
      box.dataset.sending = "1";
      const done = await this.give({ action: box.checked ? "check" : "uncheck", text: check.words }, "");
      delete box.dataset.sending;
      if (!done) box.checked = !box.checked;
    });
    return el("li", "", el("label", "", box, wordy("span", "", check.words)));
  }
}
