// The page: takes the pictures and gives each part its own.

import { Alerts } from "./alerts.js";
import { Answer } from "./answer.js";
import { keepAwake } from "./awake.js";
import { Before } from "./before.js";
import { clean, el, keyed, put, show, wordy } from "./dom.js";
import { Fleet, nameOf } from "./fleet.js";
import { Ear } from "./ear.js";
import { History } from "./history.js";
import { everyone } from "./need.js";
import { Observer } from "./observer.js";
import { Plan } from "./plan.js";
import { allowed, crying, silentWhile, soundBack, startCrying, stopCrying } from "./sound.js";
import { mark, Pictures, since } from "./stream.js";
import { figure, LEVELS, ROLES, span, utc } from "./words.js";

const find = (id) => document.getElementById(id);
const BACK_STANDS_S = 10;

class Page {
  constructor() {
    this.stations = [];
    this.role = null;
    this.can = new Set();
    this.chosen = null; // what somebody opened; else the one in most need
    this.opened = null;
    this.at = mark();
    this.backAt = null;
    this.alerts = new Alerts();
    this.answer = new Answer();
    this.plan = new Plan();
    this.before = new Before();
    this.observer = new Observer(find("observer"));
    this.ear = new Ear(find("ear"), () => this.drawLost());
    silentWhile(() => this.ear.state === "lost");
    this.fleet = new Fleet((name) => {
      this.chosen = name;
      this.draw();
    });
    this.histories = new Map();
    this.pictures = new Pictures({
      role: (role) => this.takeRole(role),
      pictures: (list, at) => this.take(list, at),
      lost: (at, never) => this.lose(at, never),
      back: (seconds) => this.findAgain(seconds),
    });
    find("lost-quiet").addEventListener("click", () => {
      stopCrying();
      this.drawLost();
    });
    find("readings").addEventListener("toggle", () => this.drawReadings());
    setInterval(() => this.tick(), 250);
    this.pictures.start();
  }

  takeRole({ role, can }) {
    this.role = typeof role === "string" ? role : null;
    this.can = new Set(Array.isArray(can) ? can : []);
    document.body.dataset.role = this.role ?? "none";
    this.ear.draw(this.role);
    this.draw();
  }

  take(list, at) {
    this.stations = list;
    this.at = at;
    document.body.classList.remove("waiting");
    this.draw();
    keepAwake(list.some((station) => station.state === "watching"));
  }

  draw() {
    const { stations } = this;
    const all = everyone(stations);
    const chosen = all.find((one) => nameOf(one) === this.chosen);
    const one = chosen ?? all[0] ?? null;
    this.opened = one && nameOf(one);
    this.safely("alerts", () => this.alerts.draw(stations, this.role, this.can));
    this.safely("fleet", () => this.fleet.draw(stations, this.opened, chosen ? this.chosen : null));
    for (const id of ["answer", "plan", "blind", "histories", "all"]) show(find(id), one !== null);
    document.body.classList.toggle("many", all.length > 1);
    show(find("fleet"), all.length > 1);
    if (one !== null) {
      this.safely("answer", () => this.answer.draw(one, this.at, stations.length > 1));
      this.safely("plan", () => this.plan.draw(one, one.station.aircraft.filter((other) => other !== one.aircraft).map((aircraft) => ({ aircraft }))));
      this.safely("blind", () => this.drawBlind(one.aircraft));
      this.safely("old", () => this.drawOld(one.station));
      this.safely("before", () => document.body.classList.toggle("grounded", this.before.draw(one, this.role, this.can)));
      this.safely("histories", () => this.drawHistories(one));
      this.safely("readings", () => this.drawReadings(one.aircraft));
    } else show(find("before"), false);
    const station = one?.station ?? stations[0] ?? null;
    this.observer.draw(this.can, station?.station ?? null, one?.aircraft.system ?? null);
    this.safely("said", () => this.drawSaid(stations));
    this.safely("exercise", () => this.drawExercise(stations));
    this.safely("about", () => this.drawAbout(stations));
    this.drawTitle();
  }

