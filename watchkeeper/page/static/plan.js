// A plan around home by range and bearing, north up. Nothing under it: no map, and nothing from a network.

import { clean, el, keyed, svg } from "./dom.js";
import { Labels } from "./labels.js";
import { bearing, known, metres, span } from "./words.js";

const LEAST_M = 50;
const STEPS = [1, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 4, 5, 6, 7, 8.5, 10];
const KINDS = { boundary: "stay within", keep_out: "keep out", people: "people" };
const KEY = {
  track: "flown",
  reach: "can get home from within",
  route: "planned",
  boundary: KINDS.boundary,
  keep_out: KINDS.keep_out,
  people: KINDS.people,
  obstacle: "obstacle, top above home",
  landing: "landing place",
  falls: "where it would fall",
  forecast: "not heard: where it should be",
  other: "other aircraft",
};

/** How far from home the plan shows: all that matters, in steps, and not jumping to and fro. */
export function farthest(aircraft, before_m) {
  const { place, surroundings: ground, reach_m: reach, track } = aircraft;
  const far = ([north, east]) => Math.hypot(north, east);
  const spots = [...ground.points, ...ground.places, ...ground.obstacles.filter((one) => far([one.north_m, one.east_m]) < 1500)];
  const named = Math.max(0, ...spots.map((one) => far([one.north_m, one.east_m]) + one.radius_m));
  const flown = place === null ? Math.max(0, ...track.slice(-1).map(far)) : far([place.north_m, place.east_m]) + (place.doubt_m ?? 0);
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
    inner.append(...this.reach(aircraft), ...this.zones(aircraft), ...this.route(aircraft), ...this.track(aircraft));
    const words = [];
    this.labels.keepFree(this.cx, this.cy, this.em * 0.6);
    const out = this.radius + this.em * 0.95;
    for (const [x, y] of [[0, -out], [out, 0], [0, out], [-out, 0]]) this.labels.keepFree(this.cx + x, this.cy + y, this.em * 0.6);
    const wind = this.wind(aircraft);
    const marks = [...this.spots(aircraft), ...this.craft(aircraft, words)];
    const rings = this.rings(words);
    this.picture.setAttribute("viewBox", `0 0 ${w} ${h}`);
    this.picture.setAttribute("aria-label", this.told(aircraft));
    this.picture.replaceChildren(defs(this.cx, this.cy, this.radius), ...rings, inner, ...marks, this.home(), ...this.texts(words), ...wind);
    keyed(this.key, Object.keys(KEY).filter((kind) => this.used.has(kind)), (kind) => kind, (kind) => el("li", "", swatch(kind), el("span", "", KEY[kind])), () => {});
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
    return spots.length === 0 ? "" : `M${spots.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L")}${closed ? "Z" : ""}`;
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
      const spot = angles.map((a) => [this.cx + r * Math.sin(a), this.cy - r * Math.cos(a)]).find(([x, y]) => {
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
    for (const [name, x, y] of [["N", 0, -out], ["E", out, 0], ["S", 0, out], ["W", -out, 0]]) {
      words.push({ text: name, x: this.cx + x, y: this.cy + y + this.em * 0.36, css: "p-compass", anchor: "middle" });
    }
    return parts;
  }

  reach(aircraft) {
    const far = aircraft.reach_m;
    if (far.length < 3 || !far.every(known)) return [];
    const spots = far.map((m, n) => {
      const angle = (2 * Math.PI * n) / far.length;
      return this.at(m * Math.cos(angle), m * Math.sin(angle));
    });
    this.used.add("reach");
    return [svg("path", { class: "p-reach", d: this.path(spots, true) })];
  }

  zones(aircraft) {
    return aircraft.surroundings.zones.filter((zone) => zone.corners.length >= 3).map((zone) => {
      this.used.add(zone.kind);
      return svg("path", { class: `p-area p-${zone.kind}`, d: this.path(zone.corners.map(([n, e]) => this.at(n, e)), true) });
    });
  }

  route(aircraft) {
    const { points } = aircraft.surroundings;
    if (points.length === 0) return [];
    this.used.add("route");
    const spots = [[this.cx, this.cy], ...points.map((one) => this.at(one.north_m, one.east_m))];
    return [
      svg("path", { class: "p-route", d: this.path(spots, false) }),
      ...spots.slice(1).map(([x, y]) => svg("path", { class: "p-point", d: `M${x - 4} ${y - 4}h8v8h-8Z` })),
    ];
  }

  track(aircraft) {
    if (aircraft.track.length < 2) return [];
    this.used.add("track");
    const spots = aircraft.track.map(([n, e]) => this.at(n, e));
    if (aircraft.place !== null && !aircraft.place.forecast) spots.push(this.at(aircraft.place.north_m, aircraft.place.east_m));
    return [svg("path", { class: "p-track", d: this.path(spots, false) })];
  }

  /** Obstacles, landing places, names of areas and points. */
  spots(aircraft) {
    const { obstacles, places, zones, points } = aircraft.surroundings;
    const parts = [];
    const named = [];
    const size = this.em * 0.55;
    for (const one of obstacles) {
      const [x, y] = this.at(one.north_m, one.east_m);
      if (!this.inside([x, y])) continue;
      this.used.add("obstacle");
      const r = (one.radius_m / this.view_m) * this.radius;
      if (r > 2) parts.push(svg("circle", { class: "p-girth", cx: x, cy: y, r }));
      parts.push(svg("path", { class: "p-peak", d: `M${x - size * 0.8} ${y + size}L${x} ${y - size}L${x + size * 0.8} ${y + size}` }), svg("circle", { class: "p-dot", cx: x, cy: y + size * 0.5, r: 1.7 }));
      named.push([[`${short(one.name)} ${known(one.height_m) ? `${Math.round(one.height_m)} m` : "height?"}`], x, y, size, "p-name", true]);
    }
    for (const one of places) {
      const [x, y] = this.at(one.north_m, one.east_m);
      if (!this.inside([x, y])) continue;
      this.used.add("landing");
      parts.push(landing(x, y, size));
      named.push([[short(one.name)], x, y, size, "p-name", true]);
    }
    for (const [, x, y, r] of named) this.labels.keepFree(x, y, r);
    this.later = [];
    for (const zone of zones) {
      const seen = zone.corners.map(([n, e]) => this.at(n, e)).filter((spot) => this.inside(spot));
      if (seen.length === 0) continue;
      const spot = zone.kind === "boundary" ? seen.reduce((a, b) => (b[1] > a[1] ? b : a)) : [mean(seen, 0), mean(seen, 1)];
      // beside an area that its name would cover, else in it
      const wide = Math.max(...seen.map(([x, y]) => Math.max(Math.abs(x - spot[0]), Math.abs(y - spot[1]))));
      const beside = zone.kind !== "boundary" && wide < this.em * 5;
      if (beside) this.labels.keepFree(...spot, wide * 0.8);
      this.later.push([[`${short(zone.name)}: ${KINDS[zone.kind] ?? zone.kind}`], ...spot, beside ? wide : 0, "p-area-name", true]);
    }
    for (const one of points) {
      const [x, y] = this.at(one.north_m, one.east_m);
      if (this.inside([x, y])) this.later.push([[short(one.name)], x, y, 5, "p-small", false]);
    }
    this.named = named;
    return parts;
  }

  /** The aircraft, or where it should be; where it would fall; others of the station. */
  craft(aircraft, words) {
    const parts = [];
    const { place } = aircraft;
    const r = this.em * 0.45;
    const mine = [];
    if (place !== null) {
      const [x, y] = this.edge(this.at(place.north_m, place.east_m));
      if (place.falls !== null && place.falls !== undefined) {
        const [fx, fy] = this.at(place.falls.north_m, place.falls.east_m);
        if (this.inside([fx, fy])) {
          this.used.add("falls");
          const girth = Math.max(r * 0.9, (place.falls.radius_m / this.view_m) * this.radius);
          parts.push(svg("path", { class: "p-falls", d: `M${x} ${y}L${fx} ${fy}` }), svg("circle", { class: "p-falls", cx: fx, cy: fy, r: girth }), cross(fx, fy, r * 0.7));
          this.labels.keepFree(fx, fy, r);
        }
      }
      if (place.forecast) {
        this.used.add("forecast");
        const doubt = known(place.doubt_m) ? (place.doubt_m / this.view_m) * this.radius : 0;
        if (doubt > r) parts.push(svg("circle", { class: "p-doubt", cx: x, cy: y, r: Math.min(doubt, 4 * this.radius), "clip-path": "url(#plan-clip)" }));
        const last = aircraft.track.at(-1);
        if (last) {
          const [lx, ly] = this.at(...last);
          parts.push(svg("path", { class: "p-doubt", d: `M${lx} ${ly}L${x} ${y}` }), svg("circle", { class: "p-last", cx: lx, cy: ly, r: r * 0.8 }));
          mine.push([["last heard here"], lx, ly, r, "p-small", true]);
        }
        parts.push(svg("circle", { class: "p-craft p-unheard", cx: x, cy: y, r: r * 1.3 }));
      } else {
        if (known(place.course_deg) && known(place.speed_m_s) && place.speed_m_s > 0.5) {
          const angle = (place.course_deg * Math.PI) / 180;
          const long = r + Math.max(this.em, Math.min(this.em * 4, ((place.speed_m_s * 20) / this.view_m) * this.radius));
          parts.push(svg("path", { class: "p-course", d: `M${x} ${y}l${long * Math.sin(angle)} ${-long * Math.cos(angle)}` }));
        }
        parts.push(svg("circle", { class: "p-craft", cx: x, cy: y, r: r * 1.15 }));
      }
      const lines = [short(aircraft.name), known(place.height_m) ? `${Math.round(place.height_m)} m high` : "height not known"];
      if (place.forecast) lines.push(known(place.doubt_m) ? `give or take ${metres(place.doubt_m)}` : "in doubt");
      mine.unshift([lines, x, y, r * 1.5, "p-own", true]);
      this.labels.keepFree(x, y, r * 1.3);
    }
    for (const { aircraft: other } of this.others) {
      if (!other.place) continue;
      const [x, y] = this.at(other.place.north_m, other.place.east_m);
      if (!this.inside([x, y])) continue;
      this.used.add("other");
      parts.push(svg("circle", { class: "p-other", cx: x, cy: y, r: r * 0.9 }));
      this.labels.keepFree(x, y, r);
      mine.push([[short(other.name)], x, y, r, "p-small", true]);
    }
    for (const [lines, x, y, radius, css, needed] of [...mine, ...this.named, [["home"], this.cx, this.cy, this.em * 0.6, "p-name", false], ...this.later]) {
      const spot = this.labels.place(lines, x, y, radius, needed);
      if (spot === null) continue;
      if (spot.leader) parts.push(svg("path", { class: "p-leader", d: `M${x} ${y}L${spot.leader[0]} ${spot.leader[1]}` }));
      lines.forEach((text, n) => words.push({ text, x: spot.x, y: spot.y + n * this.em * 1.15, css: n === 0 ? css : `${css} p-more` }));
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
    const words = known(speed) && known(from) ? ["Wind", `${speed.toFixed(0)} m/s`, `from ${bearing(from)}`] : ["Wind", "not known"];
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
      turn.append(svg("path", { class: "p-wind", d: `M0 ${r}V${-r}M${-r * 0.45} ${-r * 0.45}L0 ${-r}L${r * 0.45} ${-r * 0.45}` }));
      parts.push(turn);
    }
    return parts;
  }

  /** The plan in words. */
  told(aircraft) {
    const { place, answer, surroundings: ground } = aircraft;
    const parts = [`Plan around home, ${metres(this.view_m)} to its rim.`];
    if (place !== null) {
      parts.push(`${clean(aircraft.name, 40)} ${place.forecast ? `not heard for ${span(place.age_s)}, should be` : "is"} ${metres(answer.distance_m)} away, bearing ${bearing(answer.bearing_deg)}, height ${metres(place.height_m)}.`);
    } else parts.push("Where it is is not known.");
    const list = (spots) => spots.slice(0, 12).map((one) => `${clean(one.name, 40)} ${metres(Math.hypot(one.north_m, one.east_m))} ${bearing((Math.atan2(one.east_m, one.north_m) * 180) / Math.PI)}`).join(", ");
    if (ground.obstacles.length) parts.push(`Obstacles: ${list(ground.obstacles)}.`);
    if (ground.places.length) parts.push(`Landing places: ${list(ground.places)}.`);
    if (ground.zones.length) parts.push(`Areas: ${ground.zones.slice(0, 12).map((zone) => `${clean(zone.name, 40)}, ${KINDS[zone.kind] ?? ""}`).join("; ")}.`);
    return parts.join(" ");
  }
}

const mean = (spots, k) => spots.reduce((sum, spot) => sum + spot[k], 0) / spots.length;
const short = (name) => clean(name, 22).replace(/ … \(cut.*/, "…");
const cross = (x, y, r) => svg("path", { class: "p-cross", d: `M${x - r} ${y - r}l${2 * r} ${2 * r}m0 ${-2 * r}l${-2 * r} ${2 * r}` });
const landing = (x, y, r) => svg("path", { class: "p-place", d: `M${x - r} ${y - r}v${2 * r}h${2 * r}v${-2 * r}M${x} ${y - r * 1.2}v${r * 1.6}m${-r * 0.5} ${-r * 0.5}l${r * 0.5} ${r * 0.5}l${r * 0.5} ${-r * 0.5}` });

function defs(cx, cy, r) {
  const clip = svg("clipPath", { id: "plan-clip" }, svg("circle", { cx, cy, r }));
  return svg("defs", {}, clip, ...patterns());
}

function patterns() {
  const keepOut = svg("pattern", { id: "hatch-keep_out", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, svg("path", { class: "p-hatch", d: "M0 0V7" }));
  const people = svg("pattern", { id: "hatch-people", width: 8, height: 8, patternUnits: "userSpaceOnUse" }, svg("circle", { class: "p-dot", cx: 2, cy: 2, r: 1.3 }), svg("circle", { class: "p-dot", cx: 6, cy: 6, r: 1.3 }));
  return [keepOut, people];
}

/** A small piece of what the plan draws, for the key. */
function swatch(kind) {
  const box = svg("svg", { viewBox: "0 0 28 18", class: "swatch", "aria-hidden": "true" });
  const line = (css) => svg("path", { class: css, d: "M1 13L10 6L18 11L27 4" });
  const parts = {
    track: () => [line("p-track")],
    reach: () => [svg("path", { class: "p-reach", d: "M2 20C2 0 26 0 26 20" })],
    route: () => [line("p-route"), svg("path", { class: "p-point", d: "M6 2h8v8h-8Z" })],
    boundary: () => [svg("path", { class: "p-area p-boundary", d: "M2 2h24v14h-24Z" })],
    keep_out: () => [svg("path", { class: "p-area p-keep_out", d: "M2 2h24v14h-24Z" })],
    people: () => [svg("path", { class: "p-area p-people", d: "M2 2h24v14h-24Z" })],
    obstacle: () => [svg("path", { class: "p-peak", d: "M8 16L14 2L20 16" }), svg("circle", { class: "p-dot", cx: 14, cy: 12, r: 1.7 })],
    landing: () => [landing(14, 10, 7)],
    falls: () => [svg("circle", { class: "p-falls", cx: 14, cy: 9, r: 8 }), cross(14, 9, 4)],
    forecast: () => [svg("circle", { class: "p-doubt", cx: 14, cy: 9, r: 8 }), svg("circle", { class: "p-craft p-unheard", cx: 14, cy: 9, r: 4 })],
    other: () => [svg("circle", { class: "p-other", cx: 14, cy: 9, r: 5 })],
  };
  box.append(...parts[kind]());
  return box;
}
