// Signs on the observer's buttons; each stands beside its word.

import { svg } from "./dom.js";

const PATHS = {
  people: [
    "M8 3.5a2.6 2.6 0 1 0 .01 0",
    "M3 21v-5.5a5 5 0 0 1 10 0V21",
    "M17.5 6a2.2 2.2 0 1 0 .01 0",
    "M16 13.2a4 4 0 0 1 5.5 3.6V21",
  ],
  traffic: ["M12 2.5v19", "M12 8L2 14M12 8l10 6", "M12 18l-4 3M12 18l4 3"],
  lost_sight: ["M2 12c5-8 15-8 20 0c-5 8-15 8-20 0Z", "M4 3.5l16 17"],
  stop: ["M8 2.5h8L21.5 8v8L16 21.5H8L2.5 16V8Z", "M8 12h8"],
};

export function icon(name) {
  return svg(
    "svg",
    { viewBox: "0 0 24 24", class: "icon", "aria-hidden": "true", focusable: "false" },
    ...(PATHS[name] ?? []).map((d) => svg("path", { d })),
  );
}
