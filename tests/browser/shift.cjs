// Keeps one cab page open for a shift and writes down every change of what it says the tool is doing.
//
//   node shift.cjs '{"url": …, "state": "a selector"}'
//
// Prints "open"; reads a line for each mark that is wanted and answers {"heap", "nodes"} after a collection; at the end of its input
// prints {"states": ["cutting", …], "sounded": [names of alarms], "sounds": n, "heap", "nodes", "said": […]}.
"use strict";

const { heap, run, start, tablet } = require("./browser.cjs");
const lines = require("node:readline").createInterface({ input: process.stdin });

const asked = JSON.parse(process.argv[2]);

/** Runs in the page: notes each change of the words, but for their figures, however short they stand; and each alarm that is sounded. */
function note(selector) {
  const [states, sounded] = [[], []];
  window.shift = { states, sounded };
  const look = () => {
    const words = (document.querySelector(selector)?.textContent ?? "").replace(/[\d.]+/g, "").replace(/\s+/g, " ").trim();
    if (states.at(-1) !== words) states.push(words);
    // the page names the last few that it sounded, oldest first
    const last = (document.body.dataset.sounded ?? "").split(" ").filter(Boolean);
    if (last.length > 0 && last.at(-1) !== sounded.at(-1)) sounded.push(...last.slice(last.indexOf(sounded.at(-1)) + 1));
  };
  new MutationObserver(look).observe(document.body, { subtree: true, childList: true, characterData: true, attributes: true });
  look();
}

async function main() {
  const browser = await start();
  const { page, said, devtools } = await tablet(browser);
  const mark = async () => ({ heap: await heap(devtools), nodes: await page.evaluate("document.getElementsByTagName('*').length") });
  await page.goto(asked.url);
  await page.click("body");
  await page.evaluate(`(${note})(${JSON.stringify(asked.state)})`);
  console.log("open");
  for await (const line of lines) {
    if (line) console.log(JSON.stringify(await mark()));
  }
  const { states, sounded } = await page.evaluate("window.shift");
  const sounds = Number(await page.evaluate("document.body.dataset.sounds ?? 0"));
  console.log(JSON.stringify({ states, sounded, sounds, said, ...(await mark()) }));
  await browser.close();
}

run(main);
