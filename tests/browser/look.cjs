// Opens a page in a real browser as it stands now, takes its picture and measures what a person's eyes and fingers need.
//
//   node look.cjs '{"url": …, "picture": "x.png", "width": 1280, "height": 800, "scale": 1, "night": false, "first": [selectors], "click": [selectors],
//                   "until": "an expression over document, true of the picture too", "vision": "protanopia", "axe": true}'
//
// Prints one JSON object: sizes in CSS pixels, contrasts as ratios (WCAG 2.2's formula), what axe-core says, what scrolls or overlaps.
"use strict";

const { start, run } = require("./browser.cjs");
const axe = require("axe-core").source;

const asked = JSON.parse(process.argv[2]);

/** Runs in the page: every element with text of its own that can be seen, and every button. */
function measure() {
  const seen = (element) => element.checkVisibility({ opacityProperty: true, visibilityProperty: true }) && element.getClientRects().length > 0;
  const box = (element) => { const r = element.getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom]; };
  // each line of a text has a box of its own: the box round all of them covers what stands beside a shorter one
  const lines = (element) => {
    const range = document.createRange();
    const boxes = [...element.childNodes].filter((n) => n.nodeType === 3 && n.data.trim()).map((n) => { range.selectNodeContents(n); return [...range.getClientRects()]; });
    const size = parseFloat(getComputedStyle(element).fontSize);
    // the type's box reaches 0.33 of its size over its capitals and 0.27 below the line, of which descenders take most
    const below = /[gjpqy,;()]/.test(element.textContent) ? 0.12 : 0.27;
    return boxes.flat().map((r) => [r.left, r.top + 0.32 * size, r.right, r.bottom - below * size]);
  };
  const own = (element) => [...element.childNodes].filter((n) => n.nodeType === 3).map((n) => n.data.trim()).join("");
  const channels = (text) => { const n = (text.match(/[\d.]+/g) || ["0", "0", "0", "0"]).map(Number); return [...n.slice(0, 3), n[3] ?? 1]; };
  const lightness = ([r, g, b]) => {
    const one = (c) => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4);
    return 0.2126 * one(r) + 0.7152 * one(g) + 0.0722 * one(b);
  };
  const ground = (element) => {
    for (let at = element; at; at = at.parentElement) {
      const colour = channels(getComputedStyle(at).backgroundColor);
      if (colour[3] > 0.99) return colour;
    }
    return [255, 255, 255, 1];
  };
  const contrast = (element) => {
    const style = getComputedStyle(element);
    const ink = channels(element instanceof SVGElement && style.fill !== "none" ? style.fill : style.color);
    const [a, b] = [lightness(ink), lightness(ground(element))].sort((x, y) => y - x);
    return (a + 0.05) / (b + 0.05);
  };
  const unseen = (element) => element.closest(".unseen") !== null;
  const texts = [...document.querySelectorAll("body *")].filter((e) => own(e) !== "" && seen(e) && !unseen(e) && !["SCRIPT", "STYLE", "TITLE"].includes(e.tagName));
  const one = (element) => ({
    text: own(element), id: element.id || element.parentElement?.id || "", class: String(element.getAttribute("class") || ""),
    tag: element.tagName.toLowerCase(), size: parseFloat(getComputedStyle(element).fontSize), contrast: contrast(element), box: box(element), lines: lines(element), within: box(element.closest("[id]") || document.documentElement),
  });
  const buttons = [...document.querySelectorAll("button, a[href], input, select, textarea, summary")].filter((e) => seen(e) && !unseen(e));
  const root = document.scrollingElement;
  return {
    texts: texts.map(one),
    targets: buttons.map((b) => ({ text: (b.textContent || b.getAttribute("aria-label") || b.name || "").trim(), box: box(b) })),
    scrolls: { across: root.scrollWidth - root.clientWidth, down: root.scrollHeight - root.clientHeight },
    window: [innerWidth, innerHeight],
    at: Number(document.body.dataset.at || 0), stale: document.body.dataset.stale || "",
  };
}

/** Texts that reach beyond the block that they are in, as it is cut or painted. */
function spills(texts, window) {
  const beyond = ([l, t, r, b], [L, T, R, B]) => l < L - 2 || t < T - 2 || r > R + 2 || b > B + 2;
  // a dash has its ink in the middle of its line
  return texts.filter((text) => text.text !== "–" && text.lines.some((line) => beyond(line, text.within) || line[0] < -2 || line[2] > window[0] + 2)).map((text) => text.text);
}

/** Texts whose boxes lie over each other, though neither is within the other. */
function overlaps(texts) {
  const over = [];
  for (let i = 0; i < texts.length; i++) {
    for (let j = i + 1; j < texts.length; j++) {
      const [a, b] = [texts[i], texts[j]];
      const over_each_other = ([l, t, r, b_], [l2, t2, r2, b2]) => {
        const [across, down] = [Math.min(r, r2) - Math.max(l, l2), Math.min(b_, b2) - Math.max(t, t2)];
        return across > 2 && down > 0.1 * Math.min(a.size, b.size); // a descender may reach down beside capitals
      };
      if (a.lines.some((one) => b.lines.some((other) => over_each_other(one, other)))) over.push([a.text, b.text]);
    }
  }
  return over;
}

/** Waits until this holds. Asked from outside: the page's own policy lets no text be run within it. */
async function until(page, holds) {
  for (let tries = 0; !(await page.evaluate(holds)); tries++) {
    if (tries > 2400) throw new Error(`never: ${holds}`);
    await page.waitForTimeout(50);
  }
}

async function main() {
  const browser = await start();
  try {
    const context = await browser.newContext({
      viewport: { width: asked.width, height: asked.height }, deviceScaleFactor: asked.scale || 1,
      colorScheme: asked.night ? "dark" : "light", reducedMotion: asked.still ? "reduce" : "no-preference", hasTouch: true,
    });
    const page = await context.newPage();
    const said = [];
    page.on("console", (line) => { if (["error", "warning"].includes(line.type())) said.push(line.text()); });
    page.on("pageerror", (error) => said.push(String(error)));
    await page.goto(asked.url);
    if (asked.vision) {
      const devtools = await context.newCDPSession(page);
      await devtools.send("Emulation.setEmulatedVisionDeficiency", { type: asked.vision });
    }
    for (const selector of asked.first || []) await page.click(selector, { timeout: 5_000 });
    await until(page, asked.until || "true");
    for (const selector of asked.click || []) await page.click(selector, { timeout: 5_000 });
    if (asked.click || !asked.until) await page.waitForTimeout(250);
    // a moment may be over before its picture is taken: then the next one like it
    do {
      await until(page, asked.until || "true");
      if (asked.picture) await page.screenshot({ path: asked.picture });
    } while (!(await page.evaluate(asked.until || "true")));
    const measured = await page.evaluate(measure);
    measured.overlaps = overlaps(measured.texts);
    measured.spills = spills(measured.texts, measured.window);
    measured.said = [...said]; // what axe-core does after this is its own affair
    if (asked.axe) {
      const judged = await (await page.evaluateHandle(`${axe}; axe.run(document, { resultTypes: ["violations"] })`)).jsonValue();
      measured.violations = judged.violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.target.join(" ")).join("; ")}`);
    }
    console.log(JSON.stringify(measured));
  } finally {
    await browser.close();
  }
}

run(main);
