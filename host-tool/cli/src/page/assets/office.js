// Has a review signed on this computer, or a paper checked, and says what came of it.

const form = document.getElementById("review");
form?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const answer = form.querySelector(".answer");
  answer.textContent = "being signed";
  const what = { hole: form.dataset.hole, ...Object.fromEntries(new FormData(form)) };
  form.elements.namedItem("passphrase").value = "";
  try {
    const reply = await fetch("/reviews", { method: "POST", headers: { "Content-Type": "application/json", "X-Borewitness": "1" }, body: JSON.stringify(what) });
    const said = await reply.json();
    answer.textContent = reply.ok ? said.said : said.error;
  } catch {
    answer.textContent = "nothing was signed: no answer from the program";
  }
});

const check = document.getElementById("check");
check?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const answer = check.querySelector(".answer");
  const lines = document.getElementById("checked");
  answer.textContent = "being checked";
  lines.replaceChildren();
  try {
    const reply = await fetch("/verify", { method: "POST", headers: { "X-Borewitness": "1" }, body: check.elements.namedItem("paper").files[0] });
    const said = await reply.json();
    answer.textContent = reply.ok ? said.lines.pop() : said.error;
    for (const line of reply.ok ? said.lines : []) {
      const item = document.createElement("li");
      item.textContent = line;
      lines.append(item);
    }
  } catch {
    answer.textContent = "not checked: no answer from the program, or the file is larger than 32 MiB";
  }
});
