// The few large figures: to go, depth and lean, each a value or a dash with its reason; the hint; toe off centre.

import { $, attr, changed, el, put, words } from "./dom.js";

const DASH = "–";
const FIGURES = ["to_go", "depth", "lean"];
const UNKNOWN = "mast: not known now";
const WAYS = { "←": "left", "→": "right", "↑": "forward", "↓": "back" };
const shown = new Map();
let shape = ""; // how long the figures' texts were when they were fitted

/** Shows a sight's figures. */
export function showFigures(sight) {
  const planned = words(sight.planned, 20);
  figure("to_go", sight.to_go, { label: words(sight.to_go?.more, 20), aside: planned && sight.to_go?.more === "to go" ? `of ${planned}` : "" });
  figure("depth", sight.depth);
  const verdict = sight.verdict && typeof sight.verdict === "object" ? sight.verdict : null;
  figure("lean", sight.lean, { aside: words(sight.lean?.more, 40), verdict });
  sameReason(sight.to_go, sight.depth);
  fit();
  order(words(sight.hint, 80) || UNKNOWN);
  toe(sight.toe);
}

/** Shows dashes alone: the reason stands in the picture's place. */
export function dashAll() {
  for (const name of FIGURES) figure(name, { dash: "" });
  fit();
  order(UNKNOWN);
  toe({ dash: "" });
}

/** The order for the mast; its arrows are drawn, since not every tablet's letters have them. */
function order(text) {
  const node = $("hint");
  if (!changed(node, text)) return;
  const [verb, ...parts] = text.split(/(?=[←→↑↓])/);
  const drawn = (part) => el("span", { class: "part" }, el("span", { class: `arrow ${WAYS[part[0]]}`, "aria-hidden": "true" }), part.slice(1));
  node.replaceChildren(verb, ...parts.flatMap((part) => [drawn(part.trim()), " "]));
  attr(node, "data-ways", parts.length);
}

/** A figure in plain words, for the drawer. */
export function told(figure) {
  if (!figure || typeof figure !== "object") return DASH;
  if (typeof figure.value !== "string") return [DASH, words(figure.dash)].join(" ").trim();
  return [figure.value, figure.unit, figure.more]
    .map((w) => words(w))
    .filter(Boolean)
    .join(" ");
}

/** The hole's depth and what is to go mostly lack the same thing: the reason stands once. */
function sameReason(toGo, depth) {
  const reason = words(depth?.dash, 80);
  if (!reason || reason !== words(toGo?.dash, 80)) return;
  put($("depth").querySelector(".label"), $("depth").dataset.label);
  put($("depth").querySelector(".more"), "");
}

/** Where long texts need the room, to go is no larger than depth, and long reasons take the second line of the words above. */
function fit() {
  const now = FIGURES.map((name) => [...$(name).children].map((part) => part.textContent.length)).join();
  if (now === shape) return;
  shape = now;
  const [main, place] = [document.querySelector("main"), $("figures")];
  const tooMuch = () => [...place.children].reduce((sum, each) => sum + each.offsetHeight, 0) > place.clientHeight;
  const dashes = FIGURES.some((name) => $(name).dataset.dash !== undefined);
  attr(main, "data-tight", null);
  attr(place, "data-full", null);
  if (tooMuch()) attr(place, "data-full", "yes");
  if (dashes && tooMuch()) attr(main, "data-tight", "yes");
}

new ResizeObserver(() => {
  shape = "";
  fit();
}).observe($("figures"));

function figure(name, wanted, { label = "", aside = "", verdict = null } = {}) {
  const known = wanted && typeof wanted === "object" ? wanted : {};
  const value = typeof known.value === "string" && known.value ? known.value.slice(0, 20) : null;
  const key = JSON.stringify([value, known.unit, known.dash, label, aside, verdict]);
  if (shown.get(name) === key) return;
  shown.set(name, key);
  const block = $(name);
  const part = (each) => block.querySelector(`.${each}`);
  const { big, word, rest } = split(value ?? DASH);
  const own = rest.length && name === "depth" ? "hole" : block.dataset.label; // feet and inches leave little room
  put(part("label"), value === null ? block.dataset.label + (known.dash ? ":" : "") : label || own);
  // the way that the toe goes says what the figure is
  attr(part("label"), "class", name === "lean" && value !== null && aside ? "label unseen" : "label");
  put(part("big"), big);
  put(part("unit"), value === null ? "" : words(known.unit, 12) || word);
  fill(part("rest"), rest);
  put(part("more"), value === null ? words(known.dash, 80) : aside);
  if (name === "lean") judged(part("verdict"), value === null ? null : verdict);
  attr(block, "data-dash", value === null ? "yes" : null);
  attr(block, "data-past", value !== null && label && label !== "to go" ? "yes" : null);
  attr(block, "data-long", big.length > 4 || rest.length > 0 ? "yes" : null);
}

/** How the lean stands against the plan's limit; beyond it, in the look of what is abnormal. */
function judged(node, verdict) {
  put(node, verdict ? words(verdict.text, 40).replace(" in/ft", "") : ""); // the lean's own unit stands beside it
  attr(node, "data-beyond", verdict?.beyond === true ? "yes" : null);
}

/** Feet and inches in parts: the first number, its word, and what comes after. */
function split(value) {
  const [big, ...rest] = value.split(/\s+/).filter(Boolean);
  const word = rest.length && !/\d/.test(rest[0]) ? rest.shift() : "";
  return { big: big ?? DASH, word, rest };
}

/** Digits large, words beside them, fractions as fractions. */
function fill(node, tokens) {
  if (!changed(node, tokens.join(" "))) return;
  const kind = (token) => (/^\d+\/\d+$/.test(token) ? "fraction" : /\d/.test(token) ? "digits" : "word");
  node.replaceChildren(...tokens.flatMap((token) => [el("span", { class: kind(token), text: token }), " "]));
}

function toe(figure) {
  const known = figure && typeof figure === "object" ? figure : {};
  const value = typeof known.value === "string" && known.value ? words(known.value, 20) : "";
  const said = value ? [value, known.unit, known.more].map((w) => words(w, 40)).filter(Boolean).join(" ") : "not known now";
  put($("toe").lastElementChild, said.replace(" and ", ", "));
}
