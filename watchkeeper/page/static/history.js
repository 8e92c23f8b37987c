// The last minutes of one reading, with its limits drawn and named.

import { el, put, svg, wordy } from "./dom.js";
import { figure, known, LEVELS, span, unit } from "./words.js";

const LEAST_S = 60;

export class History {
  constructor() {
    this.name = wordy("span", "h-name");
    this.value = el("span", "h-value");
    this.chart = svg("svg", { class: "chart", role: "img" });
    this.node = el("figure", "history", el("figcaption", "", this.name, this.value), this.chart);
  }

  draw(history, elapsed_s) {
    const points = history.points.filter((point) => Array.isArray(point));
    const values = points.map(([, value]) => value).filter(known);
    const low = history.low.map(([, value]) => value).filter(known);
    const last = points.length > 0 ? points.at(-1)[1] : null;
    const said = known(last) ? `${figure(last)} ${unit(history.unit)}` : "not known";
    put(this.name, history.words, 60);
    const bound = known(history.low.at(-1)?.[1]) ? `, at least ${figure(history.low.at(-1)[1])}` : "";
    put(this.value, said + bound);
    const limits = history.limits.slice(0, 4).filter((limit) => known(limit.value));
    const words = limits.map(
      (limit) => `${LEVELS[limit.level] ?? limit.level} at ${figure(limit.value)}: ${limit.words.slice(0, 60)}`,
    );
    this.chart.setAttribute(
      "aria-label",
      `${history.words.slice(0, 60)} now ${said}${bound}. ${words.join("; ")}`,
    );
    const width = this.node.clientWidth;
    if (width === 0) return;
    const rem = parseFloat(getComputedStyle(this.chart).fontSize);
    const height = this.chart.clientHeight || rem * 6;
    const all = [...values, ...low, ...limits.map((limit) => limit.value)];
    let [least, most] = [Math.min(...all), Math.max(...all)];
    if (!Number.isFinite(least)) [least, most] = [0, 1];
    const room = Math.max((most - least) * 0.12, Math.abs(most) * 0.01, 1e-6);
    [least, most] = [least - room, most + room];
    const from_s = Math.min(points[0]?.[0] ?? elapsed_s, elapsed_s - LEAST_S);
    const [left, right, top, foot] = [0, width - 1, rem * 0.3, height - rem * 1.3];
    const x = (t) => left + ((t - from_s) / Math.max(1, elapsed_s - from_s)) * (right - left);
    const y = (value) => foot - ((value - least) / (most - least)) * (foot - top);
    const parts = [svg("path", { class: "h-axis", d: `M${left} ${foot}H${right}` })];
    const text = (words_, x_, y_, anchor, css) => {
      const node = svg("text", { x: x_.toFixed(1), y: y_.toFixed(1), "text-anchor": anchor, class: css });
      node.textContent = words_;
      parts.push(node);
    };
    if (history.low.length > 0) {
      for (const [a, b] of pairs(history.low, history.points)) {
        parts.push(svg("path", { class: "h-band", d: ribbon(a, b, x, y) }));
      }
      parts.push(svg("path", { class: "h-low", d: line(history.low, x, y) }));
    }
    parts.push(svg("path", { class: "h-line", d: line(points, x, y) }));
    if (known(last))
      parts.push(svg("circle", { class: "h-now", cx: x(points.at(-1)[0]), cy: y(last), r: rem * 0.22 }));
    const taken = [];
    for (const limit of limits) {
      parts.push(svg("path", { class: `h-limit ${limit.level}`, d: `M${left} ${y(limit.value)}H${right}` }));
      let at = y(limit.value) - rem * 0.22;
      if (at < top + rem * 0.8) at = y(limit.value) + rem * 0.95;
      while (taken.some((other) => Math.abs(other - at) < rem * 1.05)) at += rem * 1.1;
      taken.push(at);
      text(
        fitted(
          `${LEVELS[limit.level] ?? ""} ${figure(limit.value)} ${unit(history.unit)}, ${limit.words}`.replace(
            " ,",
            ",",
          ),
          width / rem,
        ),
        left + 2,
        at,
        "start",
        "h-limit-words",
      );
    }
    text(`${span(elapsed_s - from_s)} ago`, left, height - rem * 0.3, "start", "h-scale");
    text("now", right, height - rem * 0.3, "end", "h-scale");
    this.chart.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.chart.replaceChildren(...parts);
  }
}

const fitted = (words, ems) =>
  words.length > ems * 1.75 ? `${words.slice(0, Math.max(8, Math.floor(ems * 1.75) - 1))}…` : words;

/** A line with a gap wherever a value is missing. */
function line(points, x, y) {
  let d = "";
  let pen = "M";
  for (const [t, value] of points) {
    if (known(value)) {
      d += `${pen}${x(t).toFixed(1)} ${y(value).toFixed(1)}`;
      pen = "L";
    } else pen = "M";
  }
  return d || "M0 0";
}

/** Stretches in which both lines are known at the same times. */
function pairs(low, points) {
  const high = new Map(points.map(([t, value]) => [t, value]));
  const found = [];
  let now = [[], []];
  for (const [t, value] of low) {
    if (known(value) && known(high.get(t))) {
      now[0].push([t, value]);
      now[1].push([t, high.get(t)]);
    } else {
      if (now[0].length > 1) found.push(now);
      now = [[], []];
    }
  }
  if (now[0].length > 1) found.push(now);
  return found;
}

const ribbon = (a, b, x, y) => `${line(a, x, y)}${line([...b].reverse(), x, y).replace("M", "L")}Z`;
