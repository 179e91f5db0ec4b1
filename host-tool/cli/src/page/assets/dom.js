// Small helpers that build the page's nodes, and touch only what has changed.

const SVG = "http://www.w3.org/2000/svg";
const known = new WeakMap();

/** The node with this id; the page is built so that it is there. */
export const $ = (id) => document.getElementById(id);

/** Makes an element: `props.text` is plain text, `props.on` are listeners, all else are attributes. */
export function el(tag, props = {}, ...kids) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === undefined || value === null || value === false) continue;
    if (name === "text") node.textContent = value;
    else if (name === "on") for (const [event, f] of Object.entries(value)) node.addEventListener(event, f);
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...kids.filter((kid) => kid !== null && kid !== undefined));
  return node;
}

/** Makes an SVG element inside `parent`. */
export function draw(parent, tag, attributes = {}) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  parent.append(node);
  return node;
}

/** Sets a node's text, unless it has it. */
export function put(node, text) {
  const at = remembered(node);
  if (at.text === text) return;
  at.text = text;
  node.textContent = text;
}

/** Whether a node is to be filled again: `key` says what it holds. */
export function changed(node, key) {
  const at = remembered(node);
  if (at.key === key) return false;
  at.key = key;
  return true;
}

/** Sets an attribute, or takes it away with `null`, unless it is so. */
export function attr(node, name, value) {
  const at = remembered(node);
  const wanted = value === null ? null : String(value);
  if (at[`@${name}`] === wanted) return;
  at[`@${name}`] = wanted;
  if (wanted === null) node.removeAttribute(name);
  else node.setAttribute(name, wanted);
}

/** Shows or hides a node. Who stood on it with the keyboard goes on from the acts. */
export function shown(node, yes) {
  const stood = !yes && node.contains(document.activeElement);
  attr(node, "hidden", yes ? null : "");
  if (stood) $("open-acts").focus();
}

/** What may be said of anything that came over the wire: its text, bounded, or nothing. */
export function words(value, most = 200) {
  if (typeof value === "number" && Number.isFinite(value)) return String(value);
  return typeof value === "string" ? value.slice(0, most) : "";
}

/** The list that came over the wire, or an empty one. */
export const list = (value, most = 50) => (Array.isArray(value) ? value.slice(0, most) : []);

/** The number that came over the wire, or `null`. */
export const number = (value) => (typeof value === "number" && Number.isFinite(value) ? value : null);

function remembered(node) {
  let at = known.get(node);
  if (!at) known.set(node, (at = {}));
  return at;
}
