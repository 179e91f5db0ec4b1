// The cab page: hears the program's sights and shows each, or dashes where nothing is known.

import { $, attr, el, list, put, shown, words } from "./dom.js";
import { hear } from "./sight.js";
import { dashAll, showFigures } from "./figures.js";
import { emptyPicture, showPicture } from "./picture.js";
import { heardUnbelieved, noAlarms, showAlarms } from "./alarms.js";
import { hearFates } from "./acts.js";
import { openActs, openRefusal, setSight } from "./asking.js";
import { clockDiffers, keepAwake, openMore, setMore, startLook } from "./more.js";
import { close, isOpen, refresh } from "./panel.js";
import { audible, canSound } from "./sound.js";
import { showChips } from "./chips.js";

let handled = 0;
let spoken = "";

function seen(sight) {
  const nothing = words(sight.why_nothing);
  const name = words(sight.hole?.name, 60);
  put($("hole"), name ? `hole ${name}` : words(sight.hole_words, 60) || "no hole open");
  put($("place"), words(sight.place, 60));
  attr($("place"), "data-not", nothing ? "yes" : null);
  shown($("simulated"), sight.simulated === true || sight.rig?.simulated === true);
  setSight(sight);
  setMore(sight);
  hearFates(sight);
  const alarms = showAlarms(sight);
  asked(sight, alarms !== "");
  if (nothing) blank(nothing);
  else live(sight);
  const chips = showChips(nothing ? [] : chipsOf(sight));
  say([nothing, alarms, ...chips].filter(Boolean).join(". "));
  finish(nothing ? "yes" : "no");
}

function live(sight) {
  attr(document.body, "data-rig", Number.isFinite(sight.at) ? sight.at : null);
  attr(document.body, "data-units", sight.units === "feet" ? "feet" : "metric");
  showFigures(sight);
  showPicture(sight);
}

/** Nothing is known: dashes, the reason, and no picture. */
function blank(reason) {
  dashAll();
  emptyPicture(reason);
}

function lost(reason) {
  blank(reason);
  put($("hole"), "no data");
  put($("place"), "NOT LIVE");
  attr($("place"), "data-not", "yes");
  setSight(null);
  setMore(null);
  noAlarms();
  shown($("asked"), false);
  attr(document.body, "data-block", null);
  showChips([]);
  say(reason);
  finish("yes");
}

function finish(stale) {
  shown($("sound-on"), canSound() && !audible());
  refresh();
  attr(document.body, "data-stale", stale);
  if (stale === "no" || handled > 0) attr(document.body, "data-at", handled);
}

/** What deserves a word above the figures, weightiest first. */
function chipsOf(sight) {
  const doubts = list(sight.doubts).length;
  return [
    ...heardUnbelieved(sight).map((text) => ({ text, kind: "unbelieved" })),
    ...list(sight.abnormal, 10).map((each) => ({ text: words(each?.text, 60), kind: each?.grave === true ? "grave" : "odd" })),
    { text: words(sight.plumb, 40), kind: "note" },
    { text: doubts === 0 ? "" : `${doubts === 1 ? "1 doubt" : `${doubts} doubts`}: see menu`, kind: "doubt" },
    { text: clockDiffers(sight) ? "this screen's clock differs" : "", kind: "note" },
  ].filter((chip) => chip.text);
}

/** The rig's question, with one button to answer it. */
function asked(sight, alarmed) {
  const asks = list(sight.asks).includes("refusal") && sight.holder === "this" && !alarmed && isOpen() === null;
  shown($("asked"), asks);
  attr(document.body, "data-block", asks || alarmed ? "yes" : null);
}

/** Reads out what changed in state and alarms, never the figures. */
function say(text) {
  const kind = text.replace(/\d+(\.\d+)?/g, ""); // "no data for 2.5 s" is said once, not counted aloud
  if (kind === spoken) return;
  spoken = kind;
  put($("says"), text);
}

const toggle = (name, open) => (event) => (isOpen() === name ? close() : (close(), open(event.currentTarget)));

startLook();
$("open-acts").addEventListener("click", toggle("acts", openActs));
$("open-more").addEventListener("click", toggle("more", openMore));
$("asked").append(
  el("p", { text: "slow going: is it refusal?" }),
  el("button", { type: "button", text: "answer", on: { click: (event) => openRefusal(event.currentTarget) } }),
);
keepAwake();
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && keepAwake());
hear((sight) => {
  handled += 1;
  seen(sight);
}, lost);
