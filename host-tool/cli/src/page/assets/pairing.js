// Pairs this device with the code that the cab shows, so that it may do more than look.

import { el, put } from "./dom.js";

/** The form, for a device that only looks so far. */
export function pairing() {
  const code = el("input", { id: "pair-code", type: "text", inputmode: "numeric", maxlength: "6", autocomplete: "off" });
  const device = el("input", { id: "pair-device", type: "text", maxlength: "40", autocomplete: "off" });
  const said = el("p", { role: "status", class: "whole" });
  return [
    el("p", { class: "whole", text: "This device only looks. The cab shows a code behind \"menu\": with it this device may do more." }),
    el(
      "div",
      { class: "pair whole" },
      el("div", {}, el("label", { for: "pair-code", text: "code" }), code),
      el("div", {}, el("label", { for: "pair-device", text: "name of this device" }), device),
    ),
    el("button", { type: "button", class: "whole", text: "pair", on: { click: () => ask(code.value.trim(), device.value.trim(), said) } }),
    said,
  ];
}

async function ask(code, device, said) {
  put(said, "asking");
  try {
    const headers = { "Content-Type": "application/json", "X-Borewitness": "1" };
    const answer = await fetch("/pair", { method: "POST", headers, body: JSON.stringify({ code, device }) });
    if (answer.ok) location.reload(); // the stream of sights is to know who looks now
    else put(said, String((await answer.json()).error));
  } catch {
    put(said, "no answer from the cab: try again");
  }
}
