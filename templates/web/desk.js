// What a browser can add to the desk: the table, the page as it will print and what follows from the values while they
// are typed, the message beside a field that was left, and what was typed after a reload. The server checks and
// computes; without this script the button "Check" does the same.
"use strict";

const form = document.getElementById("case");
const preview = document.getElementById("preview");
const paper = document.getElementById("paper");
const note = document.getElementById("note");
const unsaved = form.elements.unsaved;
const left = new Set();
let waiting;
let asked = 0;

const PATIENCE_MS = 10000;
const PAGE_PATIENCE_MS = 60000;
const DRAFT = "desk";

function entries() {
  const found = new FormData(form);
  found.delete("file");
  return new URLSearchParams(found);
}

async function told(path, patience) {
  const answer = await fetch(path, { method: "POST", body: entries(), signal: AbortSignal.timeout(patience) });
  if (!answer.ok) throw new Error(answer.status);
  return answer.json();
}

function takeAway(place) {
  // Times that belong to what stood here before would be taken for those of what stands here now.
  place.textContent = place.dataset.lost;
  place.removeAttribute("aria-busy");
}

async function refresh() {
  const question = asked;
  let news;
  try {
    news = await told("preview", PATIENCE_MS);
  } catch {
    if (question === asked) [preview, paper].forEach(takeAway);
    return;
  }
  if (question !== asked) return;
  preview.innerHTML = news.preview;
  preview.removeAttribute("aria-busy");
  document.getElementById("following").innerHTML = news.following;
  document.getElementById("kit-told").innerHTML = news.kit;
  for (const place of form.querySelectorAll(".said")) {
    const id = place.id.replace(/-said$/, "");
    const field = document.getElementById(id);
    const taken = news.taken[id] && !field.value ? place.dataset.taken.replace("VALUE", news.taken[id]) : "";
    place.textContent = news.read[id] ?? taken;
  }
  for (const place of form.querySelectorAll(".wrong")) {
    const id = place.dataset.for;
    const field = document.getElementById(id);
    if (!left.has(id) && !place.textContent.trim()) continue;
    const ticked = place.contains(document.activeElement);
    place.innerHTML = news.faults[id] ?? "";
    if (ticked) place.querySelector("input")?.focus();
    // A value that was ticked as meant leaves its tick, and is no fault.
    if (place.querySelector("strong")) field?.setAttribute("aria-invalid", "true");
    else field?.removeAttribute("aria-invalid");
  }
  await showPages(question);
}

async function showPages(question) {
  let shown;
  try {
    shown = await told("picture", PAGE_PATIENCE_MS);
  } catch {
    if (question === asked) takeAway(paper);
    return;
  }
  if (question !== asked) return;
  paper.replaceChildren(
    ...shown.pages.map((page, place) => {
      const picture = new Image();
      picture.src = `data:image/png;base64,${page}`;
      picture.alt = paper.dataset.page.replace("NUMBER", place + 1);
      return picture;
    }),
    shown.trouble,
  );
  paper.removeAttribute("aria-busy");
}

function remember() {
  try {
    sessionStorage.setItem(DRAFT, entries().toString());
  } catch {
    // A browser that keeps nothing still asks before the page is left.
  }
}

function later() {
  asked += 1;
  preview.setAttribute("aria-busy", "true");
  paper.setAttribute("aria-busy", "true");
  clearTimeout(waiting);
  waiting = setTimeout(refresh, 250);
}

async function make(button) {
  note.textContent = note.dataset.making;
  const body = entries();
  body.set("do", button.value);
  const answer = await fetch(form.action, { method: "POST", body });
  const name = /filename\*=UTF-8''(.+)/.exec(answer.headers.get("content-disposition") ?? "")?.[1];
  if (!answer.ok || !name) return false;
  const link = document.createElement("a");
  link.href = URL.createObjectURL(await answer.blob());
  link.download = decodeURIComponent(name);
  link.click();
  URL.revokeObjectURL(link.href);
  note.textContent = note.dataset.done.replace("FILE", link.download);
  return true;
}

form.addEventListener("focusout", (event) => {
  const pictured = event.target.closest(".pictured");
  if (pictured || event.target.id) left.add((pictured ?? event.target).id);
});
// What stands outside the form belongs to it too: the sheet that is shown.
document.addEventListener("input", (event) => {
  if (event.target.form !== form || event.target.type === "file") return;
  if (!event.target.name.startsWith("shown.")) unsaved.value = "yes";
  remember();
  later();
});
let leaving = false;
document.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (button?.value === "make" && form.reportValidity()) {
    event.preventDefault();
    make(button)
      .catch(() => false)
      .then((done) => {
        if (done) return;
        leaving = true;
        form.requestSubmit(form.querySelector("[value=check]"));
      });
    return;
  }
  if (button?.value === "save") unsaved.value = "";
  leaving = button?.value !== "print" && button?.value !== "save" && button?.value !== "askkit";
  remember();
});
window.addEventListener("beforeunload", (event) => {
  if (unsaved.value && !leaving) event.preventDefault();
});
// The picked kit has buttons and fields of its own.
document.getElementById("kit")?.addEventListener("change", () => {
  const own = document.getElementById("own-equipment");
  if (own) own.hidden = Boolean(document.getElementById("kit").value);
});

function restore() {
  const draft = sessionStorage.getItem(DRAFT);
  if (location.search === "?new") {
    sessionStorage.removeItem(DRAFT);
    history.replaceState(null, "", location.pathname);
  } else if (draft && form.dataset.fresh) {
    const again = document.createElement("form");
    again.method = "post";
    again.action = "./";
    for (const [name, value] of new URLSearchParams(draft)) {
      const field = document.createElement("input");
      field.type = "hidden";
      field.name = name;
      field.value = name === "token" ? form.elements.token.value : value;
      again.append(field);
    }
    const deed = document.createElement("input");
    deed.type = "hidden";
    deed.name = "do";
    deed.value = "restore";
    again.append(deed);
    document.body.append(again);
    leaving = true;
    again.submit();
    return;
  } else if (!form.dataset.fresh) {
    // A page that came by a form asks to be sent again; this one is asked for anew, and fills itself in.
    history.replaceState(null, "", location.href);
    remember();
  }
  if (!form.dataset.fresh) later();
}
restore();
document.querySelector(".summary")?.focus();
