// What a phone can add to the page of a code. Nothing is reckoned here: a time is found in the table that the
// server computed, and the clock of the phone turns it into a time of day.
"use strict";

const main = document.querySelector("main");
const language = document.documentElement.lang;

function showClock(sentence, minutes) {
  // Beyond a day a time of day alone would mislead.
  sentence.hidden = !(minutes > 0 && minutes < 24 * 60);
  if (sentence.hidden) return;
  // By elapsed time, so that the hour by which clocks are set back is not promised as well.
  const by = Math.floor(Date.now() / 60000) * 60000 + minutes * 60000;
  const spelled = new Intl.DateTimeFormat(language, { hour: "numeric", minute: "2-digit", numberingSystem: "latn" });
  sentence.querySelector("bdi").textContent = spelled.format(by);
}

// Activities that use the same share a column.
function means(element, activity) {
  return element.dataset.activities.split(" ").includes(activity);
}

function look(form) {
  const picked = new FormData(form);
  const row = document.querySelector(
    `table[data-container="${form.dataset.container}"] tr[data-level="${picked.get("level")}"]`
  );
  const cells = row ? [...row.querySelectorAll("td")] : [];
  return cells.find((cell) => !cell.dataset.activities || means(cell, picked.get("activity")));
}

function answer(form) {
  const cell = look(form);
  if (!cell) return;
  const place = form.querySelector(".answer");
  const minutes = Number(cell.dataset.minutes);
  place.querySelector(".open")?.remove();
  place.querySelector(".lasts").hidden = minutes === 0;
  const big = place.querySelector(".big");
  big.replaceChildren(...cell.cloneNode(true).childNodes);
  big.dataset.minutes = minutes;
  big.hidden = false;
  tellTime();
}

function tellTime() {
  for (const sentence of document.querySelectorAll(".by")) {
    const minutes = sentence.dataset.minutes ?? sentence.parentElement.querySelector(".big").dataset.minutes;
    showClock(sentence, Number(minutes));
  }
  const now = new Date();
  const today = new Date(now.getTime() - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
  if (today > main.dataset.review) document.getElementById("out-of-date").hidden = false;
}

for (const hidden of document.querySelectorAll(".script")) hidden.hidden = false;
document.getElementById("print").addEventListener("click", () => window.print());

// The question in the address, where the server did not see it: a file, or the page that was kept for offline use.
const asked = new URLSearchParams(location.search);
for (const form of document.querySelectorAll("form.look-up")) {
  form.addEventListener("change", () => answer(form));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    answer(form);
  });
  if (asked.get("container") !== form.dataset.container || asked.has("outing")) continue;
  const matches = {
    level: (radio) => radio.value === asked.get("level"),
    activity: (radio) => means(radio, asked.get("activity")),
  };
  for (const [name, match] of Object.entries(matches)) {
    const radio = [...form.elements].find((one) => one.name === name && match(one));
    if (radio) radio.checked = true;
  }
  form.closest("details").open = true;
  answer(form);
}
if (asked.has("outing") && !document.querySelector("#outing .big, #outing .fault")) {
  const outing = document.querySelector("#outing");
  if (outing) {
    outing.open = true;
    outing.querySelector(".offline").hidden = false;
  }
}
tellTime();
setInterval(tellTime, 10000);

// Keep the page and its guide for a phone without internet.
if ("serviceWorker" in navigator && isSecureContext) {
  const files = document.currentScript.src;
  navigator.serviceWorker.register(new URL("worker.js", files)).then(async () => {
    const kept = await caches.open("kept");
    await kept.addAll([location.pathname, files, new URL(main.dataset.keep, location.href)]);
    document.documentElement.dataset.kept = "yes";
  }).catch(() => undefined);
}
