// A tablet with the cab page open, driven line by line: one JSON order a line on stdin, one JSON answer a line on stdout.
//
//   node tablet.cjs '{"url": …, "touch": false}'
//
//   {"tab": "acts"}            presses Tab until what has the focus is called so; each stop on the way must be seen to have it
//   {"press": "Enter"}         presses a key         {"type": "S-7"}  types into what has the focus
//   {"until": "expression"}    waits for it          {"tell": "expression"}  its value now
//   {"watch": 2000}            what the page shows, again and again for so many ms, as fast as it goes
//   {"cdp": "Page.…", "with": {…}}   an order of the browser's own
//
// Each answer says what has the focus now, and whether a person sees it.
"use strict";

const { run, start, tablet } = require("./browser.cjs");
const readline = require("node:readline");

const asked = JSON.parse(process.argv[2]);
const MOST_TABS = 60;
const PATIENCE_MS = 60_000;

/** Runs in the page: a clock that can be put forward or back, and a page that can be hidden, as a tablet does both. */
function loosen() {
  const now = Date.now;
  window.jumped = 0;
  Date.now = () => now() + window.jumped;
  window.seen = "visible";
  Object.defineProperty(document, "visibilityState", { get: () => window.seen });
}

/** Runs in the page: what has the focus, and whether it is in sight with an outline round it. */
function focus() {
  const at = document.activeElement;
  if (!at || at === document.body) return { name: "", seen: false };
  const label = at.labels?.[0]?.textContent ?? at.getAttribute("aria-label") ?? at.textContent;
  const style = getComputedStyle(at);
  const box = at.getBoundingClientRect();
  const marked = (style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 2) || style.textDecorationLine === "underline";
  const within = box.top < innerHeight && box.bottom > 0 && box.left < innerWidth && box.right > 0;
  return { name: label.trim(), seen: at.checkVisibility() && marked && within };
}

/** Runs in the page: what a person sees now. */
function shown() {
  const text = (selector) => { const at = document.querySelector(selector); return at?.checkVisibility() ? at.textContent.trim() : ""; };
  return {
    hole: text("#hole"), place: text("#place"), why: text("#why"), alarm: text("#alarm"), chips: text("#chips"), hint: text("#hint"), toe: text("#toe"),
    to_go: text("#to_go .big"), depth: text("#depth .big"), lean: text("#lean .big"), lean_words: text("#lean .beside"), stale: document.body.dataset.stale,
    bored: (document.querySelector(".bored")?.getAttribute("d") ?? "").split("L").length, stem: document.querySelector(".stem")?.getAttribute("d") ?? "",
  };
}

async function until(page, holds) {
  const begun = Date.now();
  while (!(await page.evaluate(holds))) {
    if (Date.now() - begun > PATIENCE_MS) throw new Error(`never: ${holds}; ${JSON.stringify(await page.evaluate(shown))}`);
    await page.waitForTimeout(30);
  }
}

async function tab(page, name) {
  for (let tries = 0; tries < MOST_TABS; tries++) {
    await page.keyboard.press("Tab");
    const now = await page.evaluate(focus);
    if (now.name !== "" && !now.seen) throw new Error(`the focus is on "${now.name}" and not seen`);
    if (now.name === name) return;
  }
  throw new Error(`no Tab leads to "${name}"`);
}

async function carryOut(page, devtools, order) {
  if (order.tab !== undefined) await tab(page, order.tab);
  if (order.press !== undefined) await page.keyboard.press(order.press);
  if (order.type !== undefined) await page.keyboard.type(order.type);
  if (order.until !== undefined) await until(page, order.until);
  if (order.cdp !== undefined) return devtools.send(order.cdp, order.with || {});
  if (order.tell !== undefined) return page.evaluate(order.tell);
  if (order.watch === undefined) return null;
  const [begun, samples] = [Date.now(), []];
  while (Date.now() - begun < order.watch) samples.push(await page.evaluate(shown));
  return samples;
}

async function main() {
  const browser = await start();
  const { page, said, devtools } = await tablet(browser);
  await page.addInitScript(loosen);
  await page.goto(asked.url);
  console.log(JSON.stringify({ answer: "open" }));
  for await (const line of readline.createInterface({ input: process.stdin })) {
    const order = JSON.parse(line);
    try {
      const answer = await carryOut(page, devtools, order);
      const now = order.cdp === undefined ? await page.evaluate(focus) : null; // a frozen page answers nothing
      console.log(JSON.stringify({ answer: answer ?? null, focus: now, said }));
    } catch (error) {
      console.log(JSON.stringify({ failed: String(error), said }));
    }
  }
  await browser.close();
}

run(main);
