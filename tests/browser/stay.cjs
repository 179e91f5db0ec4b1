// Keeps the cab page open in a real browser for a while and writes down what it shows.
//
//   node stay.cjs '{"url": …, "seconds": 20, "click": [selectors], "keys": ["Tab", …]}'
//
// Prints {"samples": [{"ms", "at", "stale", "to_go", "depth", "why", "hole", "alarm", "sounds", "nodes"}], "heap": [first, last], "said": […]}.
"use strict";

const { heap, run, start, tablet } = require("./browser.cjs");

const asked = JSON.parse(process.argv[2]);

/** Runs in the page: what a person sees now. */
function seen() {
  const text = (selector) => document.querySelector(selector)?.textContent.trim() ?? "";
  const shown = (selector) => (document.querySelector(selector)?.checkVisibility() ? text(selector) : "");
  return {
    at: Number(document.body.dataset.at), stale: document.body.dataset.stale, to_go: text("#to_go .big"), depth: text("#depth .big"),
    why: shown("#why"), hole: text("#hole"), alarm: shown("#alarm"), sounds: Number(document.body.dataset.sounds ?? 0),
    nodes: document.getElementsByTagName("*").length,
  };
}

async function main() {
  const browser = await start();
  const { page, said, devtools } = await tablet(browser);
  await page.goto(asked.url);
  for (const selector of asked.click || []) await page.click(selector, { timeout: 10_000 });
  for (const key of asked.keys || []) await page.keyboard.press(key);
  const begun = Date.now();
  const samples = [];
  console.log("open");
  let first = null;
  while (Date.now() - begun < asked.seconds * 1000) {
    samples.push({ ms: Date.now() - begun, ...(await page.evaluate(seen)) });
    if (first === null && Date.now() - begun > 2_000) first = await heap(devtools);
    await page.waitForTimeout(100);
  }
  const focus = await page.evaluate(() => document.activeElement?.id || document.activeElement?.textContent || "");
  console.log(JSON.stringify({ samples, heap: [first, await heap(devtools)], said, focus }));
  await browser.close();
}

run(main);
