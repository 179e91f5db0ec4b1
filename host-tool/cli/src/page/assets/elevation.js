// One elevation of the hole: ground, planned depth, limit, what is drilled, the tool in it, and where it will end.

import { attr, draw } from "./dom.js";

/** Clearance drawn between the tool and the hole's wall, px. */
const CLEAR = 5;

/** An elevation; `side` 0 looks at forward and back, 1 at left and right. */
export class Elevation {
  constructor(parent, side) {
    this.side = side;
    this.clip = draw(draw(parent, "clipPath", { id: `side-${side}` }), "rect");
    this.hole = draw(draw(parent, "clipPath", { id: `hole-${side}` }), "path");
    this.group = draw(parent, "g", { "clip-path": `url(#side-${side})` });
    const part = (tag, className, into = this.group) => draw(into, tag, { class: className });
    this.soil = part("rect", "soil");
    this.band = part("rect", "band");
    this.goal = part("path", "goal");
    this.next = part("path", "next");
    this.bored = part("path", "bored");
    const within = draw(this.group, "g", { "clip-path": `url(#hole-${side})` });
    this.stem = part("path", "stem", within);
    this.head = part("path", "head", within);
    this.limit = part("path", "limit");
    this.land = part("path", "land");
    this.key = "";
  }

  /** Draws a checked picture. */
  show(known, view) {
    const centre = this.side === 0 ? view.half : view.width - view.half;
    const x = (offset) => centre + view.x(offset);
    const r = view.radius;
    this.plan(known, view, centre, x, r);
    const line = this.line(known, view, x);
    this.drilled(line, view, r);
    this.tool(known, view, line, r);
    this.landing(known, view, x, r);
  }

  /** What stands still for a whole hole: both walls must stay between the broken lines. */
  plan(known, view, centre, x, r) {
    const left = centre - view.half;
    const wide = 2 * view.half;
    for (const rect of [this.clip, this.soil]) box(rect, left, view.top, wide, view.bottom - view.top);
    box(this.band, left, view.y(known.planned - known.under), wide, (known.under + known.over) * view.scale);
    attr(this.goal, "d", path([[left, view.y(known.planned)], [left + wide, view.y(known.planned)]]));
    const reach = (known.limit * known.planned) / 1000;
    const edge = (way) => path([[x(0) + way * r, view.y(0)], [x(way * reach) + way * r, view.y(known.planned)]]);
    attr(this.limit, "d", known.limit > 0 ? edge(-1) + edge(1) : "");
  }

  /** The middle of the hole as points of the picture, from the ground to its bottom; empty where there is none. */
  line(known, view, x) {
    const { axis, toe, tip } = known;
    const last = axis[axis.length - 1];
    const bottom = known.bottom === null ? (last?.[0] ?? 0) : Math.max(known.bottom, tip ?? 0);
    if (bottom <= 0) return [];
    const at = this.side + 1;
    const points = axis.filter((p) => p[0] > 0 && p[0] < bottom).map((p) => [x(p[at]), view.y(p[0])]);
    const end = toe && known.bottom !== null ? x(toe[this.side]) : (points[points.length - 1]?.[0] ?? x(last?.[at] ?? 0));
    return [[points[0]?.[0] ?? x(0), view.y(0)], ...points, [end, view.y(bottom)]];
  }

  /** The bored hole round its middle. */
  drilled(line, view, r) {
    const walls = line.length === 0 ? "" : `${path([...shifted(line, -r), ...shifted(line, r).reverse()])}Z`;
    if (walls === this.key) return;
    this.key = walls;
    attr(this.bored, "d", walls);
    attr(this.hole, "d", walls);
  }

  /** The tool in its hole, which leaves it no other place; its stem at the lean that it has now, where that is known. */
  tool(known, view, line, r) {
    const { tip, lean } = known;
    if (tip === null || tip <= 0 || line.length === 0) {
      attr(this.stem, "d", "");
      attr(this.head, "d", "");
      return;
    }
    const end = [across(line, view.y(tip)), view.y(tip)];
    const tall = Math.min(0.75 * view.font, 0.6 * (end[1] - view.top));
    const neck = end[1] - tall;
    const half = Math.max(3, r - CLEAR);
    const lip = end[1] - Math.min(9, tall / 3);
    const over = across(line, neck); // the head follows the hole
    const corners = [[over - half, neck], [over + half, neck], [end[0] + half, lip], end, [end[0] - half, lip]];
    attr(this.head, "d", `${path(corners)}Z`);
    const slope = lean === null ? null : (view.times * lean[this.side]) / 1000; // px sideways for each px down
    attr(this.stem, "d", slope === null ? "" : path([[over - slope * (neck - view.top), view.top], [over, neck]]));
  }

  /** The hole still to be bored if nothing changes, and its floor: plain, or a hatched block outside the limit. */
  landing(known, view, x, r) {
    const { toe, toePlanned, planned, bottom } = known;
    const ahead = toePlanned !== null && toe !== null && bottom !== null && bottom < planned;
    if (!ahead) {
      attr(this.land, "d", "");
      attr(this.next, "d", "");
      return;
    }
    const beyond = known.limit > 0 && Math.hypot(toePlanned[0], toePlanned[1]) > (known.limit * planned) / 1000;
    // only where it goes there: an axis that has less than a third of the other is not what is wrong
    const outside = beyond && 3 * Math.abs(toePlanned[this.side]) >= Math.abs(toePlanned[1 - this.side]);
    const [from, to] = [[x(toe[this.side]), view.y(Math.max(bottom, 0))], [x(toePlanned[this.side]), view.y(planned)]];
    attr(this.next, "d", `${path([...shifted([from, to], -r), ...shifted([from, to], r).reverse()])}Z`);
    const thick = outside ? 22 : 8;
    const floor = (way, down) => [to[0] + way * r, to[1] + (down * thick) / 2];
    attr(this.land, "d", `${path([floor(-1, -1), floor(1, -1), floor(1, 1), floor(-1, 1)])}Z`);
    attr(this.land, "class", outside ? "land out" : "land");
  }
}

const path = (points) => `M${points.map(([px, py]) => `${px.toFixed(1)} ${py.toFixed(1)}`).join("L")}`;
const shifted = (line, by) => line.map(([px, py]) => [px + by, py]);

/** Where a line from the top down is at this height. */
function across(line, y) {
  const after = line.findIndex((point) => point[1] >= y);
  if (after === 0) return line[0][0];
  if (after < 0) return line[line.length - 1][0];
  const [a, b] = [line[after - 1], line[after]];
  return a[0] + ((b[0] - a[0]) * (y - a[1])) / Math.max(b[1] - a[1], 1e-6);
}

function box(node, x, y, width, height) {
  attr(node, "x", x.toFixed(1));
  attr(node, "y", y.toFixed(1));
  attr(node, "width", Math.max(0, width).toFixed(1));
  attr(node, "height", Math.max(0, height).toFixed(1));
}
