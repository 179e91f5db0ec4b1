// The drawer: all that is true and not needed at a glance, the looks, and the way to the other pages.

import { changed, el, list, put, words } from "./dom.js";
import { lasting, recall, remember } from "./memory.js";
import { told } from "./figures.js";
import { heardUnbelieved } from "./alarms.js";
import { audible } from "./sound.js";
import { open, refresh } from "./panel.js";

/** The tablet's clock and the program's may differ by so much, ms. */
const CLOCK_MS = 30000;
let sight = null;
let lock = null; // the screen's wake lock
let lockSaid = "screen: not asked to stay on yet";

/** Takes the sight, or `null` where nothing is known. */
export function setMore(now) {
  sight = now;
}

/** Whether this tablet's clock and the program's differ so much that it must be said. */
export function clockDiffers(now) {
  const wall = Date.parse(words(now?.wall));
  return Number.isFinite(wall) && Math.abs(wall - Date.now()) > CLOCK_MS;
}

/** Opens the drawer. */
export function openMore(by) {
  const facts = el("ul", { class: "facts-list" });
  const look = el("button", { type: "button", on: { click: turn } });
  const whole = el("button", { type: "button", text: "full screen", on: { click: fillScreen } });
  const show = () => {
    put(look, document.documentElement.dataset.look === "night" ? "day look" : "night look");
    const lines = sight ? linesOf(sight) : ["no data from this program"];
    if (changed(facts, JSON.stringify(lines))) facts.replaceChildren(...lines.map((text) => el("li", { text })));
  };
  open(
    "more",
    "menu",
    [
      el(
        "div",
        { class: "buttons four" },
        look,
        whole,
        el("a", { href: "/ground", text: "ground hand" }),
        el("a", { href: "/holes", text: "holes, papers" }),
      ),
      facts,
      legend(),
    ],
    { refresh: show, by },
  );
}

function linesOf(now) {
  const hole = now.hole && typeof now.hole === "object" ? now.hole : {};
  const rig = now.rig && typeof now.rig === "object" ? now.rig : {};
  const holder =
    { this: "this tablet has the rig's acts", another: "another tablet has the rig's acts" }[now.holder] ?? "no tablet has the rig's acts";
  return [
    ...list(now.abnormal).map((each) => words(each?.text)),
    ...heardUnbelieved(now).map((text) => `heard, and still so: ${text}`),
    ...list(now.doubts).map((text) => words(text)),
    ...list(now.notes).map((text) => words(text)),
    told({ ...now.to_go, more: words(now.to_go?.more) || "to go" }),
    `hole ${told(now.depth)}`,
    words(now.place, 60),
    [`lean ${told(now.lean)}`, words(now.verdict?.text, 40), words(now.hint, 80)].filter(Boolean).join(", "),
    words(now.plumb, 40),
    `toe off centre ${told(now.toe)}`,
    words(hole.name) && `hole: ${words(hole.name)}`,
    words(hole.plan) && `planned: ${words(hole.plan)}`,
    words(hole.line) && `line: ${words(hole.line)}`,
    words(hole.operator) && `operator: ${words(hole.operator)}`,
    `${words(rig.name) || "no rig"}${now.simulated === true ? ", SIMULATED" : ""}`,
    holder,
    words(now.pairing_code) && now.shared === true && `another device is paired with ${words(now.pairing_code)}`,
    `the program's clock: ${words(now.wall).slice(0, 19).replace("T", " ") || "not said"}${clockDiffers(now) ? "; this screen's clock differs by more than 30 s" : ""}`,
    audible() ? "sound is on" : "sound is off",
    lockSaid,
  ].filter(Boolean);
}

const legend = () =>
  el(
    "div",
    {},
    el("h3", { text: "in the picture" }),
    ...[
      "Two views of one hole, along the cab's axes: forward and back, left and right. Depth and the hole's width are to one scale; lean and offsets are drawn wider, as many times as the picture says, the same for a whole hole unless something would leave the picture.",
      "Hatched band: the planned depth and what is accepted short of it and beyond. Broken lines: both walls must stay between them to be within the plumb limit.",
      "Dark block: the tool, its stem at the lean that it has now. Pale: the hole still to come if nothing changes, with its floor; a striped floor is outside the limit.",
    ].map((text) => el("p", { text })),
  );

/** Day or night, and remembers it; without a choice the tablet's own wish counts. */
export function startLook() {
  const dark = window.matchMedia?.("(prefers-color-scheme: dark)").matches;
  document.documentElement.dataset.look = recall(lasting(), "look", dark ? "night" : "day") === "night" ? "night" : "day";
}

function turn() {
  const look = document.documentElement.dataset.look === "night" ? "day" : "night";
  document.documentElement.dataset.look = look;
  remember(lasting(), "look", look);
  refresh();
}

/** The whole screen for the page, or no longer: the sizes are made for all of it. */
async function fillScreen() {
  try {
    await (document.fullscreenElement ? document.exitFullscreen() : document.documentElement.requestFullscreen());
  } catch {
    // a browser that does not do this has its own way
  }
}

/** Asks the tablet to keep its screen on; asked again whenever the page is seen again. */
export async function keepAwake() {
  if (!navigator.wakeLock) {
    lockSaid = "screen: this browser cannot keep it on; set the tablet so";
    return;
  }
  try {
    lock = await navigator.wakeLock.request("screen");
    lockSaid = "screen: stays on";
    lock.addEventListener("release", () => (lockSaid = "screen: may go dark"));
  } catch {
    lockSaid = "screen: the tablet did not agree to keep it on";
  }
}
