/* Dropping files onto the page, and how much of them is sent.

   Without this script the form is an ordinary one: choose files, send. */
"use strict";

const attach = () => {
  const form = document.querySelector("[data-drop]");
  const zone = form?.querySelector("[data-drop-zone]");
  const input = form?.querySelector("input[type=file]");
  if (!form || !zone || !input) {
    return;
  }
  const list = form.querySelector("[data-drop-list]");
  const progress = form.querySelector("[data-drop-progress]");
  const bar = progress.querySelector("progress");
  const words = form.querySelector("[data-drop-words]");
  const button = form.querySelector("button[type=submit]");
  form.querySelector("[data-drop-hint]").hidden = false;

  const size = (bytes) =>
    bytes < 1048576 ? `${Math.max(1, Math.round(bytes / 1024))} KiB` : `${(bytes / 1048576).toFixed(1)} MiB`;

  const show = () => {
    list.replaceChildren(
      ...[...input.files].map((file) => {
        const item = document.createElement("li");
        item.textContent = `${file.name}, ${size(file.size)}`;
        return item;
      }),
    );
    list.hidden = input.files.length < 2; // the control itself names a single one
  };
  input.addEventListener("change", show);

  const over = (event) => {
    if ([...event.dataTransfer.types].includes("Files")) {
      event.preventDefault();
      zone.classList.add("drop-over");
    }
  };
  // The whole page takes what is dropped: a file beside the zone must not replace the page.
  document.addEventListener("dragover", over);
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) {
      zone.classList.remove("drop-over");
    }
  });
  document.addEventListener("drop", (event) => {
    if (!event.dataTransfer.files.length || !input.isConnected) {
      return;
    }
    event.preventDefault();
    zone.classList.remove("drop-over");
    input.files = event.dataTransfer.files;
    show();
    input.focus();
  });

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const request = new XMLHttpRequest();
    request.open("POST", form.action);
    request.setRequestHeader("Accept", "application/json");
    progress.hidden = false;
    button.disabled = true;
    words.textContent = "Sending";
    request.upload.addEventListener("progress", (moment) => {
      if (moment.lengthComputable) {
        bar.value = (100 * moment.loaded) / moment.total;
        words.textContent = `${size(moment.loaded)} of ${size(moment.total)} sent`;
      }
    });
    request.upload.addEventListener("load", () => {
      bar.removeAttribute("value");
      words.textContent = "Sent; being written down";
    });
    request.addEventListener("load", () => {
      if (request.status === 201) {
        window.location.assign(JSON.parse(request.responseText).location);
        return;
      }
      if (new URL(request.responseURL).pathname !== new URL(form.action).pathname) {
        window.location.assign(request.responseURL); // signed out meanwhile
        return;
      }
      // The answer is a page that says what came of it, or what is wrong.
      const page = new DOMParser().parseFromString(request.responseText, "text/html");
      document.title = page.title;
      document.querySelector("main").replaceWith(document.adoptNode(page.querySelector("main")));
      document.querySelector("main").focus();
      attach();
    });
    request.addEventListener("error", () => {
      progress.hidden = true;
      button.disabled = false;
      words.textContent = "";
      form.submit(); // let the browser itself say what is wrong with the connection
    });
    request.send(new FormData(form));
  });
};

attach();
