// What is wrong now, with buttons for whoever may.

import { clean, el, keyed, put, show, wordy } from "./dom.js";
import { order } from "./orders.js";
import { everyAlert, waiting } from "./need.js";
import { between, figure, LEVELS, ROLES, span } from "./words.js";

const keyOf = ({ station, alert }) => `${station.station}/${alert.aircraft ?? "watch"}/${alert.rule}`;

/** How a text ends that was cut; of a reason the beginning is enough. */
const CUT = / … \(cut, \d+ characters\)$/;

/** What may be done with an alert by this role. */
function deeds({ alert, station }, role, can) {
  if (station.state !== "watching") return [];
  const found = [];
  if (can.has("acknowledge") && waiting(alert) && !alert.acknowledged_by.includes(role)) {
    found.push(["acknowledge", "Acknowledge"]);
  }
  if (can.has("reset") && alert.state === "latched-acknowledged") found.push(["reset", "Reset"]);
  if (can.has("unshelve") && alert.state === "shelved") found.push(["unshelve", "Take off the shelf"]);
  else if (can.has("shelve") && role !== "observer" && mayBeShelved(alert)) {
    found.push(["shelve", "Shelve 10 min"]);
  }
  return found;
}

/** Neither warnings, nor what somebody of the crew sees, nor what the watch says of itself. */
function mayBeShelved(alert) {
  return alert.level !== "warning" && !alert.over && alert.aircraft !== null && !alert.rule.startsWith("sighted-");
}

function states({ alert, station }) {
  const words = [];
  if (station.state !== "watching" && alert.rule !== "") words.push(`old: its watch is ${station.state}`);
  if (alert.over) words.push("over, not acknowledged");
  if (alert.stale) words.push("old: its inputs have gone");
  if (alert.state === "shelved") words.push("shelved");
  if (alert.acknowledged_by.length > 0) {
    words.push(
      `acknowledged by ${alert.acknowledged_by.map((role) => (ROLES[role] ?? role).toLowerCase()).join(", ")}`,
    );
  }
  return words.join(" · ");
}

export class Alerts {
  constructor() {
    this.list = document.getElementById("wrong-list");
    this.none = document.getElementById("wrong-none");
    this.now = document.getElementById("tell-now");
    this.polite = document.getElementById("tell");
    this.told = new Map();
    this.role = null;
    this.can = new Set();
  }

  draw(stations, role, can) {
    this.role = role;
    this.can = can;
    const all = everyAlert(stations);
    const several = stations.length > 1 || stations.some((station) => station.aircraft.length > 1);
    keyed(
      this.list,
      all,
      keyOf,
      () => this.make(),
      (node, item) => this.update(node, item, several),
    );
    show(this.none, all.length === 0);
    show(this.list, all.length > 0);
    const watching = stations.filter((station) => station.state === "watching").length;
    put(this.none, watching > 0 ? "No alert stands." : "Nobody watches.");
    this.tell(all, several);
    return all;
  }

  make() {
    const node = el("li", "alert");
    const part = (tag, name) => node.appendChild(wordy(tag, name));
    node.append(el("span", "tag"));
    part("span", "who");
    node.append(el("span", "for"));
    part("p", "callout");
    node.append(el("p", "state"), el("div", "deeds"));
    const why = node.appendChild(el("details", "why"));
    node.append(el("p", "answer"));
    why.append(wordy("summary", "", "Why"), wordy("p", "reason"), el("dl", "evidence line"));
    node.querySelector(".answer").setAttribute("role", "status");
    return node;
  }

  update(node, item, several) {
    const { station, aircraft, alert } = item;
    const find = (name) => node.querySelector(`:scope > .${name}`);
    const brief = alert.acknowledged_by.includes("pilot") || alert.level === "advisory";
    const level = LEVELS[alert.level] ? alert.level : "warning";
    node.className = `alert ${level}${brief ? " brief" : ""}${alert.over ? " over" : ""}${alert.stale ? " stale" : ""}`;
    find("tag").className = `tag ${level}`;
    put(find("tag"), LEVELS[alert.level] ?? alert.level);
    const who = aircraft === null ? `watch ${station.station}` : aircraft.name;
    put(find("who"), several || aircraft === null ? who : "", 40);
    put(find("for"), `for ${span(between(alert.since, station.time))}`);
    put(find("callout"), untagged(alert.callout), 140);
    const why = find("why");
    put(why.querySelector(".reason"), clean(alert.reason, 300).replace(CUT, " …"));
    const evidence = Object.entries(alert.evidence).slice(0, 12);
    keyed(
      why.querySelector(".evidence"),
      evidence,
      ([name]) => name,
      () => el("div", "", wordy("dt"), wordy("dd")),
      (pair, [name, value]) => {
        put(pair.firstElementChild, name, 60);
        put(pair.lastElementChild, figure(value), 60);
      },
    );
    show(why, alert.reason !== "" || evidence.length > 0);
    put(find("state"), states(item));
    show(find("state"), find("state").textContent !== "");
    node.target = { station: station.station, aircraft: alert.aircraft, rule: alert.rule };
    keyed(
      find("deeds"),
      deeds(item, this.role, this.can),
      ([action]) => action,
      ([action]) => this.button(node, action),
      (button, [action, words]) => {
        put(button, words);
        button.setAttribute("aria-label", `${words}: ${who}, ${alert.callout.slice(0, 120)}`);
        button.className = action === "acknowledge" ? "main" : "quiet";
      },
    );
    show(find("deeds"), find("deeds").children.length > 0);
  }

  button(node, action) {
    const button = el("button");
    button.type = "button";
    button.addEventListener("click", async () => {
      const says = node.querySelector(".answer");
      put(says, "Sending …");
      const minutes = action === "shelve" ? 10 : null;
      const { done, reason } = await order({ action, ...node.target, minutes });
      put(says, done ? "" : `Not done: ${reason}.`);
    });
    return button;
  }

  /** Tell a screen reader what is new or has become graver: warnings at once, cautions in turn, each once. */
  tell(all, several) {
    const seen = new Map();
    for (const item of all) {
      const { alert, aircraft } = item;
      if (alert.over) continue;
      const key = keyOf(item);
      const raised = `${alert.level} ${alert.since}`;
      seen.set(key, raised);
      if (this.told.get(key) === raised || alert.acknowledged_by.length > 0) continue;
      const words = clip(
        `${LEVELS[alert.level] ?? ""}. ${several && aircraft ? `${aircraft.name}. ` : ""}${untagged(alert.callout)}`,
      );
      if (alert.level === "warning") speak(this.now, words);
      else if (alert.level === "caution") speak(this.polite, words);
    }
    this.told = seen;
  }
}

/** The words without their level, which stands on the tag beside them. */
export const untagged = (words) => words.replace(/^(Warning|Caution|Advisory)\. (?=\S)/, "");

const clip = (words) => words.slice(0, 200);

function speak(region, words) {
  region.append(wordy("p", "", words));
  while (region.children.length > 4) region.firstElementChild.remove();
}
