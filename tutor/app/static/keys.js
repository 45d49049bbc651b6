// Streamlit reruns the page at a bare 'r'; WCAG 2.1.4 wants no shortcut of a single letter. A button is pressed with
// the space bar too, and a download is a link that is shown as one.
if (!window.coldMorningKeys) {
  window.coldMorningKeys = true;
  window.addEventListener("keydown", (event) => {
    const bare = !event.ctrlKey && !event.metaKey && !event.altKey;
    const typing = event.target.closest?.("input, textarea, select, [contenteditable=true]");
    if (bare && !typing && event.key.toLowerCase() === "r") event.stopImmediatePropagation();
    if (event.key === " " && event.target.matches?.("a[role=button]")) {
      event.preventDefault();
      event.target.click();
    }
  }, true);
}
