(() => {
  "use strict";
  const speech = window.speechSynthesis;
  if (!speech) return;
  const { read, stop } = document.currentScript.dataset;
  const buttons = [];
  let telling = null;

  // A voice of the device itself comes first: the page may be without internet.
  function voice(language) {
    const wanted = language === "zh-Hans" ? "zh-CN" : language;
    const voices = [...speech.getVoices()].sort((one, other) => other.localService - one.localService);
    const alike = (found, parts) => found.lang.replace("_", "-").split("-", parts).join() === wanted.split("-", parts).join();
    return voices.find((found) => alike(found, 2)) ?? voices.find((found) => alike(found, 1));
  }

  function name(button, words) {
    button.textContent = words;
    const heading = button.previousElementSibling;
    if (heading.matches("h2")) button.setAttribute("aria-label", `${words}: ${heading.textContent}`);
  }

  function silence() {
    speech.cancel();
    if (telling) name(telling, read);
    telling = null;
  }

  function say(words, language) {
    const spoken = new SpeechSynthesisUtterance(words);
    spoken.lang = language;
    spoken.voice = voice(language) ?? null;
    speech.speak(spoken);
    return spoken;
  }

  const kinds = "h2, h3, p, li, caption, th, td, figcaption";

  // What belongs to a heading: all up to the next one.
  function below(mark) {
    const found = [mark];
    if (mark.matches("h2")) {
      for (let next = mark.nextElementSibling; next ? !next.matches("h2, section, nav") : false; next = next.nextElementSibling) found.push(next);
    }
    return found.flatMap((part) => [part, ...part.querySelectorAll(kinds)]).filter((part) => part.matches(kinds));
  }

  // A column's head is said with each answer below it, and so not once more at the top.
  function tell(button, mark) {
    silence();
    telling = button;
    name(button, stop);
    let last = null;
    for (const part of below(mark)) {
      const unseen = part.checkVisibility ? !part.checkVisibility() : part.closest("[hidden]");
      if (unseen || part.querySelector("p, li") || part.closest("[aria-hidden]") || part.closest("thead:has(~ tbody [data-head])")) continue;
      const own = part.cloneNode(true);
      for (const other of own.querySelectorAll("[lang], svg, button")) other.remove();
      const words = [part.dataset.head, own.textContent].filter(Boolean).join(": ").trim();
      if (words) last = say(words, part.closest("[lang]").lang);
      for (const other of part.querySelectorAll("[lang]")) last = say(other.textContent, other.lang);
    }
    if (last) last.onend = silence;
    else silence();
  }

  function show() {
    const can = Boolean(voice(document.documentElement.lang));
    for (const button of buttons) button.hidden = !can;
  }

  for (const mark of document.querySelectorAll("section > h2, .answer")) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "aloud noprint";
    mark.after(button);
    name(button, read);
    button.addEventListener("click", () => (telling === button ? silence() : tell(button, mark)));
    buttons.push(button);
  }
  show();
  speech.onvoiceschanged = show;
  addEventListener("pagehide", silence);
})();
