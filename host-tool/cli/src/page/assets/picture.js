// Draws the hole in two elevations on one depth scale: what was planned, what is drilled, the tool in it, and where it will end.
//
// Depths and the hole's width are true to one scale; what leans is drawn so many times wider, and says so.

import { $, attr, draw, list, number, put, words } from "./dom.js";
import { Elevation } from "./elevation.js";
import { frame } from "./scale.js";

const svg = $("drawing");
let size = { width: 0, height: 0, font: 0 };
let last = null; // the checked picture that is drawn, to draw it again in another size
let view = null; // the frame that it was drawn in

pattern("hatch", 22, "mark-line");
pattern("band", 10, "band-line");
pattern("out", 9, "out-line");
const all = draw(svg, "g");
const elevations = [new Elevation(all, 0), new Elevation(all, 1)];
const ground = draw(all, "path", { class: "ground" });
const ways = [["back", "fwd"], ["left", "right"]].map((two) => two.map((word) => label(all, word)));
const planned = label(all, "planned");
const said = label(all, "");
draw(svg, "rect", { class: "veil", x: 0, y: 0, width: "100%", height: "100%", fill: "url(#hatch)" });

new ResizeObserver(measure).observe(svg);

/** Draws a sight's picture; without one, the reason stands there in words. */
export function showPicture(sight) {
  last = checked(sight.picture);
  if (last === null) return emptyPicture(words(sight.no_picture) || "no picture: the rig has not said enough");
  put($("why"), "");
  attr($("picture"), "data-empty", null);
  paint();
}

/** Takes away all that is drawn, hatches the place, and gives the reason. */
export function emptyPicture(reason) {
  last = null;
  put($("why"), reason);
  attr($("picture"), "data-empty", "yes");
}

function measure() {
  const box = svg.getBoundingClientRect();
  size = { width: box.width, height: box.height, font: parseFloat(getComputedStyle(svg).fontSize) };
  if (size.width < 50 || size.height < 50) return;
  attr(svg, "viewBox", `0 0 ${size.width} ${size.height}`);
  if (last) paint();
}

function paint() {
  if (size.width < 50 || size.height < 50) return;
  view = frame(last, size, view);
  elevations.forEach((elevation) => elevation.show(last, view));
  const { top, bottom, half, width, font } = view;
  attr(ground, "d", `M0 ${top}h${2 * half}M${width - 2 * half} ${top}h${2 * half}`);
  const line = top - 0.3 * font;
  [2 * half, width].forEach((end, side) => {
    place(ways[side][0], end - 2 * half, line, "start");
    place(ways[side][1], end, line, "end");
  });
  const under = bottom + 0.8 * font;
  place(planned, 0, under, "start");
  put(said, view.less ? `lean only × ${view.times}` : `lean × ${view.times}`);
  place(said, width, under, "end");
}

/** What came over the wire, checked: numbers or `null`; `null` where nothing can be drawn to scale. */
function checked(picture) {
  if (!picture || typeof picture !== "object") return null;
  const pair = (value) => (Array.isArray(value) && value.length >= 2 && value.slice(0, 2).every((n) => number(n) !== null) ? value : null);
  const axis = list(picture.axis, 400).filter((p) => Array.isArray(p) && p.length >= 3 && p.every((n) => number(n) !== null));
  const plan = number(picture.planned);
  if (plan === null || plan <= 0 || plan > 100000) return null;
  return {
    planned: plan,
    under: Math.max(0, number(picture.under) ?? 0),
    over: Math.max(0, number(picture.over) ?? 0),
    diameter: Math.min(Math.max(number(picture.diameter) ?? 0, 0), 10000),
    limit: Math.max(0, number(picture.limit) ?? 0),
    bottom: number(picture.bottom),
    tip: number(picture.tip),
    lean: pair(picture.lean),
    axis,
    toe: pair(picture.toe),
    toePlanned: pair(picture.toe_planned),
  };
}

function pattern(name, width, className) {
  const node = draw(svg, "pattern", { id: name, width, height: width, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  draw(node, "path", { d: `M0 0V${width}`, class: className });
}

function label(parent, text) {
  const node = draw(parent, "text");
  put(node, text);
  return node;
}

function place(node, x, y, anchor) {
  attr(node, "x", x.toFixed(1));
  attr(node, "y", y.toFixed(1));
  attr(node, "text-anchor", anchor);
}
