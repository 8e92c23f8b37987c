// The parts of the plan: what lies around, what was flown, the aircraft.

import { clean, svg } from "./dom.js";
import { cross, KINDS, landing } from "./planmarks.js";
import { known, metres } from "./words.js";

export function reach(plan, aircraft) {
  const far = aircraft.reach_m;
  if (far.length < 3 || !far.every(known)) return [];
  const spots = far.map((m, n) => {
    const angle = (2 * Math.PI * n) / far.length;
    return plan.at(m * Math.cos(angle), m * Math.sin(angle));
  });
  plan.used.add("reach");
  return [svg("path", { class: "p-reach", d: plan.path(spots, true) })];
}

export function zones(plan, aircraft) {
  return aircraft.surroundings.zones
    .filter((zone) => zone.corners.length >= 3)
    .map((zone) => {
      plan.used.add(zone.kind);
      return svg("path", {
        class: `p-area p-${zone.kind}`,
        d: plan.path(
          zone.corners.map(([n, e]) => plan.at(n, e)),
          true,
        ),
      });
    });
}

export function route(plan, aircraft) {
  const { points } = aircraft.surroundings;
  if (points.length === 0) return [];
  plan.used.add("route");
  const spots = [[plan.cx, plan.cy], ...points.map((one) => plan.at(one.north_m, one.east_m))];
  return [
    svg("path", { class: "p-route", d: plan.path(spots, false) }),
    ...spots.slice(1).map(([x, y]) =>
      svg("path", {
        class: "p-point",
        d: `M${x - plan.em * 0.28} ${y - plan.em * 0.28}h${plan.em * 0.56}v${plan.em * 0.56}h${-plan.em * 0.56}Z`,
      }),
    ),
  ];
}

export function track(plan, aircraft) {
  if (aircraft.track.length < 2) return [];
  plan.used.add("track");
  const spots = aircraft.track.map(([n, e]) => plan.at(n, e));
  if (aircraft.place !== null && !aircraft.place.forecast)
    spots.push(plan.at(aircraft.place.north_m, aircraft.place.east_m));
  return [svg("path", { class: "p-track", d: plan.path(spots, false) })];
}

/** Obstacles, landing places, names of areas and points. */
export function spots(plan, aircraft) {
  const { obstacles, places, zones, points } = aircraft.surroundings;
  const parts = [];
  const named = [];
  const size = plan.em * 0.55;
  for (const one of obstacles) {
    const [x, y] = plan.at(one.north_m, one.east_m);
    if (!plan.inside([x, y])) continue;
    plan.used.add("obstacle");
    const r = (one.radius_m / plan.view_m) * plan.radius;
    if (r > 2) parts.push(svg("circle", { class: "p-girth", cx: x, cy: y, r }));
    parts.push(
      svg("path", {
        class: "p-peak",
        d: `M${x - size * 0.8} ${y + size}L${x} ${y - size}L${x + size * 0.8} ${y + size}`,
      }),
      svg("circle", { class: "p-dot", cx: x, cy: y + size * 0.5, r: size * 0.22 }),
    );
    named.push([
      [`${short(one.name)} ${known(one.height_m) ? `${Math.round(one.height_m)} m` : "height?"}`],
      x,
      y,
      size,
      "p-name",
      true,
    ]);
  }
  for (const one of places) {
    const [x, y] = plan.at(one.north_m, one.east_m);
    if (!plan.inside([x, y])) continue;
    plan.used.add("landing");
    parts.push(landing(x, y, size));
    named.push([[short(one.name)], x, y, size, "p-name", true]);
  }
  for (const [, x, y, r] of named) plan.labels.keepFree(x, y, r);
  plan.later = [];
  for (const zone of zones) {
    const seen = zone.corners.map(([n, e]) => plan.at(n, e)).filter((spot) => plan.inside(spot));
    if (seen.length === 0) continue;
    const spot =
      zone.kind === "boundary" ? seen.reduce((a, b) => (b[1] > a[1] ? b : a)) : [mean(seen, 0), mean(seen, 1)];
    // beside an area that its name would cover, else in it
    const wide = Math.max(...seen.map(([x, y]) => Math.max(Math.abs(x - spot[0]), Math.abs(y - spot[1]))));
    const beside = zone.kind !== "boundary" && wide < plan.em * 5;
    if (beside) plan.labels.keepFree(...spot, wide * 0.8);
    plan.later.push([
      [`${short(zone.name)}: ${KINDS[zone.kind] ?? zone.kind}`],
      ...spot,
      beside ? wide : 0,
      "p-area-name",
      true,
    ]);
  }
  for (const one of points) {
    const [x, y] = plan.at(one.north_m, one.east_m);
    if (plan.inside([x, y])) plan.later.push([[short(one.name)], x, y, 5, "p-small", false]);
  }
  plan.named = named;
  return parts;
}

