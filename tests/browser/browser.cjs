// The browser that all of these drive: the system's own, without what it would look for in a network.
"use strict";

const { chromium } = require("playwright-core");

const FLAGS = [
  "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
  "--disable-sync", "--autoplay-policy=no-user-gesture-required", "--js-flags=--expose-gc",
];

/** Starts it. */
const start = () => chromium.launch({ executablePath: "/usr/bin/chromium", args: FLAGS });

/** A page of a ten-inch tablet's size, what its scripts complain of, and the browser's own orders to it. */
async function tablet(browser) {
  const page = await browser.newPage({ viewport: { width: 1280, height: 800 } });
  const said = [];
  page.on("pageerror", (error) => said.push(String(error)));
  return { page, said, devtools: await page.context().newCDPSession(page) };
}

/** Bytes that the page's scripts hold after a collection. */
async function heap(devtools) {
  await devtools.send("HeapProfiler.collectGarbage");
  return (await devtools.send("Runtime.getHeapUsage")).usedSize;
}

/** Runs a program to its end; what goes wrong is said, and is its exit code. */
const run = (main) => main().catch((error) => { console.error(String(error)); process.exit(1); });

module.exports = { start, tablet, heap, run };
