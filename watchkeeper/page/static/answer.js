// The one large answer: can it get home, with how much left, and how long until it has to turn back.

import { el, put, show, svg, wordy } from "./dom.js";
import { bearing, clock, known, metres, PHASES, span, UNKNOWN } from "./words.js";
import { since } from "./stream.js";

const LEVEL = { no: "warning", now: "warning", soon: "caution" };
const HOMEWARD = new Set(["returning", "landing", "on_ground", "landed", "armed"]);
const TAGS = { warning: "Warning", caution: "Caution" };

export class Answer {
  constructor() {
    this.body = document.getElementById("answer-body");
    this.head = document.getElementById("answer-head");
    this.who = wordy("p", "who-is");
    this.tag = el("span", "tag");
    this.words = wordy("p", "verdict");
    this.charge = figure("charge");
    this.count = figure("count");
    this.figures = el("div", "figures", this.charge.node, this.count.node);
    this.gauge = svg("svg", { class: "gauge", role: "img", preserveAspectRatio: "none" });
    this.facts = el("dl", "line facts");
    this.body.append(
      this.who,
      el("div", "verdict-line", this.tag, this.words),
      this.figures,
      this.gauge,
      this.facts,
    );
    this.shown = null;
    new ResizeObserver(() => this.drawGauge()).observe(this.body);
  }

  draw(one, at, several) {
    this.shown = one;
    this.at = at;
    const { aircraft, station } = one;
    const { answer } = aircraft;
    const level = LEVEL[answer.standing] ?? "";
    this.body.className = level;
    put(this.who, whoIs(aircraft, station, several), 160);
    this.tag.className = `tag ${level}`;
    put(this.tag, TAGS[level] ?? "");
    show(this.tag, level !== "");
    put(this.words, answer.words || "Not known.", 160);
    put(this.charge.big, known(answer.reserve_pct) ? `${Math.round(answer.reserve_pct)} %` : "–");
    put(this.charge.label, "left at landing at home");
    put(
      this.charge.small,
      known(answer.reserve_low_pct)
        ? `at least ${Math.floor(answer.reserve_low_pct)} %`
        : known(answer.reserve_pct)
          ? "bound not known"
          : UNKNOWN,
    );
    this.drawFacts(aircraft);
    this.drawGauge();
    this.tick(false);
  }

  /** Count down between pictures; stand still, and say so, when none come. */
  tick(lost) {
    if (this.shown === null) return;
    const { aircraft, station } = this.shown;
    const { turn_back_in_s: left_s, turn_back_before: before } = aircraft.answer;
    // at home there is nothing to be said of the way there
    show(this.figures, aircraft.answer.standing !== "home" || known(left_s) || known(aircraft.answer.reserve_pct));
    // on its way home there is nothing left to be turned back
    show(this.count.node, known(left_s) || !HOMEWARD.has(aircraft.phase));
    const stands = lost || station.state !== "watching";
    if (!known(left_s)) {
      put(this.count.big, "–");
      put(this.count.label, "until it has to turn back");
      put(this.count.small, UNKNOWN);
      return;
    }
    if (!stands) this.left = left_s - since(this.at);
    const left = this.left ?? left_s;
    put(this.count.big, clock(left < 0 ? -left : left));
    put(this.count.label, left < 0 ? "past turning back" : "until it has to turn back");
    put(this.count.small, stands ? "Old. The countdown stands still." : before ? `set by ${before}` : "", 80);
  }

  drawFacts(aircraft) {
    const { answer, place } = aircraft;
    const facts = [
      [
        "Away",
        known(answer.distance_m)
          ? `${metres(answer.distance_m)}${known(answer.bearing_deg) ? `, bearing ${bearing(answer.bearing_deg)}` : ""}`
          : UNKNOWN,
      ],
      ["Home in", clock(answer.time_home_s)],
      [place?.forecast ? "Height, forecast" : "Height", metres(place?.height_m)],
      [place?.forecast ? "Speed, forecast" : "Speed", known(place?.speed_m_s) ? `${place.speed_m_s.toFixed(1)} m/s` : UNKNOWN],
      ["Nearest place", answer.nearest ?? UNKNOWN],
    ].slice(0, answer.standing === "home" ? 4 : 5);
    if (answer.standing === "home") facts.splice(1, 1);
    while (this.facts.children.length > facts.length) this.facts.lastElementChild.remove();
    while (this.facts.children.length < facts.length) this.facts.append(el("div", "", el("dt"), wordy("dd")));
    facts.forEach(([name, value], n) => {
      put(this.facts.children[n].firstElementChild, name);
      put(this.facts.children[n].lastElementChild, value, 90);
    });
  }

