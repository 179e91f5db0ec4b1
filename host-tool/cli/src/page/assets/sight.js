// Hears the program's stream of sights, and says when what is shown is not known any more.

/** No sight for so long: nothing of the last one is shown, ms. */
const STALE_MS = 500;
/** How often the page asks itself, ms. */
const TICK_MS = 100;
/** A pause of the page's own timer that means the tablet slept, ms. */
const SLEPT_MS = 1500;
/** A stream that was refused is asked for again after so long, ms. */
const AGAIN_MS = 1000;

const NOBODY = "no data from this program: is borewitness listen running?";
const GARBLED = "this page cannot read what the program sends: load the page again";

/** Calls `seen(sight)` for each sight, and `nothing(reason)` once when there is none. */
export function hear(seen, nothing) {
  let source = null;
  let heard = null; // when the last sight came
  let opened = 0;
  let stale = true;
  let ticked = performance.now();
  let dated = Date.now();

  const lose = (reason) => {
    heard = null;
    stale = true;
    nothing(reason);
  };

  const open = () => {
    source?.close(); // what the old stream still holds is from before
    opened = performance.now();
    source = new EventSource("/live");
    const mine = source;
    source.onmessage = (event) => {
      if (mine !== source) return;
      if (document.visibilityState !== "visible") return; // nobody looks
      if (slept()) return woke(); // this one waited in line, who knows how long
      const sight = read(event.data);
      if (sight === null) return lose(GARBLED);
      heard = performance.now();
      stale = false;
      seen(sight);
    };
  };

  // either clock may stand still while a tablet sleeps; a hidden page's timers are slow anyhow, and it shows nothing
  const slept = () => {
    const gap = Math.max(performance.now() - ticked, Math.abs(Date.now() - dated));
    return gap > SLEPT_MS && document.visibilityState === "visible";
  };

  const woke = () => {
    [ticked, dated] = [performance.now(), Date.now()];
    lose(NOBODY);
    open();
  };

  const tick = () => {
    if (slept()) return woke();
    const now = performance.now();
    [ticked, dated] = [now, Date.now()];
    if (source.readyState === EventSource.CLOSED && now - opened > AGAIN_MS) open();
    if (!stale && now - heard > STALE_MS) lose(NOBODY);
  };

  nothing(NOBODY);
  open();
  setInterval(tick, TICK_MS);
  // what is not looked at is blanked at once: whoever looks again sees nothing of before, not even for a moment
  const away = () => lose(NOBODY);
  document.addEventListener("visibilitychange", () => (document.visibilityState === "visible" ? woke() : away()));
  document.addEventListener("freeze", away);
  document.addEventListener("resume", woke);
}

function read(text) {
  try {
    const sight = JSON.parse(text);
    return sight !== null && typeof sight === "object" && !Array.isArray(sight) ? sight : null;
  } catch {
    return null;
  }
}
