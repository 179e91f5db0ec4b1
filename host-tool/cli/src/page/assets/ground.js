// Sends what the ground hand enters, once, and keeps what was typed until it is on record.

const setUp = document.getElementById("set-up").dataset;
const run = document.body.dataset.run;
const who = document.querySelector("#who input[name=by]");
const KEPT = `ground-${setUp.rig}-${setUp.epoch}-${setUp.opened}`;

function kept() {
  try { return JSON.parse(localStorage.getItem(KEPT) || "{}"); } catch { return {}; }
}

function keep(kind, values) {
  try { localStorage.setItem(KEPT, JSON.stringify({ ...kept(), [kind]: values })); } catch { /* a full or forbidden store loses the draft, no more */ }
}

function fields(form) {
  return Object.fromEntries([...new FormData(form)].filter(([, value]) => typeof value === "string"));
}

function fill(form, values) {
  for (const [name, value] of Object.entries(values || {})) {
    const field = form.elements.namedItem(name);
    if (field && field.type !== "file") field.value = value;
  }
}

function picture(file) {
  return new Promise((done, failed) => {
    const reader = new FileReader();
    reader.onload = () => done(String(reader.result).split(",")[1] || "");
    reader.onerror = () => failed(new Error("the picture cannot be read"));
    reader.readAsDataURL(file);
  });
}

async function body(form, id) {
  const { remark = "", ...said } = fields(form);
  const common = { run, id, by: who.value, remark, set_up: { rig: setUp.rig, epoch: Number(setUp.epoch), opened: Number(setUp.opened) } };
  if (form.dataset.kind === "photograph") return ["/photographs", { ...common, photograph: await picture(form.elements.namedItem("photograph").files[0]) }];
  return ["/entries", { ...common, said: { [form.dataset.kind]: said } }];
}

/** The same press has the same name until it is on record: what comes twice is entered once. */
async function send(form, answer) {
  form.dataset.id ||= [...crypto.getRandomValues(new Uint8Array(12))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  answer.textContent = "being entered";
  try {
    const [path, what] = await body(form, form.dataset.id);
    const reply = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json", "X-Borewitness": "1" }, body: JSON.stringify(what) });
    if (reply.ok) {
      answer.textContent = "entered, and on record";
      delete form.dataset.id;
      form.reset();
      keep(form.dataset.kind, {});
    } else {
      answer.textContent = (await reply.json()).error;
      delete form.dataset.id; // it was not taken, and may be mended
    }
  } catch {
    answer.textContent = "not entered: no answer from the cab. What you typed stays; press again when you are back in reach";
  }
}

fill(who.form, kept().who);
who.form.addEventListener("input", () => keep("who", { by: who.value }));
who.form.addEventListener("submit", (event) => event.preventDefault());
for (const form of document.querySelectorAll("form[data-kind]:not(#who)")) {
  const answer = form.querySelector(".answer");
  fill(form, kept()[form.dataset.kind]);
  form.addEventListener("input", () => keep(form.dataset.kind, fields(form)));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (!who.reportValidity()) return;
    send(form, answer);
  });
}
