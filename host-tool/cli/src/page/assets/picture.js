// Draws the hole in two elevations on one depth scale: what was planned, what is drilled, and the tool as it hangs.
//
// Depths and the hole's width are true to one scale; what leans is drawn so many times wider, and says so.

import { $, attr, draw, list, number, put } from "./dom.js";
import { Elevation } from "./elevation.js";
import { frame } from "./scale.js";

const svg = $("drawing");
let size = { width: 0, height: 0, font: 0 };
let last = null; // the sight's picture that is drawn, to draw it again in another size
let times = null; // the sideways exaggeration in use

const hatch = pattern("hatch", 22, "mark-line");
pattern("soil", 14, "soil-line");
pattern("band", 9, "band-line");
const all = draw(svg, "g");
const elevations = [new Elevation(all, 0), new Elevation(all, 1)];
const rule = draw(all, "g", { class: "rule" });
const ground = draw(all, "path", { class: "ground" });
const hub = draw(all, "path", { class: "hub" });
const ends = ["back", "forward", "left", "right"].map((word) => label(all, word));
const said = label(all, "");
const planned = label(rule, "plan");
const ticks = [];
draw(svg, "rect", { class: "veil", x: 0, y: 0, width: "100%", height: "100%", fill: `url(#${hatch})` });

new ResizeObserver(measure).observe(svg);

/** Draws a sight's picture; without one, the reason stands there in words. */
export function showPicture(sight) {
  const known = checked(sight.picture);
  last = { known, units: sight.units };
  if (known === null) return emptyPicture(sight.hole ? "no picture: the rig has not said enough" : "no hole is open");
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
  if (last?.known) paint();
}

function paint() {
  if (size.width < 50 || size.height < 50) return;
  const { known, units } = last;
  const view = frame(known, size, times);
  times = view.times;
  elevations.forEach((elevation, side) => elevation.show(known, view, known.pass[side], side));
  const {
    top,
    bottom,
    half,
    ends: [before, after],
  } = view;
  attr(ground, "d", `M0 ${top}H${size.width}`);
  const beside = ((before + after) / 2).toFixed(1);
  attr(hub, "d", known.hub === null ? "" : stake(beside, view.y(known.hub), Math.max(top, view.y(known.hub)) + 0.3 * size.font));
  const line = top - 0.4 * size.font;
  place(ends[0], 0, line, "start");
  place(ends[1], before, line, "end");
  place(ends[2], after, line, "start");
  place(ends[3], size.width, line, "end");
  put(said, `width true, lean × ${view.times}`);
  place(said, size.width / 2, size.height - 0.2 * size.font, "middle");
  scale(known, view, units, bottom);
}

/** A stake in the ground, its head at the hub's height. */
const stake = (x, head, point) => `M${x} ${head.toFixed(1)}m-9 0h18V${(point - 9).toFixed(1)}l-9 9l-9 -9Z`;

/** The depth scale between the elevations, in the sheet's units. */
function scale(known, view, units, bottom) {
  const [unit, word, steps] = units === "feet" ? [304.8, "ft", [1, 2, 5, 10, 20, 50]] : [1000, "m", [1, 2, 5, 10, 20]];
  const room = 1.3 * size.font;
  const step = steps.find((each) => each * unit * view.scale >= room) ?? steps[steps.length - 1];
  const goal = view.y(known.planned);
  let used = 0;
  for (let depth = step; used < 40 && view.y(depth * unit) <= bottom; depth += step) {
    const at = view.y(depth * unit);
    if (Math.abs(at - goal) < 1.05 * size.font) continue;
    const tick = (ticks[used] ??= { text: label(rule, ""), line: draw(rule, "path", { class: "tick" }) });
    put(tick.text, used === 0 ? `${depth} ${word}` : String(depth)); // the unit once
    place(tick.text, view.middle, at + 0.35 * size.font, "middle");
    attr(tick.line, "d", `M${2 * view.half} ${at}h8M${size.width - 2 * view.half} ${at}h-8`);
    used += 1;
  }
  ticks.forEach((tick, i) => [tick.text, tick.line].forEach((node) => attr(node, "visibility", i < used ? null : "hidden")));
  place(planned, view.middle, Math.min(goal + 0.35 * size.font, size.height - 1.15 * size.font), "middle");
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
    hub: number(picture.hub),
    diameter: Math.min(Math.max(number(picture.diameter) ?? 0, 0), 10000),
    limit: Math.max(0, number(picture.limit) ?? 0),
    bottom: number(picture.bottom),
    tip: number(picture.tip),
    lean: pair(picture.lean),
    pass: pair(picture.tool?.[0]?.slice?.(1, 3)) ?? [0, 0], // where the tool passes the datum
    axis,
    toe: pair(picture.toe),
    toePlanned: pair(picture.toe_planned),
  };
}

function pattern(name, width, className) {
  const node = draw(svg, "pattern", { id: name, width, height: width, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  draw(node, "path", { d: `M0 0V${width}`, class: className });
  return name;
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