  /** One part that fails takes none of the others with it; its failure is shown where it stands. */
  safely(name, draw) {
    try {
      draw();
      document.body.classList.remove(`failed-${name}`);
    } catch (error) {
      document.body.classList.add(`failed-${name}`);
      console.error(name, error);
      put(find("back"), `This page could not draw a part of the picture (${name}).`);
      show(find("back"), true);
    }
  }

  drawBlind(aircraft) {
    const lines = aircraft.blind.slice(0, 40);
    keyed(find("blind-list"), lines.length ? lines : ["Nothing that it should see."], (words) => words, () => wordy("li"), (node, words) => put(node, words));
    find("blind").classList.toggle("none", lines.length === 0);
  }

  /** The opened aircraft's watch may be the one of several that is not heard any more. */
  drawOld(station) {
    const old = station.state !== "watching";
    for (const id of ["answer", "plan", "blind", "histories", "all"]) find(id).classList.toggle("old", old);
    put(find("old"), old ? `The watch ${station.station} is ${station.state}. What is shown of it is from ${utc(station.since)} UTC.` : "", 140);
    show(find("old"), old);
  }

  drawHistories({ aircraft, station }) {
    keyed(find("histories-list"), aircraft.histories.slice(0, 8), (history) => history.reading, (history) => {
      const made = new History();
      this.histories.set(history.reading, made);
      made.node.dataset.reading = history.reading;
      return made.node;
    }, () => {});
    for (const history of aircraft.histories.slice(0, 8)) this.histories.get(history.reading).draw(history, station.elapsed_s);
  }

  drawReadings(aircraft = this.current()?.aircraft) {
    if (!find("readings").open || !aircraft) return;
    const rows = Object.entries(aircraft.readings).sort(([a], [b]) => a.localeCompare(b));
    keyed(find("readings-list"), rows, ([name]) => name, () => el("div", "", wordy("dt"), wordy("dd")), (node, [name, value]) => {
      put(node.firstElementChild, name, 60);
      put(node.lastElementChild, figure(value), 80);
    });
  }

  current() {
    return everyone(this.stations).find((one) => nameOf(one) === this.opened);
  }

  drawSaid(stations) {
    const several = stations.length > 1 || (stations[0]?.aircraft.length ?? 0) > 1;
    const said = stations.flatMap((station) => station.said.map((one) => ({ ...one, station })));
    said.sort((a, b) => String(b.time).localeCompare(String(a.time)));
    const rows = said.slice(0, 12);
    keyed(find("said-list"), rows, (one) => `${one.time} ${one.station.station} ${one.aircraft} ${one.words.slice(0, 80)}`, () => el("li", "", el("span", "when"), el("span", "tag small"), wordy("span", "words")), (node, one) => {
      const [when, tag, words] = node.children;
      put(when, utc(one.time));
      tag.className = `tag small ${LEVELS[one.level] ? one.level : ""}`;
      put(tag, LEVELS[one.level] ?? "");
      const name = one.station.aircraft.find((aircraft) => aircraft.system === one.aircraft)?.name;
      put(words, several && name ? `${name}: ${one.words}` : one.words, 160);
    });
    show(find("said"), rows.length > 0);
  }

  drawExercise(stations) {
    const marked = stations.filter((station) => station.exercise);
    const all = marked.length === stations.length;
    const words = all ? "Exercise" : `Exercise: ${marked.map((station) => clean(station.station, 24)).join(", ")}`;
    document.body.classList.toggle("exercise", marked.length > 0);
    show(find("exercise-word"), marked.length > 0);
    put(find("exercise-word"), all ? "Exercise. Nothing here is a real flight." : `${words} only. The others are real flights.`, 120);
    for (const band of document.querySelectorAll(".band")) {
      const text = marked.length ? `${words} · `.repeat(60) : "";
      if (band.textContent !== text) band.textContent = text;
    }
  }

