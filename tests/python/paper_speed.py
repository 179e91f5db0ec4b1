"""Pages per second of processor: this project's certificates, beside the same words and lines set by a PDF library of Python's and by
a browser, in one run on one machine.

    python paper_speed.py SEASON NODE_MODULES COUNT

SEASON is the program `season` as a release build. What the others are given is what `pdftotext -bbox` reads off our own pages, each word at its
place, and as many strokes as a drawing has; they judge nothing, carry no evidence, no tags and no archival standard. Prints one line of
JSON for each: name, papers, pages, seconds of processor.
"""

import json
import os
import pathlib
import resource
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ElementTree

HERE = pathlib.Path(__file__).resolve().parent
FONT = HERE.parent.parent / "host-tool/fonts/IBMPlexSans-Regular.ttf"
STROKES = 400  # a first page of ours has about so many


def words(paper):
    """Pages of a paper: width, height, and words with left, baseline (from the top) and size, in points."""
    text = subprocess.run(["pdftotext", "-bbox", paper, "-"], capture_output=True, check=True).stdout
    space = "{http://www.w3.org/1999/xhtml}"
    for page in ElementTree.fromstring(text).iter(space + "page"):
        here = [(w.text or "", float(w.get("xMin")), float(w.get("yMax")), float(w.get("yMax")) - float(w.get("yMin"))) for w in page.iter(space + "word")]
        yield float(page.get("width")), float(page.get("height")), here


def strokes(width, height):
    """Lines as a drawing has them: from, to."""
    for n in range(STROKES):
        y = height * 0.2 + n * 0.7
        yield width * 0.1 + n % 7, y, width * 0.4 + n % 11, y + n % 5


def by_reportlab(papers, out):
    """Sets the papers with reportlab; run in a process of its own."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.pdfgen.canvas import Canvas

    pdfmetrics.registerFont(TTFont("Plain", str(FONT)))
    for number, paper in enumerate(papers):
        canvas = Canvas(str(out / f"{number}.pdf"), invariant=1)
        for n, (width, height, here) in enumerate(paper):
            canvas.setPageSize((width, height))
            for text, left, base, size in here:
                canvas.setFont("Plain", max(4, size * 0.75))
                canvas.drawString(left, height - base, text)
            for x1, y1, x2, y2 in strokes(width, height) if n == 0 else ():
                canvas.line(x1, height - y1, x2, height - y2)
            canvas.showPage()
        canvas.save()


def own_seconds(who):
    used = resource.getrusage(who)
    return used.ru_utime + used.ru_stime


def tree_seconds(root):
    """Seconds of processor of a process and all that came from it, as far as they still run or were waited for."""
    parents, used = {}, {}
    for entry in os.listdir("/proc"):
        if entry.isdigit():
            try:
                fields = pathlib.Path("/proc", entry, "stat").read_text().rsplit(")", 1)[1].split()
            except OSError:
                continue
            parents[int(entry)] = int(fields[1])
            used[int(entry)] = sum(int(fields[n]) for n in (11, 12, 13, 14))
    total, wave = 0, [root]
    while wave:
        total += sum(used.get(pid, 0) for pid in wave)
        wave = [pid for pid, parent in parents.items() if parent in wave]
    return total / os.sysconf("SC_CLK_TCK")


def ours(season, count, out):
    """Prints them ourselves; gives the papers and the seconds of printing and of storing and judging, which belongs to it."""
    before = own_seconds(resource.RUSAGE_CHILDREN)
    subprocess.run([season, str(count), out], check=True, stdout=subprocess.DEVNULL)
    return sorted(out.glob("*.pdf")), own_seconds(resource.RUSAGE_CHILDREN) - before


def by_browser(modules, work, out):
    """Has the browser print them; it says so, and waits until its processes have been counted."""
    script = HERE.parent / "browser/print.cjs"
    node = subprocess.Popen(["node", script, work, out], env={**os.environ, "NODE_PATH": modules}, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert node.stdout.readline().strip() == "printed", "the browser did not print"
    seconds = tree_seconds(node.pid)
    node.communicate("counted\n", timeout=60)
    return seconds


def main():
    season, modules, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        for name in ("ours", "library", "browser"):
            (folder / name).mkdir()
        found, seconds = ours(season, count, folder / "ours")
        papers = [list(words(paper)) for paper in found]
        pages = sum(map(len, papers))
        work = folder / "papers.json"
        work.write_text(json.dumps({"papers": papers, "strokes": [list(strokes(*paper[0][:2])) for paper in papers]}))
        say = lambda name, seconds: print(json.dumps({"name": name, "papers": len(papers), "pages": pages, "seconds": round(seconds, 2)}), flush=True)
        say("ours", seconds)
        before = own_seconds(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, __file__, "--library", work, folder / "library"], check=True)
        say("reportlab", own_seconds(resource.RUSAGE_CHILDREN) - before)
        say("browser", by_browser(modules, str(work), str(folder / "browser")))
        for name in ("library", "browser"):
            made = len(list((folder / name).glob("*.pdf")))
            assert made == len(papers), f"{name} made {made} of {len(papers)}"


if __name__ == "__main__":
    if sys.argv[1] == "--library":
        by_reportlab(json.loads(pathlib.Path(sys.argv[2]).read_text())["papers"], pathlib.Path(sys.argv[3]))
    else:
        main()
