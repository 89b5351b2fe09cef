/* A button that copies the text of another element. Without this script the button stays hidden
   and the text is selected as a whole by a click or by hand. */
"use strict";

for (const button of document.querySelectorAll("[data-copy]")) {
  const source = document.getElementById(button.dataset.copy);
  // Browsers give the clipboard only to pages that came safely.
  if (!source || !navigator.clipboard) {
    continue;
  }
  button.hidden = false;
  button.addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText(source.textContent);
      button.textContent = "Copied";
    } catch {
      window.getSelection().selectAllChildren(source);
      button.textContent = "Selected: copy it by hand";
    }
  });
}