  drawAbout(stations) {
    put(find("station"), stations.length === 1 ? stations[0].station : stations.length ? `${stations.length} stations` : "", 60);
    const rows = [];
    for (const station of stations) {
      const name = stations.length === 1 ? "Watch" : station.station;
      const state = station.state === "watching" ? `since ${utc(station.since)}` : `${station.state} since ${utc(station.since)}`;
      rows.push([`state ${station.station}`, name, state]);
      for (const [hears, words] of [[true, "Heard by"], [false, "Not heard by"]]) {
        const roles = Object.entries(station.hearing).filter(([, one]) => one === hears).map(([role]) => ROLES[role] ?? role);
        if (roles.length === 0) continue;
        rows.push([`${words} ${station.station}`, stations.length === 1 ? words : `${station.station} ${words.toLowerCase()}`, roles.join(", "), !hears]);
      }
    }
    if (stations.length > 0) rows.push(["time", "Now", `${utc(stations[0].time)} UTC`]);
    rows.push(["you", "You", this.role ? (ROLES[this.role] ?? this.role).toLowerCase() : "reading only"]);
    keyed(find("about"), rows, ([key]) => key, () => el("div", "", wordy("dt"), wordy("dd")), (node, [, name, words, not]) => {
      put(node.firstElementChild, name, 40);
      put(node.lastElementChild, words, 80);
      node.classList.toggle("not", not === true || words.startsWith("lost"));
    });
  }

  drawTitle() {
    const levels = this.stations.flatMap((station) => [station, ...station.aircraft]).flatMap((one) => one.alerts).filter((alert) => !alert.over).map((alert) => alert.level);
    const count = (level) => levels.filter((one) => one === level).length;
    const parts = [];
    if (this.pictures?.lost) parts.push("NOT HEARD");
    for (const level of ["warning", "caution"]) if (count(level)) parts.push(`${count(level)} ${level}${count(level) > 1 ? "s" : ""}`);
    if (this.stations.some((station) => station.exercise)) parts.push("exercise");
    parts.push("Watchkeeper");
    const title = parts.join(" · ");
    if (document.title !== title) document.title = title;
  }

  lose(at, never) {
    this.lostAt = at;
    this.lostNever = never;
    document.body.classList.add("lost");
    show(find("back"), false);
    startCrying();
    this.drawLost();
    put(find("tell-now"), "Warning. The watch is not heard. All on this page is old.");
    this.answer.tick(true);
    this.drawTitle();
    navigator.vibrate?.([300, 100, 300]);
  }

  drawLost() {
    if (!this.pictures?.lost) return;
    show(find("lost"), true);
    show(find("lost-quiet"), allowed() && crying() && this.ear.state !== "lost");
    const time = `${new Date(this.lostAt.wall).toISOString().slice(11, 19)} UTC`;
    put(find("lost-since"), this.lostNever ? `Nothing heard since this page was opened at ${time},` : `Last picture at ${time},`);
    put(find("lost-for"), `${span(since(this.lostAt))} ago.`);
  }

  findAgain(seconds) {
    document.body.classList.remove("lost");
    show(find("lost"), false);
    stopCrying();
    put(find("tell-now"), "");
    if (this.lostNever && seconds < 5) return this.drawTitle(); // it has just been opened: nothing was missed
    soundBack();
    this.backAt = mark();
    put(find("back"), `The watch is heard again. It was not for ${span(seconds)}.`);
    put(find("tell"), `The watch is heard again, after ${span(seconds)}.`);
    show(find("back"), true);
    return this.drawTitle();
  }

  tick() {
    const lost = this.pictures.lost;
    this.answer.tick(lost);
    if (lost) this.drawLost();
    if (this.backAt !== null && since(this.backAt) > BACK_STANDS_S) {
      this.backAt = null;
      show(find("back"), false);
    }
  }
}

new Page();
