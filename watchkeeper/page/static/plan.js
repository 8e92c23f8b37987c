// A plan around home by range and bearing, north up. Nothing under it: no map, and nothing from a network.

import { clean, el, keyed, svg } from "./dom.js";
import { Labels } from "./labels.js";
import { defs, KEY, KINDS, swatch } from "./planmarks.js";
import { craft, reach, route, spots, track, zones } from "./planparts.js";
import { bearing, known, metres, span } from "./words.js";

const LEAST_M = 50;
const STEPS = [1, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 4, 5, 6, 7, 8.5, 10];
/** How far from home the plan shows: all that matters, in steps, and not jumping to and fro. */
export function farthest(aircraft, before_m) {
  const { place, surroundings: ground, reach_m: reach, track } = aircraft;
  const far = ([north, east]) => Math.hypot(north, east);
  const spots = [
    ...ground.points,
    ...ground.places,
    ...ground.obstacles.filter((one) => far([one.north_m, one.east_m]) < 1500),
  ];
  const named = Math.max(0, ...spots.map((one) => far([one.north_m, one.east_m]) + one.radius_m));
  const flown =
    place === null
      ? Math.max(0, ...track.slice(-1).map(far))
      : far([place.north_m, place.east_m]) + (place.doubt_m ?? 0);
  const needed = Math.max(LEAST_M, flown, Math.min(named, Math.max(4 * flown, 600)));
  const least = Math.min(...reach.filter(known), Infinity);
  const all = 1.1 * (Number.isFinite(least) && least < 1.6 * needed ? Math.max(needed, least) : needed);
  const ten = 10 ** Math.floor(Math.log10(all));
  const view = STEPS.map((step) => step * ten).find((step) => step >= all) ?? 10 * ten;
  return before_m >= all && before_m <= 2 * view ? before_m : view;
}

export class Plan {
  constructor() {
    this.holder = document.getElementById("plan-holder");
    this.key = document.getElementById("plan-key");
    this.picture = svg("svg", { class: "plan", role: "img" });
    this.holder.append(this.picture);
    this.view_m = 0;
    new ResizeObserver(() => this.again()).observe(this.holder);
  }

  draw(one, others) {
    const name = `${one.station.station}/${one.aircraft.system}`;
    if (name !== this.name) this.view_m = 0;
    this.name = name;
    this.one = one;
    this.others = others;
    this.again();
  }

  again() {
    const [w, h] = [this.holder.clientWidth, this.holder.clientHeight];
    if (this.one === undefined || w < 50 || h < 50) return;
    const { aircraft } = this.one;
    this.view_m = farthest(aircraft, this.view_m);
    this.em = parseFloat(getComputedStyle(this.picture).fontSize);
    Object.assign(this, { w, h, cx: w / 2, cy: h / 2, radius: Math.min(w, h) / 2 - this.em * 1.5 });
    this.labels = new Labels(w, h, this.em);
    this.used = new Set();
    const inner = svg("g", { "clip-path": "url(#plan-clip)" });
    inner.append(
      ...reach(this, aircraft),
      ...zones(this, aircraft),
      ...route(this, aircraft),
      ...track(this, aircraft),
    );
    const words = [];
    this.labels.keepFree(this.cx, this.cy, this.em * 0.6);
    const out = this.radius + this.em * 0.95;
    for (const [x, y] of [
      [0, -out],
      [out, 0],
      [0, out],
      [-out, 0],
    ])
      this.labels.keepFree(this.cx + x, this.cy + y, this.em * 0.6);
    const wind = this.wind(aircraft);
    const marks = [...spots(this, aircraft), ...craft(this, aircraft, words)];
    const rings = this.rings(words);
    this.picture.setAttribute("viewBox", `0 0 ${w} ${h}`);
    this.picture.setAttribute("aria-label", this.told(aircraft));
    this.picture.replaceChildren(
      defs(this.cx, this.cy, this.radius, this.em),
      ...rings,
      inner,
      ...marks,
      this.home(),
      ...this.texts(words),
      ...wind,
    );
    keyed(
      this.key,
      Object.keys(KEY).filter((kind) => this.used.has(kind)),
      (kind) => kind,
      (kind) => el("li", "", swatch(kind), el("span", "", KEY[kind])),
      () => {},
    );
  }

  at(north_m, east_m) {
    const scale = this.radius / this.view_m;
    const cut = (value) => Math.min(Math.max(value, -40 * this.view_m), 40 * this.view_m);
    return [this.cx + cut(east_m) * scale, this.cy - cut(north_m) * scale];
  }

  inside([x, y]) {
    return Math.hypot(x - this.cx, y - this.cy) <= this.radius + 1;
  }

  path(spots, closed) {
    return spots.length === 0
      ? ""
      : `M${spots.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L")}${closed ? "Z" : ""}`;
  }

