// Shows alarms that nobody has heard yet as one block with one button, and sounds each once.

import { $, attr, el, list, put, shown, words } from "./dom.js";
import { passing, recall, remember } from "./memory.js";
import { audible, sound, unlockAtTouch } from "./sound.js";
import { isPending, submit, who } from "./acts.js";

/** Letters that one line of the block holds, and two. */
const ONE_LINE = 28;
const ROOM = 46;

const block = $("alarm");
const text = el("p", { class: "alarm-words" });
const quiet = el("p", { class: "alarm-quiet", text: "sound is off: touch once" });
const button = el("button", { type: "button", id: "heard", text: "heard", on: { click: acknowledge } });
block.append(el("div", {}, text, quiet), button);

let sounded = new Set(recall(passing(), "sounded", []));
let standing = []; // not yet acknowledged, as the program says
let run = "";

unlockAtTouch(() => ring());

/** Shows a sight's alarms, with what else is abnormal while they take its place; gives what is to be read out. */
export function showAlarms(sight) {
  run = words(sight.run);
  const alarms = list(sight.alarms, 20).filter((alarm) => alarm && typeof alarm === "object");
  standing = alarms.filter((alarm) => alarm.acknowledged !== true);
  ring();
  const said = together(standing, list(sight.abnormal, 10));
  const any = standing.length > 0;
  shown(block, any);
  const short = brief(said);
  put(text, short);
  shown(quiet, !audible() && short.length < ONE_LINE);
  attr(block, "data-short", audible() && short.length < ONE_LINE ? "yes" : null);
  const told = any && standing.every((alarm) => isPending(ackOf(alarm)));
  put(button, told ? "telling" : "heard");
  attr(button, "aria-disabled", told ? "true" : null);
  return any ? said.join(", ") : "";
}

/** The words of alarms that stand, of what else is abnormal, then of alarms whose cause is over; each once. */
function together(alarms, abnormal) {
  const over = (alarm) => alarm.stands === false;
  const said = new Map();
  for (const each of [...alarms.filter((alarm) => !over(alarm)), ...abnormal, ...alarms.filter(over)]) {
    const text = words(each?.text, 60);
    if (text && !said.has(text.toLowerCase())) said.set(text.toLowerCase(), over(each) ? `over: ${text}` : text);
  }
  return [...said.values()];
}

/** As many of them as two lines hold, and how many more there are. */
function brief(said) {
  let text = said[0] ?? "";
  let count = Math.min(1, said.length);
  while (count < said.length && text.length + said[count].length < ROOM) text += `, ${said[count++]}`;
  return count < said.length ? `${text}, +${said.length - count}` : text;
}

/** Nothing is known: an alarm of before is not shown as if it stood. */
export function noAlarms() {
  standing = [];
  shown(block, false);
}

/** Those that were heard and still stand, in words. */
export const heardAlarms = (sight) =>
  list(sight.alarms, 20)
    .filter((alarm) => alarm?.acknowledged === true)
    .map((alarm) => words(alarm.text, 60));

/** Sounds what stands and was not sounded; what came while sound was off is sounded when it comes on. */
function ring() {
  if (!audible()) return;
  let delay = 0;
  for (const alarm of standing) {
    const id = `${run} ${words(alarm.id)}`;
    if (sounded.has(id)) continue;
    sounded.add(id);
    setTimeout(sound, delay, words(alarm.kind));
    delay += 1000;
    document.body.dataset.sounds = String(Number(document.body.dataset.sounds ?? 0) + 1);
    document.body.dataset.sounded = words(alarm.kind);
  }
  if (delay === 0) return;
  sounded = new Set([...sounded].slice(-100));
  remember(passing(), "sounded", [...sounded]);
}

function acknowledge() {
  for (const alarm of standing) {
    if (!isPending(ackOf(alarm))) submit({ acknowledge: { alarm: words(alarm.id), by: who() } }, ackOf(alarm), run);
  }
}

const ackOf = (alarm) => `heard: ${words(alarm.text, 60)} (${words(alarm.id)})`;
