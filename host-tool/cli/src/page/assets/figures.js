// The few large figures: to go, depth and lean, each a value or a dash with its reason; the hint; toe off centre.

import { $, attr, el, put, words } from "./dom.js";

const DASH = "–";
const FIGURES = ["to_go", "depth", "lean"];
const shown = new Map();

/** Shows a sight's figures. */
export function showFigures(sight) {
  for (const name of FIGURES) figure(name, sight[name]);
  const hint = words(sight.hint);
  put($("hint"), hint || "mast: " + DASH);
  toe(sight.toe);
}

/** Shows dashes alone: the reason stands in the picture's place. */
export function dashAll() {
  for (const name of FIGURES) figure(name, { dash: "" });
  put($("hint"), "mast: " + DASH);
  toe({ dash: "" });
}

/** A figure in plain words, for the drawer. */
export function told(figure) {
  if (!figure || typeof figure !== "object") return DASH;
  if (typeof figure.value !== "string") return [DASH, words(figure.dash)].join(" ").trim();
  return [figure.value, figure.unit, figure.more].map((w) => words(w)).filter(Boolean).join(" ");
}

function figure(name, wanted) {
  const known = wanted && typeof wanted === "object" ? wanted : {};
  const value = typeof known.value === "string" && known.value ? known.value.slice(0, 20) : null;
  const key = JSON.stringify([value, known.unit, known.more, known.dash]);
  if (shown.get(name) === key) return;
  shown.set(name, key);
  const block = $(name);
  const [label, big, unit, more] = ["label", "big", "unit", "more"].map((part) => block.querySelector(`.${part}`));
  numeral(big, value ?? DASH);
  attr(block, "data-dash", value === null ? "yes" : null);
  attr(block, "data-long", value !== null && value.replace(/[^0-9./]/g, "").length > 4 ? "yes" : null);
  const over = name === "to_go" && words(known.more) === "over";
  put(label, over ? "over" : block.dataset.label);
  put(unit, value === null ? "" : words(known.unit, 12));
  // the words that go with depth and to go are long: they are in the drawer, and read out with the figure
  const aside = name === "lean" ? words(known.more, 40) : "";
  put(more, value === null ? words(known.dash, 80) : aside);
  attr(block, "data-over", over ? "yes" : null);
}

/** Digits large, feet and inches as words beside them, fractions as fractions. */
function numeral(node, value) {
  const tokens = value.split(/\s+/);
  if (tokens.length === 1) return void put(node, value);
  put(node, null);
  node.replaceChildren(
    ...tokens.flatMap((token) => {
      const kind = /^\d+\/\d+$/.test(token) ? "fraction" : /\d/.test(token) ? "digits" : "word";
      return [el("span", { class: kind, text: token }), " "];
    }),
  );
}

function toe(figure) {
  const known = figure && typeof figure === "object" ? figure : {};
  const value = typeof known.value === "string" && known.value ? words(known.value, 20) : DASH;
  const rest = value === DASH ? [known.dash] : [known.unit, known.more];
  put($("toe"), ["toe off centre", value, ...rest.map((w) => words(w, 60))].filter(Boolean).join(" "));
}