  rings(words) {
    const ten = 10 ** Math.floor(Math.log10(this.view_m / 3));
    const step = Math.max(...[1, 2, 5].filter((f) => f * ten <= this.view_m / 2.4).map((f) => f * ten));
    const parts = [svg("circle", { class: "p-rim", cx: this.cx, cy: this.cy, r: this.radius })];
    for (let far = step; far < this.view_m * 0.98; far += step) {
      const r = (far / this.view_m) * this.radius;
      parts.push(svg("circle", { class: "p-ring", cx: this.cx, cy: this.cy, r }));
      const angles = [135, 225, 150, 210, 45, 315, 120, 60].map((deg) => (deg * Math.PI) / 180);
      const text = metres(far);
      const spot = angles
        .map((a) => [this.cx + r * Math.sin(a), this.cy - r * Math.cos(a)])
        .find(([x, y]) => {
          const w = this.labels.wide(text);
          return this.labels.covered([x - w / 2, y - this.em * 0.6, x + w / 2, y + this.em * 0.6]) === 0;
        });
      if (spot) {
        const w = this.labels.wide(text);
        this.labels.keepFree(spot[0], spot[1], this.em * 0.6);
        words.push({ text, x: spot[0] - w / 2, y: spot[1] + this.em * 0.35, css: "p-scale" });
      }
    }
    const rim = svg("path", { class: "p-rim", d: "" });
    let d = "";
    for (let deg = 0; deg < 360; deg += 30) {
      const [s, c] = [Math.sin((deg * Math.PI) / 180), Math.cos((deg * Math.PI) / 180)];
      const long = this.em * (deg % 90 ? 0.3 : 0.5);
      d += `M${this.cx + this.radius * s} ${this.cy - this.radius * c}L${this.cx + (this.radius + long) * s} ${this.cy - (this.radius + long) * c}`;
    }
    rim.setAttribute("d", d);
    parts.push(rim);
    const out = this.radius + this.em * 0.95;
    for (const [name, x, y] of [
      ["N", 0, -out],
      ["E", out, 0],
      ["S", 0, out],
      ["W", -out, 0],
    ]) {
      words.push({
        text: name,
        x: this.cx + x,
        y: this.cy + y + this.em * 0.36,
        css: "p-compass",
        anchor: "middle",
      });
    }
    return parts;
  }

  /** A place beyond the plan is drawn at its rim. */
  edge([x, y]) {
    const far = Math.hypot(x - this.cx, y - this.cy);
    const f = far > this.radius ? this.radius / far : 1;
    return [this.cx + (x - this.cx) * f, this.cy + (y - this.cy) * f];
  }

  home() {
    const r = this.em * 0.5;
    return svg("path", { class: "p-home", d: `M${this.cx} ${this.cy - r}l${r} ${r}l${-r} ${r}l${-r} ${-r}Z` });
  }

  texts(words) {
    return words.map(({ text, x, y, css, anchor }) => {
      const node = svg("text", { x: x.toFixed(1), y: y.toFixed(1), class: css, "text-anchor": anchor ?? "start" });
      node.textContent = text;
      return node;
    });
  }

  wind(aircraft) {
    const { wind_speed_m_s: speed, wind_from_deg: from } = aircraft;
    const words =
      known(speed) && known(from)
        ? ["Wind", `${speed.toFixed(0)} m/s`, `from ${bearing(from)}`]
        : ["Wind", "not known"];
    const parts = words.map((text, n) => {
      const node = svg("text", { x: 2, y: this.em * (0.95 + n * 1.15), class: n ? "" : "p-name" });
      node.textContent = text;
      return node;
    });
    const high = this.em * 1.15 * words.length;
    this.labels.taken.push([0, 0, this.em * 5.5, high + this.em * 3]);
    if (known(speed) && known(from)) {
      const [x, y, r] = [this.em * 1.7, high + this.em * 1.7, this.em * 1.3];
      const turn = svg("g", { transform: `translate(${x} ${y}) rotate(${from + 180})` });
      turn.append(
        svg("path", {
          class: "p-wind",
          d: `M0 ${r}V${-r}M${-r * 0.45} ${-r * 0.45}L0 ${-r}L${r * 0.45} ${-r * 0.45}M${-r * 0.4} ${r}H${r * 0.4}`,
        }),
      );
      parts.push(turn);
    }
    return parts;
  }

  /** The plan in words. */
  told(aircraft) {
    const { place, answer, surroundings: ground } = aircraft;
    const parts = [`Plan around home, ${metres(this.view_m)} to its rim.`];
    if (place !== null) {
      parts.push(
        `${clean(aircraft.name, 40)} ${place.forecast ? `not heard for ${span(place.age_s)}, should be` : "is"} ${metres(answer.distance_m)} away, bearing ${bearing(answer.bearing_deg)}, height ${metres(place.height_m)}.`,
      );
    } else parts.push("Where it is is not known.");
    const list = (spots) =>
      spots
        .slice(0, 12)
        .map(
          (one) =>
            `${clean(one.name, 40)} ${metres(Math.hypot(one.north_m, one.east_m))} ${bearing((Math.atan2(one.east_m, one.north_m) * 180) / Math.PI)}`,
        )
        .join(", ");
    if (ground.obstacles.length) parts.push(`Obstacles: ${list(ground.obstacles)}.`);
    if (ground.places.length) parts.push(`Landing places: ${list(ground.places)}.`);
    if (ground.zones.length)
      parts.push(
        `Areas: ${ground.zones
          .slice(0, 12)
          .map((zone) => `${clean(zone.name, 40)}, ${KINDS[zone.kind] ?? ""}`)
          .join("; ")}.`,
      );
    return parts.join(" ");
  }
}
