// The few words above the figures: what is abnormal first, then what is well and what is in doubt; as many as there is room for.

import { $, el } from "./dom.js";

const place = $("chips");
let shownNow = null;

/** Shows chips `{text, kind}`, weightiest first; gives the words that are to be read out. */
export function showChips(chips) {
  const key = JSON.stringify(chips);
  if (key !== shownNow) {
    shownNow = key;
    place.replaceChildren(
      ...chips.map(({ text, kind }) => el("li", { class: `chip ${kind}`, text })),
    );
    fit(chips.length);
  }
  return chips.map((chip) => chip.text);
}

/** Leaves out the last ones until the rest fits, and says where they are. */
function fit(count) {
  const rest = el("li", { class: "chip note", text: "more in the menu" });
  // a tenth over is the tails of letters, not another line
  for (let left = count; left > 1 && place.scrollHeight > 1.1 * place.clientHeight; left -= 1) {
    rest.remove();
    place.children[left - 1].remove();
    place.append(rest);
  }
  if (place.scrollHeight > 1.1 * place.clientHeight) rest.remove();
}

new ResizeObserver(() => {
  const chips = JSON.parse(shownNow ?? "[]");
  shownNow = null;
  showChips(chips);
}).observe(place);
