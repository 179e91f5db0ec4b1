// Chooses the hole from the sheets in the store: a filter, a list with big rows, then what the sheet does not know.

import { el, list, put, words } from "./dom.js";
import { rememberWho, who } from "./acts.js";
import { open } from "./panel.js";

/** Rows that are shown at once; a filter finds the rest. */
const MOST = 60;
const PATIENCE_MS = 10000;
const CAUTION = "Buried lines: have them located and marked first. Overhead lines: keep clear. Follow local codes.";

/** Shows the list; `confirm(act, lines)` is called with the hole that was chosen. */
export async function choose(confirm) {
  const status = el("p", { role: "status", text: "reading the sheets" });
  const filter = el("input", { id: "filter", type: "text", autocomplete: "off", placeholder: "41 left" });
  const rows = el("ul", { class: "rows" });
  open(
    "choose",
    "choose the hole",
    [
      el(
        "div",
        { class: "row" },
        el("div", {}, el("label", { for: "filter", text: "find" }), filter),
        el("p", { class: "caution", text: CAUTION }),
      ),
      status,
      rows,
    ],
    { wide: true },
  );
  let holes = [];
  const show = () => showRows(rows, status, holes, filter.value, confirm);
  try {
    holes = await plans();
    filter.addEventListener("input", show);
    show();
  } catch {
    put(status, "the sheets cannot be read from the program: close this and try again");
  }
}

/** Every leg of every structure, as one list. */
async function plans() {
  const answer = await fetch("/plans", { signal: AbortSignal.timeout(PATIENCE_MS) });
  if (!answer.ok) throw new Error(String(answer.status));
  const body = await answer.json();
  return list(body?.structures, 20000).flatMap((each) =>
    list(each?.legs, 100).map((leg) => {
      const [line, structure, name] = [words(each.line), words(each.structure), words(leg?.words)];
      return {
        line,
        structure,
        leg: words(leg?.leg),
        name,
        state: words(leg?.state),
        depth: words(leg?.depth),
        diameter: words(leg?.diameter),
        ticket: words(leg?.ticket),
        warn: leg?.warn === true,
        text: `${structure} ${name} ${line}`.toLowerCase(),
      };
    }),
  );
}

function showRows(rows, status, holes, filter, confirm) {
  const wanted = filter.toLowerCase().split(/\s+/).filter(Boolean);
  const found = holes.filter((hole) => wanted.every((word) => hole.text.includes(word)));
  const more = found.length > MOST ? `; the first ${MOST} are shown` : "";
  put(status, holes.length ? `${found.length} of ${holes.length} holes${more}` : "no hole is planned in this store: enter a sheet first");
  rows.replaceChildren(...found.slice(0, MOST).map((hole) => el("li", {}, row(hole, confirm))));
}

function row(hole, confirm) {
  const facts = [hole.state, hole.depth, hole.diameter && `⌀ ${hole.diameter}`, hole.line].filter(Boolean).join(", ");
  return el(
    "button",
    { type: "button", class: "hole", on: { click: () => details(hole, confirm) } },
    el("span", { class: "name", text: `${hole.structure} ${hole.name}`.trim() }),
    el("span", { class: "facts", text: facts }),
    hole.ticket ? el("span", { class: hole.warn ? "ticket warn" : "ticket", text: hole.ticket }) : null,
  );
}

/** What the sheet does not know: tool, heading, hub, operator. */
function details(hole, confirm) {
  const fields = {
    tool: field("tool", "tool on now", "1", "numeric"),
    heading: field("heading", "heading °, clockwise from ahead", "", "decimal"),
    hub_above_datum: field("hub", "hub above datum (0.2 ft, 60 mm)", "", "text"),
    operator: field("operator", "operator", who() === "cab" ? "" : who(), "text"),
    attempt: field("attempt", "attempt, if not the next", "", "numeric"),
    setup: field("setup", "set-up, if not the next", "", "numeric"),
  };
  const short = el("p", { role: "status" });
  const go = () => {
    const load = { structure: hole.structure, leg: hole.leg, line: hole.line };
    for (const [name, { input }] of Object.entries(fields)) {
      const value = input.value.trim();
      if (["tool", "attempt", "setup"].includes(name)) {
        if (value === "" && name !== "tool") continue;
        if (!/^[1-9]\d{0,2}$/.test(value) || Number(value) > 255) return complain(short, input, `${name}: a whole number from 1 to 255`);
        load[name] = Number(value);
      } else {
        if (value === "") return complain(short, input, `${name.replaceAll("_", " ")} is needed`);
        load[name] = value;
      }
    }
    rememberWho(load.operator);
    const ticket = hole.warn ? [`${hole.ticket}. This is recorded and printed.`] : [];
    confirm({ load }, [
      `Open ${`${hole.structure} ${hole.name}`.trim()}, tool ${load.tool}, heading ${load.heading}°, hub ${load.hub_above_datum} above the datum, operator ${load.operator}.`,
      ...ticket,
      CAUTION,
    ]);
  };
  const warning = hole.warn
    ? el("p", {
        class: "caution warn",
        text: `${hole.ticket}. This does not stop the hole; it is recorded.`,
      })
    : null;
  const buttons = [
    el("button", { type: "button", class: "yes", text: "go on", on: { click: go } }),
    el("button", { type: "button", text: "back", on: { click: () => choose(confirm) } }),
  ];
  open(
    "details",
    `${hole.structure} ${hole.name}`.trim(),
    [
      el("div", { class: "row" }, el("p", { class: "caution", text: CAUTION }), warning),
      el("div", { class: "fields" }, ...Object.values(fields).map((each) => each.node), ...buttons),
      short,
    ],
    { wide: true },
  );
}

function field(id, text, value, mode) {
  const input = el("input", { id, type: "text", inputmode: mode, maxlength: "24", autocomplete: "off" });
  input.value = value;
  return { input, node: el("div", {}, el("label", { for: id, text }), input) };
}

function complain(node, input, text) {
  put(node, text);
  input.focus();
}
