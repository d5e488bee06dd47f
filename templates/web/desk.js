// What a browser can add to the desk: the table while values are typed, and the message beside a field that was
// left. The server checks and computes; without this script the button "Check" does the same.
"use strict";

const form = document.getElementById("case");
const preview = document.getElementById("preview");
const left = new Set();
let waiting;
let asked = 0;
let unsaved = false;

const PATIENCE_MS = 10000;

async function refresh() {
  const question = asked;
  const entries = new FormData(form);
  entries.delete("file");
  let told;
  try {
    const answer = await fetch("preview", {
      method: "POST",
      body: new URLSearchParams(entries),
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
    if (!answer.ok) throw new Error(answer.status);
    told = await answer.json();
  } catch {
    // Times that belong to what stood here before would be taken for those of what stands here now.
    if (question === asked) {
      preview.textContent = preview.dataset.lost;
      preview.removeAttribute("aria-busy");
    }
    return;
  }
  if (question !== asked) return;
  const { preview: shown, faults } = told;
  preview.innerHTML = shown;
  preview.removeAttribute("aria-busy");
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
  unsaved = true;
  asked += 1;
  preview.setAttribute("aria-busy", "true");
  clearTimeout(waiting);
  waiting = setTimeout(refresh, 250);
});
form.addEventListener("submit", () => {
  unsaved = false;
});
window.addEventListener("beforeunload", (event) => {
  if (unsaved) event.preventDefault();
});
document.querySelector(".summary")?.focus();
