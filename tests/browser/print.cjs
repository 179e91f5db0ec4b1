// Has a browser print papers: node print.cjs PAPERS.json FOLDER. Says "printed" and waits for a line, so that its processes can be counted.
"use strict";

const { start, run } = require("./browser.cjs");
const fs = require("node:fs");
const path = require("node:path");

const escaped = (text) => text.replace(/[&<>"]/g, (c) => `&#${c.charCodeAt(0)};`);

function html(paper, strokes) {
  const pages = paper.map(([width, height, words], n) => {
    const set = words.map(([text, left, base, size]) => `<span style="left:${left}pt;top:${base - size}pt;font-size:${size * 0.75}pt">${escaped(text)}</span>`);
    const lines = n === 0 ? strokes.map(([x1, y1, x2, y2]) => `<line x1="${x1}" y1="${y1}" x2="${x2}" y2="${y2}" stroke="#000"/>`) : [];
    return `<section style="width:${width}pt;height:${height}pt">${set.join("")}<svg viewBox="0 0 ${width} ${height}">${lines.join("")}</svg></section>`;
  });
  return `<!doctype html><style>@page{margin:0}body{margin:0}section{position:relative;break-after:page;overflow:hidden}
    span{position:absolute;white-space:pre;font-family:sans-serif}svg{position:absolute;inset:0}</style>${pages.join("")}`;
}

async function main() {
  const { papers, strokes } = JSON.parse(fs.readFileSync(process.argv[2], "utf8"));
  const browser = await start();
  const page = await browser.newPage();
  for (const [n, paper] of papers.entries()) {
    await page.setContent(html(paper, strokes[n]));
    const [width, height] = paper[0];
    await page.pdf({ path: path.join(process.argv[3], `${n}.pdf`), width: `${width}pt`.replace("pt", "px"), height: `${height}px`, printBackground: true });
  }
  console.log("printed");
  await new Promise((done) => process.stdin.once("data", done));
  await browser.close();
  process.exit(0);
}

run(main);
