// What a phone adds to the page of a code. Nothing is reckoned here: a time is found among the figures that the plan
// computed, and the clock of the phone turns it into a time of day.
"use strict";

const main = document.querySelector("main");
const language = document.documentElement.lang;
const figures = JSON.parse(document.getElementById("figures").textContent);
const MINUTE = 60000;
const DAY = 24 * 60;
const QUARTER = 15;

function clock(time) {
  const spelled = new Intl.DateTimeFormat(language, { hour: "numeric", minute: "2-digit", numberingSystem: "latn" });
  return spelled.format(time);
}

// The minute that has begun does not count; by elapsed time, so that the hour by which clocks are set back does not either.
const fromNow = (minutes) => Math.floor(Date.now() / MINUTE) * MINUTE + minutes * MINUTE;

// Beyond a day a time of day alone would mislead.
function showClock(place, minutes) {
  const sentence = place.querySelector(".by");
  if (!sentence) return;
  sentence.hidden = !(minutes > 0 && minutes < DAY);
  if (sentence.hidden) return;
  sentence.dataset.until = fromNow(minutes);
  sentence.querySelector("bdi").textContent = clock(fromNow(minutes));
}

// ── when a portable was filled: kept on this phone alone ──────────────────────────────────────────────────────────────

const kept = (form) => `filled ${location.pathname.replace(/\/[^A-Z0-9]*$/, "")} ${form.dataset.container}`;

function filledAt(form) {
  const time = Number(localStorage.getItem(kept(form)));
  return time > 0 && time <= Date.now() ? time : null;
}

function keepFilled(form, time) {
  if (time === null) localStorage.removeItem(kept(form));
  else localStorage.setItem(kept(form), time);
  answer(form);
}

// The last time that the clock showed this.
function lastTime(typed) {
  if (!typed) return null;
  const [hours, minutes] = typed.split(":").map(Number);
  const time = new Date();
  time.setHours(hours, minutes, 0, 0);
  if (time > Date.now()) time.setDate(time.getDate() - 1);
  return time.getTime();
}

function showFilled(form) {
  const time = filledAt(form);
  const since = form.querySelector(".since");
  since.hidden = time === null;
  if (time === null) return;
  const local = new Date(time);
  const two = (number) => String(number).padStart(2, "0");
  form.filled.value = `${two(local.getHours())}:${two(local.getMinutes())}`;
  const minutes = Math.floor((Date.now() - time) / MINUTE);
  since.querySelector("bdi").textContent = `${Math.floor(minutes / 60)}:${two(minutes % 60)}`;
}

// What is left since then, of the next longer quarter of an hour; undefined where nobody said when it was filled.
function since(form, found) {
  const time = form.filled && filledAt(form);
  if (!time || !found.since) return undefined;
  return found.since[Math.ceil((Date.now() - time) / MINUTE / QUARTER)] ?? [null, {}];
}

// ── the answer ────────────────────────────────────────────────────────────────────────────────────────────────────────

function answer(form) {
  const found = figures.of[form.dataset.container];
  const picked = Object.fromEntries(new FormData(form));
  const away = picked.activity === "out";
  const lasts = form.querySelector(".lasts");
  const out = form.querySelector(".out");
  if (form.filled) showFilled(form);
  if (form.way) form.querySelector(".way").hidden = !away;
  const asked = form.activity ? picked.activity : "any";
  // A question that is half asked has no answer, and the answer to another one is taken away.
  lasts.hidden = away || !(picked.level && asked);
  if (out) out.hidden = !(away && picked.level && picked.way);
  const left = since(form, found);
  if (!lasts.hidden) {
    const minutes = Math.min(found.times[picked.level][asked], left ? left[1][asked] ?? 0 : Infinity);
    lasts.firstElementChild.hidden = minutes === 0;
    tell(lasts.querySelector(".big"), minutes ? figures.words[minutes] : found.low);
    showClock(lasts, minutes);
  }
  if (out && !out.hidden) showTrip(out, found, picked, left);
}

// Readings stand from full downwards: the lower one is the later.
function lower(found, level, other) {
  const levels = [...found.levels];
  return levels.indexOf(level) > levels.indexOf(other) ? level : other;
}