  /** A ruler of the charge at landing: what is kept is hatched, the bound a bar, the expected value a post. */
  drawGauge() {
    if (this.shown === null) return;
    const { reserve_pct: expected, reserve_low_pct: low, floor_pct: floor } = this.shown.aircraft.answer;
    show(this.gauge, true);
    this.gauge.toggleAttribute("hidden", !known(expected));
    if (!known(expected)) return;
    const rem = parseFloat(getComputedStyle(this.gauge).fontSize);
    const [w, h] = [Math.max(120, this.body.clientWidth), rem * 3.4];
    const x = (pct) => rem * 0.8 + (Math.min(100, Math.max(0, pct)) / 100) * (w - rem * 1.6);
    const top = rem * 0.9;
    const foot = rem * 2;
    const parts = [hatch(rem * 0.4)];
    if (known(floor))
      parts.push(svg("rect", { class: "g-floor", x: x(0), y: top, width: x(floor) - x(0), height: foot - top }));
    parts.push(svg("path", { class: "g-rule", d: `M${x(0)} ${foot}H${x(100)}` }));
    for (let pct = 0; pct <= 100; pct += 10) {
      parts.push(svg("path", { class: "g-rule", d: `M${x(pct)} ${foot}v${rem * (pct % 50 ? 0.3 : 0.5)}` }));
    }
    const label = (pct, text, y, anchor = "middle") => {
      const node = svg("text", { x: x(pct), y, "text-anchor": anchor });
      node.textContent = text;
      parts.push(node);
    };
    label(0, "0", h - rem * 0.15, "start");
    label(100, "100 %", h - rem * 0.15, "end");
    if (known(floor)) {
      parts.push(svg("path", { class: "g-keep", d: `M${x(floor)} ${top - rem * 0.2}V${foot + rem * 0.4}` }));
      label(floor, `keep ${Math.round(floor)}`, h - rem * 0.15);
    }
    if (known(low)) {
      parts.push(
        svg("path", {
          class: "g-low",
          d: `M${x(low)} ${(top + foot) / 2}H${x(expected)}M${x(low)} ${top + rem * 0.15}V${foot - rem * 0.15}`,
        }),
      );
    }
    parts.push(svg("path", { class: "g-post", d: `M${x(expected)} ${top - rem * 0.3}V${foot}` }));
    label(expected, `${Math.round(expected)}`, rem * 0.55);
    this.gauge.setAttribute("viewBox", `0 0 ${w} ${h}`);
    this.gauge.setAttribute("height", String(h));
    this.gauge.setAttribute(
      "aria-label",
      `Charge at landing at home: expected ${Math.round(expected)} percent` +
        (known(low) ? `, at least ${Math.floor(low)}` : "") +
        (known(floor) ? `, to be kept ${Math.round(floor)}` : ""),
    );
    this.gauge.replaceChildren(...parts);
  }
}

function figure(name) {
  const [big, label, small] = [
    el("span", "big-figure"),
    el("span", "figure-label"),
    wordy("span", "figure-small"),
  ];
  return { node: el("p", `figure figure-${name}`, big, label, small), big, label, small };
}

function hatch(wide) {
  const pattern = svg("pattern", {
    id: "hatch-floor",
    width: wide,
    height: wide,
    patternUnits: "userSpaceOnUse",
    patternTransform: "rotate(45)",
  });
  pattern.append(svg("path", { class: "g-hatch", d: `M0 0V${wide}` }));
  return svg("defs", {}, pattern);
}

/** Which aircraft this is, what it is doing, and whether it is heard. */
export function whoIs(aircraft, station, several) {
  const heard =
    aircraft.heard_s === null
      ? "never heard"
      : aircraft.heard_s > 3
        ? `not heard for ${span(aircraft.heard_s)}`
        : "heard";
  const parts = [
    several ? `${aircraft.name} (${station.station})` : aircraft.name,
    PHASES[aircraft.phase] ?? aircraft.phase ?? "phase not known",
  ];
  if (aircraft.mode) parts.push(`mode ${aircraft.mode.replaceAll("_", " ")}`);
  return [...parts, heard].join(" · ");
}
