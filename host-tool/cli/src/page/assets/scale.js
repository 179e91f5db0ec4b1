// Fits the picture to its place: one scale for depths and widths, and one factor for what leans, the same for a whole hole.

/** How many times wider than true a lean may be drawn. */
const STEPS = [1, 2, 3, 4, 5, 6, 8, 10, 15, 20, 30, 50];
/** So many times the plan's limit has room, so that the factor need not change for a hole that goes out of it. */
const HEADROOM = 2.5;
/** Of an elevation's half width, what the hole itself may fill. */
const FILLED = 0.6;
/** The plan's factor is taken again only where it leaves this much more room, so that the picture does not jump to and fro. */
const SPARE = 0.85;
/** Between the elevations, in letters' sizes. */
const GAP = 0.4;

/**
 * The frame for a picture (lengths in mm) in a place of `size` (px). `y(depth)` and `x(offset)` give px; `half` is an
 * elevation's half width, `scale` px per mm, `times` the factor and `less` whether it is less than the plan's. `before` is the
 * frame drawn last, or null.
 */
export function frame(known, size, before) {
  const { width, height, font } = size;
  const top = 1.14 * font;
  const room = height - top - 1.05 * font;
  const half = Math.max(20, (width - GAP * font) / 4);
  const goal = (known.planned + known.over) * 1.04;
  const deepest = Math.max(known.tip ?? 0, known.bottom ?? 0);
  // deeper than planned: in whole steps, so that the scale stands still
  const shown = goal * (deepest <= goal ? 1 : Math.ceil((deepest / goal) * 5) / 5);
  const scale = Math.min(room / shown, (2 * FILLED * half) / Math.max(known.diameter, 1));
  const radius = Math.max(3, (known.diameter / 2) * scale);
  const spare = Math.max(1, half - radius - 4) / scale; // mm
  const reach = (known.limit * known.planned) / 1000;
  const of = JSON.stringify([known.planned, known.limit, known.diameter, width]);
  // a place that only grows lower, for another line of words, leaves the factor as it is
  const plan = before?.of === of && reach * before.plan <= spare ? before.plan : largest(HEADROOM * reach, spare);
  const fits = largest(farthest(known), spare * (before?.less && before.of === of ? SPARE : 1));
  const times = Math.min(plan, Math.max(fits, 1));
  return {
    width,
    top,
    bottom: top + shown * scale,
    half,
    scale,
    radius,
    font,
    of,
    plan,
    times,
    less: times < plan,
    y: (depth) => top + depth * scale,
    x: (offset) => offset * times * scale,
  };
}

/** The widest step at which so much still fits. */
const largest = (offset, spare) => STEPS.filter((step) => offset * step <= spare).pop() ?? STEPS[0];

/** The farthest off that anything to be seen is, on either side. */
function farthest(known) {
  const ends = [known.toe, known.toePlanned].filter(Boolean).flatMap((at) => at.slice(0, 2));
  const axis = known.axis.flatMap((point) => point.slice(1, 3));
  return [...ends, ...axis].reduce((most, offset) => Math.max(most, Math.abs(offset)), 0);
}
