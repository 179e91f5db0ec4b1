// Several clients look at the cab page for a while; when did each reading reach each glass?
//
//   node glass.cjs '{"url": …, "clients": 4, "seconds": 20}'
//
// Prints "open" once all of them see figures, then
// {"clients": [{"seen": [[rig, heard, drawn, painted, other], …], "stale": n}], "changed": [ms, …]}:
// `rig` the rig's clock at the reading (low 16 bits), the rest ms of the time of day: the sight's arrival in the page's script, the end of
// its drawing, and the beginning of the frame after the one that it was drawn for; `other` is 1 where the page then was another than before,
// 0 where a tool that stood still left all figures as they were. `changed` are the times at which the compositor had
// changed pixels of the first client's page.
"use strict";

const { start, run } = require("./browser.cjs");

const asked = JSON.parse(process.argv[2]);

/** Runs in the page before anything of its own. */
function watch() {
  const now = () => performance.timeOrigin + performance.now();
  const glass = { seen: [], stale: 0 };
  window.glass = glass;
  let heard = 0;
  let before = "";
  const Stream = window.EventSource;
  window.EventSource = class extends Stream {
    constructor(url) {
      super(url);
      this.addEventListener("message", () => { heard = now(); });
    }
  };
  document.addEventListener("DOMContentLoaded", () => {
    const body = document.body;
    new MutationObserver((changes) => {
      if (changes.some((change) => change.attributeName === "data-stale")) glass.stale += body.dataset.stale === "yes" ? 1 : 0;
      if (!body.dataset.rig || !changes.some((change) => change.attributeName === "data-rig")) return;
      const [rig, arrived, drawn] = [Number(body.dataset.rig), heard, now()];
      const other = Number(body.innerHTML !== before);
      before = body.innerHTML;
      requestAnimationFrame(() => requestAnimationFrame(() => glass.seen.push([rig, arrived, drawn, now(), other])));
    }).observe(body, { attributes: true, attributeFilter: ["data-rig", "data-stale"] });
  });
}

async function main() {
  const browser = await start();
  const pages = [];
  for (let client = 0; client < asked.clients; client++) {
    const context = await browser.newContext({ viewport: { width: 1280, height: 800 } });
    const page = await context.newPage();
    await page.addInitScript(watch);
    await page.goto(asked.url);
    pages.push(page);
  }
  for (const page of pages) {
    while (!(await page.evaluate("window.glass.seen.length > 20"))) await page.waitForTimeout(100);
  }
  const changed = [];
  const devtools = await pages[0].context().newCDPSession(pages[0]);
  devtools.on("Page.screencastFrame", ({ metadata, sessionId }) => {
    changed.push(metadata.timestamp * 1000);
    devtools.send("Page.screencastFrameAck", { sessionId }).catch(() => {});
  });
  await devtools.send("Page.startScreencast", { format: "jpeg", quality: 1, maxWidth: 160, maxHeight: 100 });
  for (const page of pages) await page.evaluate("void (window.glass.seen = [], window.glass.stale = 0)");
  console.log("open");
  await pages[0].waitForTimeout(asked.seconds * 1000);
  await devtools.send("Page.stopScreencast");
  const clients = [];
  for (const page of pages) clients.push(await page.evaluate("({ seen: window.glass.seen, stale: window.glass.stale })"));
  console.log(JSON.stringify({ clients, changed }));
  await browser.close();
}

run(main);
