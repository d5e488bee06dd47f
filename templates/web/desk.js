// What a browser can add to the desk: the table while values are typed, and the message beside a field that was
// left. The server checks and computes; without this script the button "Check" does the same.
"use strict";

const form = document.getElementById("case");
const preview = document.getElementById("preview");
const left = new Set();
let waiting;
let asked = 0;

async function refresh() {
  const question = ++asked;
  const answer = await fetch("preview", { method: "POST", body: new URLSearchParams(new FormData(form)) });
  if (!answer.ok || question !== asked) return;
  const { preview: shown, faults } = await answer.json();
  preview.innerHTML = shown;
  for (const place of form.querySelectorAll(".wrong")) {
    const id = place.dataset.for;
    const field = document.getElementById(id);
    if (!left.has(id) && !place.textContent.trim()) continue;
    const ticked = place.contains(document.activeElement);
    place.innerHTML = faults[id] ?? "";
    if (ticked) place.querySelector("input")?.focus();
    // A value that was ticked as meant leaves its tick, and is no fault.
    if (place.querySelector("strong")) field.setAttribute("aria-invalid", "true");
    else field.removeAttribute("aria-invalid");
  }
}

form.addEventListener("focusout", (event) => {
  if (event.target.id) left.add(event.target.id);
});
form.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(() => refresh().catch(() => undefined), 250);
});
document.querySelector(".summary")?.focus();
