// The few words beside the figures: what is abnormal first, then state and doubts; as many as there is room for.

import { $, el } from "./dom.js";

/** A longer text stands up to its colon; the drawer has the rest, letters. */
const LONG = 24;
const place = $("chips");
let shownNow = null;

/** Shows chips `{text, kind}`, weightiest first; gives the words that are to be read out. */
export function showChips(chips) {
  const key = JSON.stringify(chips);
  if (key !== shownNow) {
    shownNow = key;
    place.replaceChildren(
      ...chips.map(({ text, kind }) => el("li", { class: `chip ${kind}`, text: text.length > LONG ? text.split(": ")[0] : text })),
    );
    fit(chips.length);
  }
  return chips.map((chip) => chip.text);
}

/** Leaves out the last ones until the rest fits, and says how many more there are. */
function fit(count) {
  const rest = el("li", { class: "chip note" });
  // a tenth over is the tails of letters, not another line
  for (let left = count; left > 1 && place.scrollHeight > 1.1 * place.clientHeight; left -= 1) {
    rest.remove();
    place.children[left - 1].remove();
    rest.textContent = `+${count - left + 1}`;
    place.append(rest);
  }
  if (place.scrollHeight > 1.1 * place.clientHeight) rest.remove();
}

new ResizeObserver(() => {
  const chips = JSON.parse(shownNow ?? "[]");
  shownNow = null;
  showChips(chips);
}).observe(place);
