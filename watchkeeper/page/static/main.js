// The page: takes the pictures and gives each part its own.

import { Alerts } from "./alerts.js";
import { Answer } from "./answer.js";
import { keepAwake } from "./awake.js";
import { Before } from "./before.js";
import { el, keyed, put, show, wordy } from "./dom.js";
import { Fleet, nameOf } from "./fleet.js";
import { Ear } from "./ear.js";
import { History } from "./history.js";
import { everyone } from "./need.js";
import { Observer } from "./observer.js";
import { drawAbout, drawBlind, drawExercise, drawOld, drawSaid } from "./parts.js";
import { Plan } from "./plan.js";
import { allowed, crying, silentWhile, soundBack, startCrying, stopCrying } from "./sound.js";
import { mark, Pictures, since } from "./stream.js";
import { figure, span } from "./words.js";

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
    // the key is in a cookie by now; in the address it would be seen by whoever looks at the screen
    if (this.role !== null && location.search) history.replaceState(null, "", location.pathname);
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
      this.safely("plan", () =>
        this.plan.draw(
          one,
          one.station.aircraft.filter((other) => other !== one.aircraft).map((aircraft) => ({ aircraft })),
        ),
      );
      this.safely("blind", () => drawBlind(one.aircraft));
      this.safely("old", () => drawOld(one.station));
      this.safely("before", () =>
        document.body.classList.toggle("grounded", this.before.draw(one, this.role, this.can)),
      );
      this.safely("histories", () => this.drawHistories(one));
      this.safely("readings", () => this.drawReadings(one.aircraft));
    } else show(find("before"), false);
    const station = one?.station ?? stations[0] ?? null;
    // what is seen from the ground is about the one aircraft there is, or was opened; else about any
    const meant = chosen || station?.aircraft.length === 1 ? one?.aircraft.system : null;
    this.observer.draw(this.can, station?.station ?? null, meant ?? null);
    this.safely("said", () => drawSaid(stations));
    this.safely("exercise", () => drawExercise(stations));
    this.safely("about", () => drawAbout(stations, this.role));
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

  drawHistories({ aircraft, station }) {
    keyed(
      find("histories-list"),
      aircraft.histories.slice(0, 8),
      (history) => history.reading,
      (history) => {
        const made = new History();
        this.histories.set(history.reading, made);
        made.node.dataset.reading = history.reading;
        return made.node;
      },
      () => {},
    );
    for (const history of aircraft.histories.slice(0, 8))
      this.histories.get(history.reading).draw(history, station.elapsed_s);
  }

  drawReadings(aircraft = this.current()?.aircraft) {
    if (!find("readings").open || !aircraft) return;
    const rows = Object.entries(aircraft.readings).sort(([a], [b]) => a.localeCompare(b));
    keyed(
      find("readings-list"),
      rows,
      ([name]) => name,
      () => el("div", "", wordy("dt"), wordy("dd")),
      (node, [name, value]) => {
        put(node.firstElementChild, name, 60);
        put(node.lastElementChild, figure(value), 80);
      },
    );
  }

  current() {
    return everyone(this.stations).find((one) => nameOf(one) === this.opened);
  }

  drawTitle() {
    const levels = this.stations
      .flatMap((station) => [station, ...station.aircraft])
      .flatMap((one) => one.alerts)
      .filter((alert) => !alert.over)
      .map((alert) => alert.level);
    const count = (level) => levels.filter((one) => one === level).length;
    const parts = [];
    if (this.pictures?.lost) parts.push("NOT HEARD");
    for (const level of ["warning", "caution"])
      if (count(level)) parts.push(`${count(level)} ${level}${count(level) > 1 ? "s" : ""}`);
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
    // a watch that was ended by its crew is no alarm; that nobody watches is still said as large
    const ended = this.stations.length > 0 && this.stations.every((station) => station.state === "stopped");
    put(find("lost-head"), ended ? "The watch has been stopped" : "The watch is not heard");
    if (!ended) startCrying();
    this.drawLost();
    put(find("tell-now"), `Warning. ${find("lost-head").textContent}. All on this page is old.`);
    this.answer.tick(true);
    this.drawTitle();
    navigator.vibrate?.([300, 100, 300]);
  }

  drawLost() {
    if (!this.pictures?.lost) return;
    show(find("lost"), true);
    show(find("lost-quiet"), allowed() && crying() && this.ear.state !== "lost");
    const time = `${new Date(this.lostAt.wall).toISOString().slice(11, 19)} UTC`;
    put(
      find("lost-since"),
      this.lostNever ? `Nothing heard since this page was opened at ${time},` : `Last picture at ${time},`,
    );
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
