// Fits the picture to its place: one scale for depths and widths, and a fixed step of exaggeration for what leans.

/** How many times wider than true a lean may be drawn. */
const STEPS = [1, 2, 5, 10, 20, 50];
/** Of an elevation's half width, what the limit may fill. */
const FILLED = 0.8;
/** A wider step is taken only where it leaves this much more room, so that the picture does not jump to and fro. */
const SPARE = 0.85;

/**
 * The frame for a picture (lengths in mm) in a place of `size` (px); `times` is the exaggeration in use, or null.
 * `y(depth)` and `x(offset)` give px; `half` is an elevation's half width, `scale` px per mm.
 */
export function frame(known, size, times) {
  const { width, height, font } = size;
  const top = 1.22 * font;
  const bottom = height - 1.1 * font;
  const half = Math.max(20, (width - 2.1 * font) / 4);
  const deepest = Math.max(known.planned + known.over, known.tip ?? 0, known.bottom ?? 0);
  const goal = (known.planned + known.over) * 1.04;
  // deeper than planned: in whole steps, so that the scale stands still
  const shown = goal * (deepest <= goal ? 1 : Math.ceil((deepest / goal) * 5) / 5);
  const scale = (bottom - top) / shown;
  const chosen = exaggeration(known, half / scale, times);
  return {
    top,
    bottom,
    half,
    scale,
    font,
    middle: width / 2,
    times: chosen,
    // the words at the ends need their room, on small screens more than an elevation has
    ends: [Math.max(2 * half, 5.55 * font), width - Math.max(2 * half, 3.6 * font)],
    y: (depth) => top + depth * scale,
    x: (offset) => offset * chosen * scale,
  };
}

/** The widest step at which the limit at planned depth, and the tool about the toe now and then, stay in `room`, mm. */
function exaggeration(known, room, times) {
  const limit = (known.limit * known.planned) / 1000;
  const toes = [known.toe, known.toePlanned].filter(Boolean).flatMap((at) => at.slice(0, 2).map(Math.abs));
  const toe = Math.min(Math.max(0, ...toes), 4 * Math.max(limit, 25));
  const widest = Math.max(limit, toe, 1);
  const tool = Math.min(0.4 * known.diameter, 0.7 * room); // its outermost edge may be cut off, and that of a hole wider than the place is
  const fits = (step, part) => widest * step <= room * part && toe * step + tool <= room;
  const largest = (part) => STEPS.filter((step) => fits(step, part)).pop() ?? STEPS[0];
  const now = largest(FILLED);
  if (times === null || now <= times) return now;
  return Math.max(times, largest(FILLED * SPARE));
}
