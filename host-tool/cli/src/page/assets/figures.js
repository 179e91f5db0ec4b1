// The few large figures: to go, depth and lean, each a value or a dash with its reason; the hint; toe off centre.

import { $, attr, changed, el, put, words } from "./dom.js";

const DASH = "–";
const FIGURES = ["to_go", "depth", "lean"];
/** A reason longer than this is not said twice, letters. */
const LONG = 20;
const shown = new Map();
let shape = ""; // how long the figures' texts were when they were fitted

/** Shows a sight's figures. */
export function showFigures(sight) {
  for (const name of FIGURES) figure(name, sight[name]);
  sameReason(sight.to_go, sight.depth);
  fit();
  const hint = words(sight.hint);
  put($("hint"), hint || `mast top ${DASH}`);
  attr($("hint"), "data-long", hint.length > 45 ? "yes" : null); // so that it stays one line
  toe(sight.toe);
}

/** Shows dashes alone: the reason stands in the picture's place. */
export function dashAll() {
  for (const name of FIGURES) figure(name, { dash: "" });
  fit();
  put($("hint"), `mast top ${DASH}`);
  toe({ dash: "" });
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

/** Depth and to go mostly lack the same thing: a long reason stands once. */
function sameReason(toGo, depth) {
  const reason = words(depth?.dash, 80);
  if (reason.length > LONG && reason === words(toGo?.dash, 80)) put($("depth").querySelector(".more"), "the same");
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

function figure(name, wanted) {
  const known = wanted && typeof wanted === "object" ? wanted : {};
  const value = typeof known.value === "string" && known.value ? known.value.slice(0, 20) : null;
  const key = JSON.stringify([value, known.unit, known.more, known.dash]);
  if (shown.get(name) === key) return;
  shown.set(name, key);
  const block = $(name);
  const part = (each) => block.querySelector(`.${each}`);
  const { big, word, rest } = split(value ?? DASH);
  const over = name === "to_go" && words(known.more) === "over";
  put(part("label"), over ? "over" : block.dataset.label);
  put(part("big"), big);
  put(part("unit"), value === null ? "" : words(known.unit, 12) || word);
  fill(part("rest"), rest);
  // what goes with to go and depth is long, and stands in the drawer
  const aside = name === "lean" ? words(known.more, 40) : "";
  put(part("more"), value === null ? words(known.dash, 80) : aside);
  attr(block, "data-dash", value === null ? "yes" : null);
  attr(block, "data-long", big.length > 4 || rest.length > 0 ? "yes" : null);
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
  const value = typeof known.value === "string" && known.value ? words(known.value, 20) : DASH;
  const rest = value === DASH ? [known.dash] : [known.unit, known.more];
  put($("toe"), ["toe off centre", value, ...rest.map((w) => words(w, 60))].filter(Boolean).join(" "));
}
