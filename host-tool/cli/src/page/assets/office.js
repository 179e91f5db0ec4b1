// Has a review signed on this computer, and says what came of it.

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
