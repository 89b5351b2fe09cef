/* Keeps a page that is still being computed up to date.

   While an element [data-live] is present, its page is asked for again each second. The status
   line speaks the words of the region; the region itself is swapped once the work is over, so
   that a reader is not interrupted by every step. Without scripts the page reloads itself. */
"use strict";

(() => {
  const SECOND = 1000;
  const LONGEST_PAUSE = 15 * SECOND;
  const region = () => document.querySelector("[data-live]");
  const status = document.querySelector("[data-live-status]");
  let pause = SECOND;

  const show = (page) => {
    const old = region();
    const fresh = page.getElementById(old.id);
    if (!fresh) {
      return;
    }
    const words = fresh.dataset.words;
    if (fresh.dataset.live === undefined) {
      old.replaceWith(document.adoptNode(fresh));
      document.title = page.title;
      document.dispatchEvent(new Event("region-swapped"));
    } else if (old.dataset.words !== words) {
      old.dataset.words = words;
      for (const step of old.querySelectorAll("[data-live-step]")) {
        step.textContent = words;
      }
    }
    if (status && status.textContent !== words) {
      status.textContent = words;
    }
  };

  const look = async () => {
    try {
      const answer = await fetch(window.location.href, { credentials: "same-origin" });
      if (answer.redirected) {
        window.location.assign(answer.url); // signed out: the page to sign in leads back here
        return;
      }
      if (answer.status >= 400 && answer.status < 500) {
        return; // signed out, or no longer there: reloading by hand says why
      }
      if (answer.ok) {
        show(new DOMParser().parseFromString(await answer.text(), "text/html"));
        pause = SECOND;
      } else {
        pause = Math.min(pause * 2, LONGEST_PAUSE);
      }
    } catch {
      pause = Math.min(pause * 2, LONGEST_PAUSE); // the site is away; it comes back
    }
    if (region()) {
      window.setTimeout(look, pause);
    }
  };

  if (region()) {
    window.setTimeout(look, pause);
  }
})();
