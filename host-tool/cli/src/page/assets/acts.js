// Asks the rig's acts of the program: one id a press, asked again with the same id until there is an answer.

import { list, words } from "./dom.js";
import { lasting, passing, recall, remember } from "./memory.js";

/** Pause before an act is asked again, ms. */
const AGAIN_MS = 1000;
/** One answer is waited for so long, ms. */
const PATIENCE_MS = 4000;
/** An act that nobody answered for so long is not asked any more: what it says may no longer be so, ms. */
const TOO_OLD_MS = 60000;
/** A taken act of which nothing more is heard for so long may be pressed again, ms. */
const FRESH_MS = 5000;
const KEPT = 8;

const asked = new Set(); // called when the fate of an act changes
let run = "";
let fates = new Map(); // what the program says, by id
let pending = recall(passing(), "acts", []).filter((act) => act && typeof act.id === "string");

/** Calls `f` whenever the fate of an act may have changed. */
export const onFate = (f) => asked.add(f);

/** Who works here, as last said. */
export const who = () => words(recall(lasting(), "who", ""), 24) || "cab";
export const rememberWho = (name) => remember(lasting(), "who", name);

/** Asks for an act, said as `word`; gives its id. `of` is the run of the program that the person was looking at. */
export function submit(act, word, of = run) {
  const entry = { id: newId(), run: of, act, word, at: Date.now(), state: "asking", said: "" };
  pending.push(entry);
  while (pending.length > KEPT) pending.splice(Math.max(0, pending.findIndex(isOver)), 1);
  changed();
  ask(entry);
  return entry.id;
}

/** Whether an act with this word was asked just now, and is still on its way. */
export const isPending = (word) =>
  pending.some((act) => act.word === word && !isOver(act) && (act.state === "asking" || Date.now() - act.at < FRESH_MS));

/** Takes what a sight says of acts. */
export function hearFates(sight) {
  run = words(sight.run);
  const said = list(sight.acts, 20).filter((act) => act && typeof act === "object");
  const key = JSON.stringify([run, said]);
  if (key === fates.key) return;
  fates = new Map(said.map((act) => [words(act.id), { word: words(act.word), said: words(act.said), state: words(act.state) }]));
  fates.key = key;
  for (const act of pending) {
    const fate = fates.get(act.id);
    if (fate) [act.state, act.said] = [fate.state, fate.said];
    else if (act.state === "taken" && act.run !== run)
      fail(act, "the program was started again since: look at the readout before asking again");
  }
  changed();
}

/** The last acts, newest first: what the rig said of them, or how far they came. */
export function lastActs() {
  const mine = pending
    .filter((act) => !fates.has(act.id))
    .map((act) => ({ id: act.id, word: act.word, said: progress(act), state: act.state }));
  const told = [...fates].map(([id, fate]) => ({ id, ...fate }));
  return [...told, ...mine].reverse().slice(0, KEPT);
}

/** How one act stands, in words; `over` once nothing more will come. */
export function fateOf(id) {
  const act = pending.find((each) => each.id === id);
  const fate = fates.get(id);
  if (fate) return { said: fate.said, over: fate.state !== "under_way", bad: fate.state === "refused" };
  if (!act) return { said: "not known any more: look at the readout", over: true, bad: true };
  return { said: progress(act), over: isOver(act), bad: act.state === "failed" };
}

function progress(act) {
  if (act.state === "asking") return "asking; no answer yet";
  if (act.state === "taken") return "taken by this program; the rig has not said anything yet";
  return act.said;
}

const isOver = (act) => !["asking", "taken", "under_way"].includes(act.state);

async function ask(entry) {
  while (entry.state === "asking") {
    if (Math.abs(Date.now() - entry.at) > TOO_OLD_MS) {
      fail(entry, "no answer for a minute, given up: look at the readout before asking again");
      return;
    }
    await post(entry);
    if (entry.state === "asking") await new Promise((done) => setTimeout(done, AGAIN_MS));
  }
}

async function post(entry) {
  try {
    const answer = await fetch("/act", {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Borewitness": "1" },
      body: JSON.stringify({ run: entry.run, id: entry.id, act: entry.act }),
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
    if (answer.ok && entry.state === "asking") {
      entry.state = "taken";
      changed();
    } else if (answer.status >= 400 && answer.status < 500) {
      const body = await answer.json().catch(() => ({}));
      fail(entry, words(body?.error) || `not taken (${answer.status})`);
    }
  } catch {
    // no answer: it is asked again
  }
}

function fail(entry, said) {
  if (entry.state !== "asking" && entry.state !== "taken") return;
  [entry.state, entry.said] = ["failed", said];
  changed();
}

function changed() {
  remember(passing(), "acts", pending);
  for (const f of asked) f();
}

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

for (const act of pending) ask(act);
