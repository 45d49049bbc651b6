// The script of the class work page: it sends what is typed to be kept, and goes to the top of another problem.
// A draft that cannot be kept just now is sent again until it can be; one that is refused is not.
if (!window.coldMorningClassWork) {
  window.coldMorningClassWork = true;
  const PAUSE = 800, AGAIN = 3000;
  const waiting = new Map();
  let timer = null;
  const later = (delay) => { clearTimeout(timer); timer = setTimeout(send, delay); };
  const fieldOf = (box) => {
    const holder = box.closest?.("[class*='st-key-draft-']");
    return holder?.className.match(/st-key-draft-(\w{3}-\w{3})-(\d+)-(\w+)/);
  };
  async function send() {
    for (const [name, draft] of [...waiting]) {
      let settled = false;
      try {
        const answer = await fetch("/coldmorning/draft", {
          method: "POST", keepalive: true, headers: {"content-type": "application/json"}, body: JSON.stringify(draft),
        });
        settled = answer.status < 500;
      } catch { settled = false; }
      if (settled && waiting.get(name) === draft) waiting.delete(name);
      if (!settled) later(AGAIN);
    }
  }
  window.addEventListener("input", (event) => {
    const found = fieldOf(event.target);
    if (!found) return;
    const [name, code, place, field] = found;
    waiting.set(name, {code, place: Number(place), field, text: event.target.value});
    later(PAUSE);
  }, true);
  window.addEventListener("focusout", () => { if (waiting.size) send(); }, true);
  window.addEventListener("pagehide", () => { if (waiting.size) send(); });

  let seen = null;
  new MutationObserver(() => {
    const heading = document.querySelector(".st-key-class-problem h2");
    const text = heading?.textContent ?? null;
    if (text === seen) return;
    const another = seen !== null && text !== null;
    seen = text;
    if (!another) return;
    heading.tabIndex = -1;
    heading.focus();
    heading.scrollIntoView();
  }).observe(document.body, {childList: true, subtree: true, characterData: true});
}