function showTrip(out, found, picked, left) {
  const level = left ? left[0] && lower(found, picked.level, left[0]) : picked.level;
  const trip = level ? found.trips[level][picked.way] : [null, null, ""];
  const far = trip[0] === null;
  out.querySelectorAll(".big").forEach((big, place) => {
    const stay = far ? null : trip[place];
    tell(big, far ? figures.far : figures.words[stay]);
    big.previousElementSibling.hidden = far;
    big.hidden = far && place > 0;
    const by = big.nextElementSibling;
    showClock({ querySelector: () => by }, far ? 0 : Number(picked.way) + stay);
  });
  const mark = out.querySelector(".mark");
  mark.hidden = far;
  tell(mark.querySelector("strong"), trip.at(-1));
}

// What is said already is not said again: a reader of the screen would repeat it.
function tell(place, words) {
  if (place.textContent !== words) place.textContent = words;
}

function again() {
  for (const form of document.querySelectorAll("form.look-up")) answer(form);
  const now = new Date();
  const today = new Date(now.getTime() - now.getTimezoneOffset() * MINUTE).toISOString().slice(0, 10);
  if (today > main.dataset.review) document.getElementById("out-of-date").hidden = false;
}

for (const [id, found] of Object.entries(figures.of)) {
  const form = document.querySelector(`form[data-container="${id}"]`);
  found.levels = [...form.querySelectorAll("[name=level]")].map((radio) => radio.value);
  form.addEventListener("change", (event) => {
    if (event.target === form.filled) keepFilled(form, lastTime(form.filled.value));
    else answer(form);
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  form.querySelector(".now")?.addEventListener("click", () => keepFilled(form, Date.now()));
}
for (const hidden of document.querySelectorAll(".script")) hidden.hidden = false;
again();
setInterval(again, 10000);
document.addEventListener("visibilitychange", again);

// ── what else a phone can do ──────────────────────────────────────────────────────────────────────────────────────────

document.getElementById("print").addEventListener("click", () => print());

const share = document.getElementById("share");
share.parentElement.hidden = !navigator.share;
share.addEventListener("click", () => navigator.share({ title: document.title, url: location.href }).catch(() => undefined));

// A page cannot wake a phone whose screen is off, its calendar can: an hour with two alarms, one a quarter before.
const spelledUtc = (time) => `${new Date(time).toISOString().slice(0, 19).replace(/[-:]/g, "")}Z`;

function alarm(button) {
  const until = Number(button.closest(".by").dataset.until);
  const title = button.dataset.title.replace("{time}", clock(until)).replace(/[\\;,]/g, "\\$&");
  const rings = ["-PT15M", "PT0M"].flatMap((when) => ["BEGIN:VALARM", "ACTION:DISPLAY", `DESCRIPTION:${title}`, `TRIGGER:${when}`, "END:VALARM"]);
  const lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//companion//alarm//EN", "BEGIN:VEVENT", `UID:${crypto.randomUUID()}`,
    `DTSTAMP:${spelledUtc(Date.now())}`, `DTSTART:${spelledUtc(until)}`, `DTEND:${spelledUtc(until + QUARTER * MINUTE)}`,
    `SUMMARY:${title}`, ...rings, "END:VEVENT", "END:VCALENDAR", ""];
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([lines.join("\r\n")], { type: "text/calendar" }));
  link.download = "oxygen.ics";
  link.click();
}

for (const button of document.querySelectorAll(".alarm")) button.addEventListener("click", () => alarm(button));

// Keep the page, its guide and its other languages for a phone without internet: what is asked for here, the worker keeps.
if ("serviceWorker" in navigator && isSecureContext) {
  const files = document.currentScript.src;
  const pages = [...document.querySelectorAll("a[hreflang]")].map((link) => link.href);
  const wanted = [location.href, files, ...main.dataset.keep.split(" "), ...pages];
  navigator.serviceWorker.register(new URL("worker.js", files)).then(async () => {
    const worker = navigator.serviceWorker;
    if (!worker.controller) await new Promise((ready) => worker.addEventListener("controllerchange", ready, { once: true }));
    for (const address of wanted) await fetch(address);
    document.documentElement.dataset.kept = "yes";
  }).catch(() => undefined);
}
