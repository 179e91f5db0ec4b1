// Shows alarms that nobody has heard yet as one block with one button, and sounds each once.

import { $, attr, changed, el, list, put, shown, words } from "./dom.js";
import { passing, recall, remember } from "./memory.js";
import { audible, sound, unlockAtTouch } from "./sound.js";
import { isPending, submit, who } from "./acts.js";

/** Letters up to which one line alone is set larger. */
const SHORT = 25;

const block = $("alarm");
const lines = el("div", { class: "alarm-lines" });
const button = el("button", { type: "button", id: "heard", text: "heard", on: { click: acknowledge } });
block.append(lines, button);

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
  const any = standing.length > 0;
  const said = any ? grouped(standing, list(sight.abnormal, 10)) : [];
  if (changed(lines, JSON.stringify(said))) {
    lines.replaceChildren(...said.map(({ look, text }) => el("p", { class: `alarm-words ${look}`, text })));
    attr(block, "data-look", said[0]?.look ?? null);
    attr(block, "data-short", said.length === 1 && said[0].text.length <= SHORT ? "yes" : null);
  }
  shown(block, any);
  const told = any && standing.every((alarm) => isPending(ackOf(alarm)));
  put(button, told ? "telling" : "heard");
  attr(button, "aria-disabled", told ? "true" : null);
  return said.map(({ text }) => text).join(". ");
}

/**
 * All of them, each look on lines of its own: what is not to be believed, then what stands and what else is abnormal, then
 * what is over, or of which nobody knows whether it is.
 */
function grouped(alarms, abnormal) {
  const unbelieved = alarms.filter((alarm) => alarm.kind === "not_believed" && alarm.stands !== false);
  const stands = alarms.filter((alarm) => alarm.stands !== false && !unbelieved.includes(alarm));
  const unknown = alarms.filter((alarm) => alarm.unknown === true);
  const over = alarms.filter((alarm) => alarm.stands === false && alarm.unknown !== true);
  const said = new Set();
  const each = (all, word) => all.map((one) => word(words(one?.text, 60))).filter((text) => text && !said.has(text.toLowerCase()) && said.add(text.toLowerCase()));
  const first = each(unbelieved, shout);
  const second = each([...stands, ...abnormal], (text) => text.replace(/^[A-Z ]+$/, (all) => all.toLowerCase()));
  const third = [
    ["last known: ", each(unknown, (text) => text)],
    ["earlier: ", each(over, (text) => text.split(": ").pop())],
  ].filter(([, texts]) => texts.length);
  return [
    ...first.map((text) => ({ look: "unbelieved", text })),
    { look: "stands", text: second.join(", ") },
    { look: "over", text: third.map(([word, texts]) => word + texts.join(", ")).join("; ") },
  ].filter(({ text }) => text);
}

/** "lean unknown: …" as "LEAN UNKNOWN: …": what is not to be believed is what counts. */
const shout = (text) => text.replace(/^[^:]* unknown:|^no data/, (what) => what.toUpperCase());

/** Nothing is known: an alarm of before is not shown as if it stood. */
export function noAlarms() {
  standing = [];
  shown(block, false);
}

/** What is not to be believed still, and was heard, in words; the rest stands as abnormal. */
export const heardUnbelieved = (sight) =>
  list(sight.alarms, 20)
    .filter((alarm) => alarm?.acknowledged === true && alarm.kind === "not_believed" && alarm.stands !== false)
    .map((alarm) => shout(words(alarm.text, 60)));

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
    document.body.dataset.sounded = [...sounded].slice(-8).map((name) => name.split(" ")[1]).join(" ");
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
