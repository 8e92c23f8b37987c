// Where words stand on the plan so that none covers another or a mark.

const AROUND = [
  [1, 0],
  [-1, 0],
  [0.75, -0.75],
  [0.75, 0.75],
  [-0.75, -0.75],
  [-0.75, 0.75],
  [0, -1],
  [0, 1],
];

export class Labels {
  constructor(width, height, em) {
    Object.assign(this, { width, height, em, taken: [] });
  }

  keepFree(x, y, radius) {
    this.taken.push([x - radius, y - radius, x + radius, y + radius]);
  }

  /** How wide words are drawn, px; a little more than they really are. */
  wide(words) {
    return (
      Array.from(words).reduce(
        (sum, letter) => sum + (letter > "\u2e80" ? 1.05 : /[ilj.,' ]/.test(letter) ? 0.34 : 0.6),
        0.2,
      ) * this.em
    );
  }

  /**
   * Find a place for lines of words beside a mark of a radius; null if there is none and they are not `needed`.
   * Returns {x, y, leader}: x, y of the first line's start, leader whether a line should lead to the mark.
   */
  place(lines, x, y, radius, needed) {
    const [w, h] = [Math.max(...lines.map((words) => this.wide(words))), lines.length * this.em * 1.15];
    let best = null;
    for (const [ring, far] of [
      radius + 3,
      radius + this.em * 1.4,
      radius + this.em * 3,
      radius + this.em * 4.6,
    ].entries()) {
      for (const [dx, dy] of AROUND) {
        const cx = x + dx * (far + w / 2) - (dx === 0 ? 0 : 0);
        const cy = y + dy * (far + h / 2);
        const box = [cx - w / 2, cy - h / 2, cx + w / 2, cy + h / 2];
        const out =
          Math.max(0, -box[0]) +
          Math.max(0, -box[1]) +
          Math.max(0, box[2] - this.width) +
          Math.max(0, box[3] - this.height);
        const cost = this.covered(box) + out * 400 + ring * 8;
        if (best === null || cost < best.cost) best = { box, cost, ring, out };
      }
      if (best.cost < (ring + 1) * 8) break;
    }
    const free = best.cost < 40;
    if (!free && !needed) return null;
    this.taken.push(best.box);
    const [x0, y0, x1, y1] = best.box;
    const leader = best.ring > 0 ? [Math.min(Math.max(x, x0), x1), Math.min(Math.max(y, y0), y1)] : null;
    return { x: x0, y: y0 + this.em * 0.9, leader };
  }

  covered([x0, y0, x1, y1]) {
    let sum = 0;
    for (const [a0, b0, a1, b1] of this.taken) {
      sum += Math.max(0, Math.min(x1, a1) - Math.max(x0, a0)) * Math.max(0, Math.min(y1, b1) - Math.max(y0, b0));
    }
    return sum;
  }
}
