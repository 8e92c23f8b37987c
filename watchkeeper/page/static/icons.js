// Signs on the observer's buttons; each stands beside its word.

import { svg } from "./dom.js";

const PATHS = {
  people: ["M8 8m-3 0a3 3 0 1 0 6 0a3 3 0 1 0 -6 0", "M3 21v-4a5 5 0 0 1 10 0v4", "M21 21v-9m-3.5 3.5l3.5-3.5M15 15"],
  traffic: ["M3 15l18-8", "M9 5l4 6", "M10 19l1-7", "M3 21h18"],
  lost_sight: ["M2 12c5-8 15-8 20 0c-5 8-15 8-20 0Z", "M4 4l16 16"],
  stop: ["M5 12h14", "M5 4v16M19 4v16"],
};

export function icon(name) {
  return svg(
    "svg",
    { viewBox: "0 0 24 24", class: "icon", "aria-hidden": "true", focusable: "false" },
    ...(PATHS[name] ?? []).map((d) => svg("path", { d })),
  );
}
