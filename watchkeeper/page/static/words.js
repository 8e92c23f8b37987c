// Numbers as words, and the page's own words. Unknown is said, never left out.

export const UNKNOWN = "not known";
export const LEVELS = { warning: "Warning", caution: "Caution", advisory: "Advisory" };
export const PHASES = {
  on_ground: "on the ground",
  armed: "motors armed",
  taking_off: "taking off",
  airborne: "in the air",
  returning: "returning",
  landing: "landing",
  landed: "landed",
};
export const SIGHTED = {
  people: "People entering",
  traffic: "Traffic",
  lost_sight: "Lost sight",
  stop: "Stop",
};
export const ROLES = { pilot: "Pilot", observer: "Observer", post: "Command post" };

export const known = (value) => typeof value === "number" && Number.isFinite(value);

/** 3:07, 1:02:07; the sign is left to the words around it. */
export function clock(seconds) {
  if (!known(seconds)) return UNKNOWN;
  const whole = Math.floor(Math.abs(seconds));
  const [h, m, s] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
  const two = (n) => String(n).padStart(2, "0");
  return h ? `${h}:${two(m)}:${two(s)}` : `${m}:${two(s)}`;
}

/** A span in words: 8 s, 3 min, 2 h. */
export function span(seconds) {
  if (!known(seconds)) return UNKNOWN;
  const whole = Math.max(0, Math.floor(seconds));
  if (whole < 100) return `${whole} s`;
  if (whole < 6000) return `${Math.floor(whole / 60)} min`;
  return whole < 360000 ? `${Math.floor(whole / 3600)} h` : `${Math.floor(whole / 86400)} days`;
}

export function metres(m) {
  if (!known(m)) return UNKNOWN;
  return Math.abs(m) < 1000 ? `${Math.round(m)} m` : `${(m / 1000).toFixed(Math.abs(m) < 10000 ? 2 : 1)} km`;
}

export function bearing(deg) {
  if (!known(deg)) return UNKNOWN;
  return `${String(((Math.round(deg) % 360) + 360) % 360).padStart(3, "0")}°`;
}

/** A number of a reading with about three figures. */
export function figure(value) {
  if (value === null || value === undefined) return UNKNOWN;
  if (typeof value === "boolean") return value ? "yes" : "no";
  if (!known(value)) return String(value);
  const size = Math.abs(value);
  return value.toFixed(size >= 100 || Number.isInteger(value) ? 0 : size >= 10 ? 1 : 2);
}

/** The time of day in UTC out of a time stamp; "?" for what is none. */
export function utc(stamp) {
  const found = /T(\d\d:\d\d:\d\d)/.exec(String(stamp));
  return found ? found[1] : "?";
}

/** Seconds from one time stamp to another; NaN where one is none. */
export function between(from, to) {
  return (Date.parse(to) - Date.parse(from)) / 1000;
}

/** What stands behind the name of a unit in a model. */
export function unit(name) {
  return { "%": "%", degC: "°C", deg: "°", count: "" }[name] ?? name;
}