/** The aircraft, or where it should be; where it would fall; others of the station. */
export function craft(plan, aircraft, words) {
  const parts = [];
  const { place } = aircraft;
  const r = plan.em * 0.45;
  const mine = [];
  if (place !== null) {
    const [x, y] = plan.edge(plan.at(place.north_m, place.east_m));
    if (place.falls !== null && place.falls !== undefined) {
      const [fx, fy] = plan.at(place.falls.north_m, place.falls.east_m);
      if (plan.inside([fx, fy])) {
        plan.used.add("falls");
        const girth = Math.max(r * 0.9, (place.falls.radius_m / plan.view_m) * plan.radius);
        parts.push(
          svg("path", { class: "p-falls", d: `M${x} ${y}L${fx} ${fy}` }),
          svg("circle", { class: "p-falls", cx: fx, cy: fy, r: girth }),
          cross(fx, fy, r * 0.7),
        );
        plan.labels.keepFree(fx, fy, r);
      }
    }
    if (place.forecast) {
      plan.used.add("forecast");
      const doubt = known(place.doubt_m) ? (place.doubt_m / plan.view_m) * plan.radius : 0;
      if (doubt > r)
        parts.push(
          svg("circle", {
            class: "p-doubt",
            cx: x,
            cy: y,
            r: Math.min(doubt, 4 * plan.radius),
            "clip-path": "url(#plan-clip)",
          }),
        );
      const last = aircraft.track.at(-1);
      if (last) {
        const [lx, ly] = plan.at(...last);
        parts.push(
          svg("path", { class: "p-doubt", d: `M${lx} ${ly}L${x} ${y}` }),
          svg("circle", { class: "p-last", cx: lx, cy: ly, r: r * 0.8 }),
        );
        mine.push([["last heard here"], lx, ly, r, "p-small", true]);
      }
      parts.push(svg("circle", { class: "p-craft p-unheard", cx: x, cy: y, r: r * 1.3 }));
    } else {
      if (known(place.course_deg) && known(place.speed_m_s) && place.speed_m_s > 0.5) {
        const angle = (place.course_deg * Math.PI) / 180;
        const long =
          r + Math.max(plan.em, Math.min(plan.em * 4, ((place.speed_m_s * 20) / plan.view_m) * plan.radius));
        parts.push(
          svg("path", {
            class: "p-course",
            d: `M${x} ${y}l${long * Math.sin(angle)} ${-long * Math.cos(angle)}`,
          }),
        );
      }
      parts.push(svg("circle", { class: "p-craft", cx: x, cy: y, r: r * 1.15 }));
    }
    const lines = [
      short(aircraft.name),
      known(place.height_m) ? `${Math.round(place.height_m)} m high` : "height not known",
    ];
    if (place.forecast) lines.push(known(place.doubt_m) ? `give or take ${metres(place.doubt_m)}` : "in doubt");
    mine.unshift([lines, x, y, r * 1.5, "p-own", true]);
    plan.labels.keepFree(x, y, r * 1.3);
  }
  for (const { aircraft: other } of plan.others) {
    if (!other.place) continue;
    const [x, y] = plan.at(other.place.north_m, other.place.east_m);
    if (!plan.inside([x, y])) continue;
    plan.used.add("other");
    parts.push(svg("circle", { class: "p-other", cx: x, cy: y, r: r * 0.9 }));
    plan.labels.keepFree(x, y, r);
    mine.push([[short(other.name)], x, y, r, "p-small", true]);
  }
  for (const [lines, x, y, radius, css, needed] of [
    ...mine,
    ...plan.named,
    [["home"], plan.cx, plan.cy, plan.em * 0.6, "p-name", false],
    ...plan.later,
  ]) {
    const spot = plan.labels.place(lines, x, y, radius, needed);
    if (spot === null) continue;
    if (spot.leader)
      parts.push(svg("path", { class: "p-leader", d: `M${x} ${y}L${spot.leader[0]} ${spot.leader[1]}` }));
    lines.forEach((text, n) =>
      words.push({ text, x: spot.x, y: spot.y + n * plan.em * 1.15, css: n === 0 ? css : `${css} p-more` }),
    );
  }
  return parts;
}

const mean = (spots, k) => spots.reduce((sum, spot) => sum + spot[k], 0) / spots.length;
const short = (name) => clean(name, 22).replace(/ … \(cut.*/, "…");
