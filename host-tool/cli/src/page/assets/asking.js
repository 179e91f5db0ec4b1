// The acts of the rig as big buttons: each is confirmed in words, then the rig's own answer is shown.

import { $, attr, changed, el, put } from "./dom.js";
import { fateOf, lastActs, onFate, rememberWho, submit, who } from "./acts.js";
import { close, isOpen, open, refresh } from "./panel.js";
import { choose } from "./choose.js";
import { pairing } from "./pairing.js";

const TOOLS = 8; // a rig's tool table has no more
const NOTES = [
  ["rock", "rock"],
  ["water_added", "water added"],
  ["casing", "casing"],
  ["fall_in", "fall-in"],
  ["other", "other"],
];
const NO_DATA = "no data from the rig: nothing can be asked of it now";
let sight = {};
let known = false; // whether the sight is of now

/** Takes the sight, or `null` where nothing is known. */
export function setSight(now) {
  known = now !== null;
  if (now) sight = now;
}

const button = (text, click, extra = {}) => el("button", { type: "button", text, on: { click }, ...extra });

/** The list of acts, or the one act of taking them. */
export function openActs(by = null) {
  const place = el("div", { class: "buttons three" });
  const said = el("ul", { class: "said" });
  let shape = null;
  const show = () => {
    const asks = Array.isArray(sight.asks) && sight.asks.includes("refusal");
    const now = JSON.stringify([known, sight.holder, sight.paired, asks]);
    if (now !== shape) {
      shape = now;
      const stood = place.contains(document.activeElement);
      place.replaceChildren(...buttons(asks));
      if (stood) $("panel-title").focus(); // the button under the keyboard is gone
    }
    showLast(said);
  };
  open("acts", "acts", [place, el("h3", { text: "what the rig said" }), said], { refresh: show, by });
}

function buttons(asks) {
  if (sight.paired === false) return pairing();
  if (!known) return [el("p", { class: "whole", text: NO_DATA })];
  if (sight.holder !== "this") {
    const whose = sight.holder === "another" ? "Another tablet has the rig's acts." : "No tablet has the rig's acts.";
    const take = () =>
      confirm(
        "take the rig's acts",
        [whose, "From now on this tablet asks the rig; the other only shows."],
        { hold: {} },
        "yes, take them",
      );
    return [el("p", { class: "whole", text: whose }), button("take the rig's acts on this tablet", take, { class: "whole" })];
  }
  return [
    asks ? button("is it refusal?", () => openRefusal(), { class: "whole" }) : null,
    button("touch hub", () =>
      confirm(
        "touch the hub",
        ["The tip stands on the hub now, and is held still.", "Depth counts from there."],
        { touch: {} },
        "yes, on the hub",
      ),
    ),
    button("change tool", openTool),
    button("note", openNote),
    button("choose hole", () => choose((act, lines) => confirm("open this hole", lines, act, "yes, open it"))),
    button("close hole", () =>
      confirm("close the hole", ["The hole is finished, or left.", "The rig seals its record."], { close: {} }, "yes, close it"),
    ),
  ].filter(Boolean);
}

/** Whether slow going is refusal: only a person knows. */
export function openRefusal(by = null) {
  const answer = (yes) => () =>
    confirm(
      yes ? "it is refusal" : "it is not refusal",
      ["The rig records this as said here."],
      { refusal: { confirmed: yes } },
      yes ? "yes, refusal" : "yes, no refusal",
    );
  const nodes = [
    el("p", { text: "Going is slow. Does the ground refuse the tool?" }),
    el(
      "div",
      { class: "buttons" },
      button("refusal", answer(true)),
      button("no refusal", answer(false)),
      button("back", () => openActs()),
    ),
  ];
  open("refusal", "is it refusal?", nodes, { by });
}

/** Says what will be asked of the rig, and asks it at the big yes. */
function confirm(word, lines, act, yes) {
  const of = sight.run; // the run that the person looks at
  const short = el("p", { role: "status" });
  const go = () => (known ? openFate(submit(act, word, of), word) : put(short, NO_DATA));
  const nodes = [
    el("p", { text: "This will be asked of the rig:" }),
    ...lines.map((text) => el("p", { class: "strong", text })),
    short,
    el(
      "div",
      { class: "buttons" },
      button(yes, go, { class: "yes" }),
      button("back", () => openActs()),
    ),
  ];
  open("confirm", `${word}?`, nodes, { wide: "load" in act }); // nothing is drilled yet where a hole is opened
}

/** What became of an act, as the rig says it. */
function openFate(id, word) {
  const said = el("p", { class: "strong", role: "status" });
  const show = () => {
    const fate = fateOf(id);
    put(said, known || fate.over ? fate.said : `${fate.said}; no data from the rig now`);
    attr(said, "data-bad", fate.bad ? "yes" : null);
  };
  open(
    "fate",
    word,
    [
      said,
      el(
        "div",
        { class: "buttons" },
        button("other acts", () => openActs()),
        button("back to the hole", close),
      ),
    ],
    { refresh: show },
  );
}

function openTool() {
  const ask = (tool) =>
    confirm(
      `tool ${tool} is on`,
      [`Tool ${tool} of the rig's table is on now.`, "Touch the hub next."],
      { tool: { tool } },
      `yes, tool ${tool}`,
    );
  const each = Array.from({ length: TOOLS }, (_, i) => button(String(i + 1), () => ask(i + 1), { "aria-label": `tool ${i + 1}` }));
  open("tool", "which tool is on now?", [
    el("div", { class: "buttons four" }, ...each),
    el(
      "div",
      { class: "buttons" },
      button("back", () => openActs()),
    ),
  ]);
}

function openNote() {
  const each = NOTES.map(([what, word]) => button(word, () => openNoted(what, word)));
  open("note", "note what?", [
    el(
      "div",
      { class: "buttons three" },
      ...each,
      button("back", () => openActs()),
    ),
  ]);
}

/** The note's words and who says so, with the big yes beside them: what it asks is in plain sight. */
function openNoted(what, word) {
  const text = el("input", { id: "note-text", type: "text", maxlength: "90", autocomplete: "off" });
  const by = el("input", { id: "note-by", type: "text", maxlength: "24", autocomplete: "off" });
  by.value = who() === "cab" ? "" : who();
  const short = el("p", { role: "status" });
  const of = sight.run;
  const take = () => {
    const more = text.value.trim();
    if (!known) return put(short, NO_DATA);
    if (what === "other" && !more) return put(short, "say what in a few words first");
    if (by.value.trim()) rememberWho(by.value.trim());
    openFate(submit({ note: { what, text: more, by: who() } }, `note: ${word}`, of), `note: ${word}`);
  };
  open("noted", `note: ${word}`, [
    el("p", { text: "The rig records this as said by:" }),
    el(
      "div",
      { class: "pair" },
      el("div", {}, el("label", { for: "note-by", text: "who" }), by),
      el("div", {}, el("label", { for: "note-text", text: what === "other" ? "what" : "more, if need be" }), text),
    ),
    short,
    el("div", { class: "buttons" }, button("yes, note it", take, { class: "yes" }), button("back", openNote)),
  ]);
}

/** The last acts and what the rig said, as a list that is written again only when it changed. */
function showLast(node) {
  const acts = lastActs();
  if (!changed(node, JSON.stringify(acts))) return;
  node.replaceChildren(
    ...(acts.length ? acts : [{ word: "nothing yet", said: "" }]).map(({ word, said }) =>
      el("li", { text: [word, said].filter(Boolean).join(": ") }),
    ),
  );
}

onFate(() => isOpen() && refresh());
