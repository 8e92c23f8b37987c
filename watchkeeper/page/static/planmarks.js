// What the plan is drawn with: marks, patterns, and the key that explains them.

import { svg } from "./dom.js";

export const KINDS = { boundary: "stay within", keep_out: "keep out", people: "people" };
export const KEY = {
  track: "flown",
  reach: "can get home from within, reserve kept",
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

export const cross = (x, y, r) =>
  svg("path", { class: "p-cross", d: `M${x - r} ${y - r}l${2 * r} ${2 * r}m0 ${-2 * r}l${-2 * r} ${2 * r}` });
/** A foot coming down on a line, as on the plot of the brief. */
export const landing = (x, y, r) =>
  svg("path", {
    class: "p-place",
    d: `M${x - r} ${y + r * 0.7}h${2 * r}M${x} ${y - r}v${r * 1.25}M${x - r * 0.55} ${y - r * 0.3}l${r * 0.55} ${r * 0.55}l${r * 0.55} ${-r * 0.55}`,
  });

export function defs(cx, cy, r, em) {
  const clip = svg("clipPath", { id: "plan-clip" }, svg("circle", { cx, cy, r }));
  return svg("defs", {}, clip, ...patterns(em));
}

function patterns(em) {
  const [seven, eight] = [em * 0.5, em * 0.56];
  const keepOut = svg(
    "pattern",
    {
      id: "hatch-keep_out",
      width: seven,
      height: seven,
      patternUnits: "userSpaceOnUse",
      patternTransform: "rotate(45)",
    },
    svg("path", { class: "p-hatch", d: `M0 0V${seven}` }),
  );
  const people = svg(
    "pattern",
    { id: "hatch-people", width: eight, height: eight, patternUnits: "userSpaceOnUse" },
    svg("circle", { class: "p-dot", cx: eight / 4, cy: eight / 4, r: eight / 6 }),
    svg("circle", { class: "p-dot", cx: eight * 0.75, cy: eight * 0.75, r: eight / 6 }),
  );
  return [keepOut, people];
}

/** A small piece of what the plan draws, for the key. */
export function swatch(kind) {
  const box = svg("svg", { viewBox: "0 0 28 18", class: "swatch", "aria-hidden": "true" });
  const line = (css) => svg("path", { class: css, d: "M1 13L10 6L18 11L27 4" });
  const parts = {
    track: () => [line("p-track")],
    reach: () => [svg("path", { class: "p-reach", d: "M2 20C2 0 26 0 26 20" })],
    route: () => [line("p-route"), svg("path", { class: "p-point", d: "M6 2h8v8h-8Z" })],
    boundary: () => [svg("path", { class: "p-area p-boundary", d: "M2 2h24v14h-24Z" })],
    keep_out: () => [svg("path", { class: "p-area p-keep_out", d: "M2 2h24v14h-24Z" })],
    people: () => [svg("path", { class: "p-area p-people", d: "M2 2h24v14h-24Z" })],
    obstacle: () => [
      svg("path", { class: "p-peak", d: "M8 16L14 2L20 16" }),
      svg("circle", { class: "p-dot", cx: 14, cy: 12, r: 1.7 }),
    ],
    landing: () => [landing(14, 10, 7)],
    falls: () => [svg("circle", { class: "p-falls", cx: 14, cy: 9, r: 8 }), cross(14, 9, 4)],
    forecast: () => [
      svg("circle", { class: "p-doubt", cx: 14, cy: 9, r: 8 }),
      svg("circle", { class: "p-craft p-unheard", cx: 14, cy: 9, r: 4 }),
    ],
    other: () => [svg("circle", { class: "p-other", cx: 14, cy: 9, r: 5 })],
  };
  box.append(...parts[kind]());
  return box;
}
