// The one panel beside the figures: opened by a big button, closed by another or by Escape; the figures stay.

import { $, attr, put, shown } from "./dom.js";

const panel = $("panel");
const body = $("panel-body");
let view = null; // what is open: { name, refresh, back }
let opener = null;

/**
 * Opens a view in the panel. `build(refresh)` gives its nodes; `refresh` is called with every sight while it is open.
 * A wide view takes the figures' place too: for what is done while nothing is drilled.
 */
export function open(name, title, nodes, { refresh = null, wide = false, by = null } = {}) {
  if (view === null) opener = by ?? document.activeElement;
  view = { name, refresh };
  put($("panel-title"), title);
  body.replaceChildren(...nodes);
  shown(panel, true);
  document.body.dataset.panel = wide ? "wide" : "beside";
  mark();
  refresh?.();
  body.scrollTop = 0;
  $("panel-title").focus();
}

/** Closes the panel, and gives the focus back to what opened it. */
export function close() {
  if (view === null) return;
  view = null;
  shown(panel, false);
  body.replaceChildren();
  delete document.body.dataset.panel;
  mark();
  (opener?.isConnected && !opener.hidden ? opener : $("open-acts")).focus();
}

/** The name of the view that is open, or `null`. */
export const isOpen = () => view?.name ?? null;

/** Lets the open view show what has changed. */
export const refresh = () => view?.refresh?.();

function mark() {
  attr($("open-acts"), "aria-expanded", String(view !== null && view.name !== "more"));
  attr($("open-more"), "aria-expanded", String(view?.name === "more"));
}

$("panel-close").addEventListener("click", close);
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") close();
});
