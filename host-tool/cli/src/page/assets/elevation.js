// One elevation of the hole: ground, limit, planned depth, what is drilled, and the tool.

import { attr, draw } from "./dom.js";

const ARROW = 26;

/** An elevation; `side` 0 looks at forward and back, 1 at left and right. */
export class Elevation {
  constructor(parent, side) {
    const clip = draw(parent, "clipPath", { id: `side-${side}` });
    this.clip = draw(clip, "rect");
    this.group = draw(parent, "g", { "clip-path": `url(#side-${side})` });
    const part = (tag, className) => draw(this.group, tag, { class: className });
    this.soil = part("rect", "soil");
    this.soilMarks = part("rect", "soil-marks");
    this.band = part("rect", "band");
    this.bored = part("path", "bored");
    this.limit = part("path", "limit");
    this.plumb = part("path", "plumb");
    this.goal = part("path", "goal");
    this.floor = part("path", "floor");
    this.ahead = part("path", "ahead");
    this.tool = part("path", "tool");
    this.head = part("path", "head");
    this.axis = part("path", "axis");
    this.level = part("path", "level");
    this.land = part("path", "land");
    this.key = "";
  }

  /** Draws a checked picture; `pass` is where the tool passes the ground, mm. */
  show(known, view, pass, side) {
    const centre = side === 0 ? view.half : 2 * view.middle - view.half;
    const x = (offset) => (centre + view.x(offset)).toFixed(1);
    const y = (depth) => view.y(depth).toFixed(1);
    this.plan(known, view, centre, x, y);
    this.drilled(known, view, centre, x, y, side);
    this.hanging(known, view, centre, pass, side);
    this.landing(known, view, x, y, side);
  }

  /** What stands still for a whole hole. */
  plan(known, view, centre, x, y) {
    const left = centre - view.half;
    const wide = 2 * view.half;
    for (const rect of [this.clip, this.soil, this.soilMarks]) box(rect, left, view.top, wide, view.bottom - view.top);
    box(this.band, left, view.y(known.planned - known.under), wide, (known.under + known.over) * view.scale);
    const reach = (known.limit * known.planned) / 1000;
    const funnel = known.limit > 0 ? `M${x(-reach)} ${y(known.planned)}L${x(0)} ${y(0)}L${x(reach)} ${y(known.planned)}` : "";
    attr(this.limit, "d", funnel);
    attr(this.plumb, "d", `M${x(0)} ${y(0)}V${y(known.planned)}`);
    attr(this.goal, "d", `M${left} ${y(known.planned)}h${wide}`);
  }

  /** The bored hole round its axis: written again only when the axis or the scale changed. */
  drilled(known, view, centre, x, y, side) {
    const { axis, bottom, toe } = known;
    const end = axis[axis.length - 1];
    const key = JSON.stringify([axis.length, end, bottom, toe, known.diameter, view.times, view.scale, centre]);
    if (key === this.key) return;
    this.key = key;
    const at = side + 1;
    const points = axis.filter((p) => bottom === null || p[0] <= bottom).map((p) => [view.y(p[0]), centre + view.x(p[at])]);
    if (bottom === null || bottom <= 0) {
      for (const node of [this.bored, this.floor, this.axis]) attr(node, "d", "");
      return;
    }
    const first = points.length ? points[0][1] : centre;
    const last = toe ? centre + view.x(toe[side]) : points.length ? points[points.length - 1][1] : centre;
    const line = [[view.y(0), first], ...points, [view.y(bottom), last]];
    const r = Math.max(3, (known.diameter / 2) * view.scale);
    const path = (shift, points) => points.map(([py, px]) => `${(px + shift).toFixed(1)} ${py.toFixed(1)}`).join("L");
    attr(this.bored, "d", `M${path(-r, line)}L${path(r, [...line].reverse())}Z`);
    attr(this.floor, "d", `M${(last - r).toFixed(1)} ${y(bottom)}h${(2 * r).toFixed(1)}`);
    attr(this.axis, "d", axis.length > 1 ? `M${path(0, line)}` : "");
  }

  /** The tool from the ground to its tip, at the lean it has now; where the lean is not known, its level alone. */
  hanging(known, view, centre, pass, side) {
    const { tip, lean } = known;
    const below = tip !== null && tip > 0;
    const hangs = below && lean !== null;
    attr(this.level, "d", below && !hangs ? `M${centre - view.half} ${view.y(tip).toFixed(1)}h${2 * view.half}` : "");
    if (!hangs) {
      attr(this.tool, "d", "");
      attr(this.head, "d", "");
      return;
    }
    const slope = (view.times * lean[side]) / 1000; // px sideways for each px down
    const end = { x: centre + view.x(pass + (lean[side] * tip) / 1000), y: view.y(tip) };
    const up = (px) => ({ x: end.x - slope * px, y: end.y - px });
    const start = up(end.y - view.top);
    const tall = Math.min(0.9 * view.font, 0.6 * (end.y - view.top));
    const neck = up(tall);
    const r = Math.max(3, (known.diameter / 2) * view.scale) - 3;
    const p = (at, shift) => `${(at.x + shift).toFixed(1)} ${at.y.toFixed(1)}`;
    const lip = up(Math.min(8, tall / 3));
    attr(this.tool, "d", `M${p(start, 0)}L${p(neck, 0)}`);
    attr(this.head, "d", `M${p(neck, -r)}L${p(neck, r)}L${p(lip, r)}L${p(end, 0)}L${p(lip, -r)}Z`);
  }

  /** Where the toe will be at planned depth if nothing changes: a diamond, or a crossed block outside the limit. */
  landing(known, view, x, y, side) {
    const { toe, toePlanned, planned, bottom } = known;
    if (!toePlanned) {
      attr(this.land, "d", "");
      attr(this.ahead, "d", "");
      return;
    }
    const outside = known.limit > 0 && Math.hypot(toePlanned[0], toePlanned[1]) > (known.limit * planned) / 1000;
    const at = [Number(x(toePlanned[side])), Number(y(planned))];
    const d = ARROW / 2;
    const diamond = `M${at[0]} ${at[1] - d}l${d} ${d}l${-d} ${d}l${-d} ${-d}Z`;
    const block = `M${at[0] - d} ${at[1] - d}h${2 * d}v${2 * d}h${-2 * d}ZM${at[0] - d} ${at[1] - d}l${2 * d} ${2 * d}m0 ${-2 * d}l${-2 * d} ${2 * d}`;
    attr(this.land, "d", outside ? block : diamond);
    attr(this.land, "class", outside ? "land out" : "land");
    attr(this.ahead, "class", outside ? "ahead out" : "ahead");
    attr(this.ahead, "d", toe && bottom !== null && bottom < planned ? `M${x(toe[side])} ${y(bottom)}L${at[0]} ${at[1]}` : "");
  }
}

function box(node, x, y, width, height) {
  attr(node, "x", x.toFixed(1));
  attr(node, "y", y.toFixed(1));
  attr(node, "width", Math.max(0, width).toFixed(1));
  attr(node, "height", Math.max(0, height).toFixed(1));
}
