// A reading typed beside the machine is not lost with the link: it waits on this device and goes when the bench is there.
"use strict";

const KEPT = "readings not sent";
const texts = document.querySelector("h1").dataset;
const waiting = () => JSON.parse(localStorage.getItem(KEPT) || "[]");
const keep = (readings) => localStorage.setItem(KEPT, JSON.stringify(readings));
const token = document.querySelector('form.reads input[name="token"]')?.value;

function tell(text) {
  let line = document.getElementById("unsent");
  if (!line) {
    line = document.createElement("p");
    line.id = "unsent";
    line.className = "verdict";
    line.setAttribute("role", "status");
    document.querySelector("h1").after(line);
  }
  line.textContent = text;
}

const linked = () => fetch("/static/lantern.svg", { cache: "no-store", signal: AbortSignal.timeout(4000) }).then((a) => a.ok, () => false);

async function sendKept() {
  if (!waiting().length || !token || !(await linked())) return;
  let refused = 0;
  for (const said of waiting()) {
    const body = new URLSearchParams([...said, ["token", token]]);
    const answer = await fetch("/commission", { method: "POST", body }).catch(() => null);
    if (!answer || answer.status === 403) return tell(texts.noLink);
    keep(waiting().slice(1));
    refused += answer.ok ? 0 : 1;
  }
  if (!refused) return location.reload();
  tell(texts.notTaken);
}

for (const form of document.querySelectorAll("form.reads")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (await linked()) return form.submit();
    const said = [...new FormData(form)].filter(([name]) => name !== "token");
    keep([...waiting().filter((other) => JSON.stringify(other) !== JSON.stringify(said)), said]);
    tell(texts.noLink);
  });
}

window.addEventListener("online", sendKept);
setInterval(sendKept, 5000);
sendKept();
