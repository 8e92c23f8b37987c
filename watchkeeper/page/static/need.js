// Which aircraft needs somebody most, and which alert comes first.

const LEVEL = { warning: 0, caution: 1, advisory: 2 };
const STANDING = { no: 0, now: 1, soon: 2, unknown: 3, yes: 4, home: 5 };

export const urgency = (alert) => LEVEL[alert.level] ?? 0; // a level that is not known is taken as the gravest
export const waiting = (alert) => String(alert.state).endsWith("unacknowledged");

/** Most urgent first: level; what is over after what stands; what waits first; then the oldest. */
export function byUrgency(a, b) {
  return (
    urgency(a) - urgency(b) ||
    Number(a.over) - Number(b.over) ||
    Number(waiting(b)) - Number(waiting(a)) ||
    String(a.since).localeCompare(String(b.since))
  );
}

export function worst(aircraft) {
  return aircraft.alerts
    .filter((alert) => !alert.over)
    .reduce((least, alert) => Math.min(least, urgency(alert)), 3);
}

const inFlight = (aircraft) => !["on_ground", "landed", "armed"].includes(aircraft.phase);

/** All aircraft of all stations, the one in most need first. */
export function everyone(stations) {
  const all = stations.flatMap((station) => station.aircraft.map((aircraft) => ({ station, aircraft })));
  const weight = ({ station, aircraft }) => [
    station.state === "watching" ? 1 : inFlight(aircraft) && station.state === "lost" ? 0 : 2,
    worst(aircraft),
    STANDING[aircraft.answer.standing] ?? 3,
    inFlight(aircraft) ? 0 : 1,
    aircraft.answer.turn_back_in_s ?? Infinity,
  ];
  const weighed = all.map((one, n) => ({ one, n, by: weight(one) }));
  weighed.sort((a, b) => {
    for (let k = 0; k < a.by.length; k += 1) if (a.by[k] !== b.by[k]) return a.by[k] < b.by[k] ? -1 : 1;
    return a.n - b.n;
  });
  return weighed.map(({ one }) => one);
}

/** A watch that is lost cannot say so itself. */
function gone(station) {
  if (station.state !== "lost") return [];
  const level = station.aircraft.length === 0 || station.aircraft.some(inFlight) ? "warning" : "caution";
  const callout = `Watch. ${station.station} is not heard any more.`;
  const alert = {
    aircraft: null,
    rule: "",
    level,
    state: "normal",
    since: station.since,
    callout,
    reason: "",
    evidence: {},
    stale: false,
    over: false,
    acknowledged_by: [],
  };
  return [{ station, aircraft: null, alert }];
}

/** Every alert of every station with where it belongs, most urgent first. */
export function everyAlert(stations) {
  const all = stations.flatMap((station) => [
    ...gone(station),
    ...station.alerts.map((alert) => ({ station, aircraft: null, alert })),
    ...station.aircraft.flatMap((aircraft) => aircraft.alerts.map((alert) => ({ station, aircraft, alert }))),
  ]);
  return all.sort((a, b) => byUrgency(a.alert, b.alert));
}
