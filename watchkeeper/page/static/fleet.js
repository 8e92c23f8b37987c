// Every aircraft of every station, the one in most need first.

import { el, keyed, put, show, wordy } from "./dom.js";
import { everyone, urgency } from "./need.js";
import { between, clock, known, LEVELS, metres, PHASES, span } from "./words.js";

export const nameOf = ({ station, aircraft }) => `${station.station}/${aircraft.system}`;

export class Fleet {
  constructor(choose) {
    this.list = document.getElementById("fleet-list");
    this.follow = document.getElementById("fleet-follow");
    this.choose = choose;
    this.follow.addEventListener("click", () => choose(null));
  }

  draw(stations, opened, chosen) {
    const all = everyone(stations);
    const several = stations.length > 1;
    keyed(
      this.list,
      all,
      nameOf,
      (one) => this.make(one),
      (node, one) => this.update(node, one, opened, several),
    );
    show(this.follow, chosen !== null && all.length > 1);
  }

  make(one) {
    const button = el(
      "button",
      "one",
      el("span", "tag"),
      wordy("span", "one-name"),
      wordy("span", "one-words"),
      el("span", "one-figures"),
      wordy("span", "one-state"),
    );
    button.type = "button";
    button.addEventListener("click", () => this.choose(nameOf(one)));
    return el("li", "", button);
  }

  update(node, one, opened, several) {
    const { station, aircraft } = one;
    const button = node.firstElementChild;
    const [tag, name, words, figures, state] = button.children;
    const standing = aircraft.alerts.filter((alert) => !alert.over && alert.level !== "advisory");
    const alert = [...standing].sort((a, b) => urgency(a) - urgency(b))[0];
    const gone = station.state !== "watching";
    const level = gone ? (station.state === "lost" ? "warning" : "") : (alert?.level ?? "");
    tag.className = `tag ${level}`;
    put(tag, gone ? `Watch ${station.state}` : (LEVELS[level] ?? ""));
    show(tag, tag.textContent !== "");
    put(
      name,
      `${aircraft.name}${several ? ` · ${station.station}` : ""}${station.exercise && several ? " · exercise" : ""}`,
      60,
    );
    put(words, aircraft.answer.words, 90);
    const { answer, place } = aircraft;
    const numbers = [];
    if (known(answer.distance_m)) numbers.push(`${metres(answer.distance_m)} away`);
    if (known(place?.height_m)) numbers.push(`${metres(place.height_m)} high`);
    if (known(answer.time_home_s)) numbers.push(`home in ${clock(answer.time_home_s)}`);
    if (known(answer.reserve_low_pct)) numbers.push(`lands with at least ${Math.floor(answer.reserve_low_pct)} %`);
    put(figures, numbers.join(" · "));
    show(figures, numbers.length > 0);
    const doing = PHASES[aircraft.phase] ?? aircraft.phase ?? "phase not known";
    const silent =
      known(aircraft.heard_s) && aircraft.heard_s > 3 ? `not heard for ${span(aircraft.heard_s)}` : "";
    const acknowledged = [...new Set(aircraft.alerts.flatMap((one_) => one_.acknowledged_by))].join(", ");
    const since = gone ? `old by ${span(between(station.since, station.time))}` : "";
    put(
      state,
      [doing, silent, since, acknowledged ? `acknowledged by ${acknowledged}` : ""].filter(Boolean).join(" · "),
      160,
    );
    button.setAttribute("aria-pressed", String(nameOf(one) === opened));
    button.classList.toggle("gone", gone);
  }
}
