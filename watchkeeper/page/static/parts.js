// The small parts of the page: what is blind, what was said, exercise, who hears.

import { untagged } from "./alerts.js";
import { clean, el, keyed, put, show, wordy } from "./dom.js";
import { LEVELS, ROLES, utc } from "./words.js";

const find = (id) => document.getElementById(id);

export function drawBlind(aircraft) {
  const lines = aircraft.blind.slice(0, 40);
  keyed(
    find("blind-list"),
    lines.length ? lines : ["No reading is missing."],
    (words) => words,
    () => wordy("li"),
    (node, words) => put(node, words),
  );
  find("blind").classList.toggle("none", lines.length === 0);
}

/** The opened aircraft's watch may be the one of several that is not heard any more. */
export function drawOld(station) {
  const old = station.state !== "watching";
  for (const id of ["answer", "plan", "blind", "histories", "all"]) find(id).classList.toggle("old", old);
  put(
    find("old"),
    old
      ? `The watch ${station.station} is ${station.state}. What is shown of it is from ${utc(station.since)} UTC.`
      : "",
    140,
  );
  show(find("old"), old);
}

export function drawSaid(stations) {
  const several = stations.length > 1 || (stations[0]?.aircraft.length ?? 0) > 1;
  const said = stations.flatMap((station) => station.said.map((one) => ({ ...one, station })));
  said.sort((a, b) => String(b.time).localeCompare(String(a.time)));
  const rows = said.slice(0, 12);
  keyed(
    find("said-list"),
    rows,
    (one) => `${one.time} ${one.station.station} ${one.aircraft} ${one.words.slice(0, 80)}`,
    () => el("li", "", el("span", "when"), el("span", "tag small"), wordy("span", "words")),
    (node, one) => {
      const [when, tag, words] = node.children;
      put(when, utc(one.time));
      tag.className = `tag small ${LEVELS[one.level] ? one.level : ""}`;
      put(tag, LEVELS[one.level] ?? "");
      const name = one.station.aircraft.find((aircraft) => aircraft.system === one.aircraft)?.name;
      put(words, several && name ? `${name}: ${untagged(one.words)}` : untagged(one.words), 160);
    },
  );
  show(find("said"), rows.length > 0);
}

export function drawExercise(stations) {
  const marked = stations.filter((station) => station.exercise);
  const all = marked.length === stations.length;
  const words = all ? "Exercise" : `Exercise: ${marked.map((station) => clean(station.station, 24)).join(", ")}`;
  document.body.classList.toggle("exercise", marked.length > 0);
  show(find("exercise-word"), marked.length > 0);
  put(
    find("exercise-word"),
    all ? "Exercise. Nothing here is a real flight." : `${words} only. The others are real flights.`,
    120,
  );
  for (const band of document.querySelectorAll(".band")) {
    const text = marked.length ? `${words} · `.repeat(60) : "";
    if (band.textContent !== text) band.textContent = text;
  }
}

export function drawAbout(stations, role) {
  put(
    find("station"),
    stations.length === 1 ? stations[0].station : stations.length ? `${stations.length} stations` : "",
    60,
  );
  const rows = [];
  for (const station of stations) {
    const name = stations.length === 1 ? "Watch" : station.station;
    const state =
      station.state === "watching"
        ? `since ${utc(station.since)}`
        : `${station.state} since ${utc(station.since)}`;
    rows.push([`state ${station.station}`, name, state]);
    for (const [hears, words] of [
      [true, "Heard by"],
      [false, "Not heard by"],
    ]) {
      const roles = Object.entries(station.hearing)
        .filter(([, one]) => one === hears)
        .map(([role]) => ROLES[role] ?? role);
      if (roles.length === 0) continue;
      rows.push([
        `${words} ${station.station}`,
        stations.length === 1 ? words : `${station.station} ${words.toLowerCase()}`,
        roles.join(", "),
        !hears,
      ]);
    }
  }
  if (stations.length > 0) rows.push(["time", "Picture of", `${utc(stations[0].time)} UTC`]);
  rows.push(["you", "You", role ? (ROLES[role] ?? role).toLowerCase() : "reading only"]);
  keyed(
    find("about"),
    rows,
    ([key]) => key,
    () => el("div", "", wordy("dt"), wordy("dd")),
    (node, [, name, words, not]) => {
      put(node.firstElementChild, name, 40);
      put(node.lastElementChild, words, 80);
      node.classList.toggle("not", not === true || words.startsWith("lost"));
    },
  );
}
