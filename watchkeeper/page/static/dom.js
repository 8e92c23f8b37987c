// Making and changing elements. All text goes in as text: what comes with a picture is never markup.

const SVG = "http://www.w3.org/2000/svg";
/** The longest text shown from outside; what is longer is cut, and said to be. */
export const MOST = 280;
const TURNS = /[\u202a-\u202e\u2066-\u2069\u200e\u200f\u061c]/g; // would turn the text around them
const CONTROLS = /[\u0000-\u001f\u007f-\u009f\u2028\u2029]+/g;
const STACKS = /(\p{M}{3})\p{M}+/gu; // marks piled up over their line

/** Make text from outside fit to be shown: short, on its own lines, turning nothing around. */
export function clean(text, most = MOST) {
  const whole = String(text ?? "");
  const part = whole
    .slice(0, most * 4)
    .replace(TURNS, "")
    .replace(CONTROLS, " ")
    .replace(STACKS, "$1")
    .trim();
  const letters = Array.from(part);
  if (letters.length <= most && whole.length <= most * 4) return part;
  return `${letters.slice(0, most).join("")} … (cut, ${whole.length} characters)`;
}

/** Make an element; children are elements or text. */
export function el(tag, classes = "", ...children) {
  const node = document.createElement(tag);
  if (classes) node.className = classes;
  node.append(...children.filter((child) => child !== null && child !== ""));
  return node;
}

/** An element for words from outside, which may run the other way. */
export function wordy(tag, classes = "", text = "", most = MOST) {
  const node = el(tag, classes, clean(text, most));
  node.dir = "auto";
  return node;
}

export function svg(tag, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, String(value));
  node.append(...children);
  return node;
}

/** Set the text if it is another; returns whether it was. */
export function put(node, text, most = MOST) {
  const next = clean(text, most);
  if (node.textContent === next) return false;
  node.textContent = next;
  return true;
}

export function show(node, visible) {
  if (node.hidden === visible) node.hidden = !visible;
}

/**
 * Bring the children of a parent in line with items, keeping the element of each key: what has the focus, or
 * is just being pressed, stays. `make(item)` returns an element, `update(element, item)` fills it.
 */
export function keyed(parent, items, keyOf, make, update) {
  const old = new Map(Array.from(parent.children, (node) => [node.dataset.key, node]));
  let place = parent.firstElementChild;
  for (const item of items) {
    const key = keyOf(item);
    let node = old.get(key);
    if (node === undefined) {
      node = make(item);
      node.dataset.key = key;
    }
    old.delete(key);
    update(node, item);
    if (node === place) place = place.nextElementSibling;
    else parent.insertBefore(node, place);
  }
  for (const node of old.values()) node.remove();
}
