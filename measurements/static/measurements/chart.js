/* Lets a reader point at a chart, zoom it and leave lines out without going to the server and back.

   The form and the links below a chart say what is shown, with or without this. What is added: a
   crosshair that reads the numbers behind the chart, and a stretch drawn with the mouse. The
   drawing itself tells where its plot lies and what its axes span. Nothing moves by itself. */
"use strict";

(() => {
  const FINEST = 1e-4;
  const STATE = ["from", "to", "hide"];

  const make = (name, attributes, parent) => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    parent.append(node);
    return node;
  };
  const add = (parent, name) => {
    const node = document.createElement("div");
    node.className = name;
    parent.append(node);
    return node;
  };
  const numbers = (text) => text.split(" ").map(Number);
  const near = (value) => String(Number(value.toPrecision(5)));
  const within = (value, low, high) => Math.min(Math.max(value, low), high);
  const place = (value, width) => {
    const digits = Math.max(0, 3 - Math.floor(Math.log10(width)));
    return String(Number(value.toFixed(digits)));
  };

  const start = (figure) => {
    const facts = figure.dataset;
    const [low, high] = [Number(facts.low), Number(facts.high)];
    const lines = JSON.parse(facts.lines);
    const image = figure.querySelector("img");
    const form = figure.querySelector("form");
    const { from, to } = form.elements;
    const unit = (name) => (name ? ` ${name}` : "");

    let drawn = null; // where the plot lies in the picture that is shown
    let rows = null; // [x, value of each line], by x
    let at = -1; // the row that is read
    let chosen = null; // what was read by key or touch: a closer look is around it
    let begun = null; // where a stretch was begun with the mouse

    const over = add(image.closest(".chart-drawn"), "chart-over");
    over.tabIndex = 0;
    over.setAttribute("role", "slider");
    over.setAttribute("aria-label", `Read the chart at: ${facts.x}`);
    over.setAttribute("aria-valuemin", low);
    over.setAttribute("aria-valuemax", high);
    over.setAttribute("aria-valuenow", low);
    over.setAttribute("aria-valuetext", "Arrow keys read along the lines");
    const layer = make("svg", { "aria-hidden": "true" }, over);
    const box = add(over, "chart-reading");
    box.hidden = true;

    const hidden = () => new FormData(form).getAll("hide");
    const bound = (field, otherwise) => {
      const value = field.value.trim() === "" ? otherwise : Number(field.value);
      return Number.isFinite(value) ? within(value, low, high) : otherwise;
    };
    const range = () => {
      const [a, b] = [bound(from, low), bound(to, high)];
      return a < b ? [a, b] : [low, high];
    };

    const clear = () => {
      at = -1;
      box.hidden = true;
      layer.replaceChildren();
    };

    /* The lines at row `index`: crosshair, marks, words. */
    const read = (index) => {
      if (!drawn || !rows || !rows[index]) return;
      at = index;
      const [left, top, width, height] = drawn.plot;
      const [[x0, x1], [y0, y1]] = [drawn.x, drawn.y];
      const [x, ...values] = rows[index];
      const across = left + ((x - x0) / (x1 - x0)) * width;
      const gone = hidden();
      layer.replaceChildren();
      make("line", { x1: across, x2: across, y1: top, y2: top + height }, layer);
      const words = [`${facts.x} ${near(x)}${unit(facts.xUnit)}`];
      lines.forEach(([column, label], line) => {
        if (gone.includes(column)) return;
        const value = values[line];
        words.push(`${label}: ${value === null ? "no value" : near(value) + unit(facts.yUnit)}`);
        if (value !== null) {
          make("circle", { cx: across, cy: top + ((y1 - value) / (y1 - y0)) * height, r: 4 }, layer);
        }
      });
      box.replaceChildren(...words.map((text) => Object.assign(document.createElement("p"), { textContent: text })));
      box.hidden = false;
      // Over the words above the plot, so that it covers no line.
      box.style.bottom = `${100 * (1 - top / drawn.height)}%`;
      box.style.minHeight = `${(100 * top) / drawn.height}%`;
      over.setAttribute("aria-valuenow", x);
      over.setAttribute("aria-valuetext", words.join("; "));
    };

    /* Rows of the numbers that lie in what is shown, as [first, last]. */
    const seen = () => {
      const [a, b] = range();
      const first = rows.findIndex(([x]) => x >= a);
      const last = rows.findLastIndex(([x]) => x <= b);
      return first < 0 || last < first ? null : [first, last];
    };
    const nearest = (x) => {
      const ends = seen();
      if (!ends) return -1;
      let best = ends[0];
      for (let index = ends[0]; index <= ends[1]; index += 1) {
        if (Math.abs(rows[index][0] - x) < Math.abs(rows[best][0] - x)) best = index;
      }
      return best;
    };

    const locate = async () => {
      const source = image.currentSrc;
      const text = await (await fetch(source, { credentials: "same-origin" })).text();
      if (source !== image.currentSrc) return;
      const root = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
      if (!root.dataset.plot) return;
      const [, , width, height] = numbers(root.getAttribute("viewBox"));
      const { plot, x, y } = root.dataset;
      drawn = { plot: numbers(plot), x: numbers(x), y: numbers(y), width, height };
      layer.setAttribute("viewBox", `0 0 ${width} ${height}`);
      if (at >= 0) read(nearest(rows[at][0]));
    };
    let asked = null;
    const prepare = () => {
      asked ??= Promise.all([
        locate(),
        fetch(facts.numbers, { credentials: "same-origin" }).then((answer) => answer.text()).then((text) => {
          const cell = (word) => (word === undefined || word === "" ? null : Number(word));
          rows = text
            .split(/\r?\n/)
            .map((row) => row.split(","))
            .map((cells) => [cell(cells[0]), ...lines.map(([, , column]) => cell(cells[column]))])
            .filter(([x, ...values]) => x !== null && !Number.isNaN(x) && values.some((value) => value !== null))
            .sort((one, other) => one[0] - other[0]);
        }),
      ]).catch(() => { asked = null; }); // the site is away: the next touch asks again
      return asked;
    };

    /* Drawing, downloads and address say what the form says. */
    const follow = () => {
      const state = new FormData(form);
      for (const field of [from, to]) {
        if (field.value.trim() === "") state.delete(field.name);
      }
      const params = new URLSearchParams(state);
      const restated = (text) => {
        const address = new URL(text, location.href);
        for (const name of STATE) address.searchParams.delete(name);
        for (const name of STATE) {
          for (const value of params.getAll(name)) address.searchParams.append(name, value);
        }
        return address.pathname + address.search;
      };
      drawn = null;
      layer.replaceChildren();
      box.hidden = true;
      for (const source of figure.querySelectorAll("source")) source.srcset = restated(source.getAttribute("srcset"));
      image.src = restated(image.getAttribute("src"));
      for (const link of figure.querySelectorAll(".chart-downloads a")) link.href = restated(link.getAttribute("href"));
      history.replaceState(history.state, "", location.pathname + (String(params) && `?${params}`));

      const [a, b] = range();
      const gone = hidden();
      const names = lines.filter(([column]) => gone.includes(column)).map(([, label]) => label);
      const width = high - low;
      figure.querySelector("[data-stretch]").textContent =
        `${place(a, b - a)} to ${place(b, b - a)}` +
        (b - a < width ? ` of ${place(low, width)} to ${place(high, width)}` : "") +
        unit(facts.xUnit) +
        (names.length ? `, without ${names.join(", ")}` : "");
      figure.querySelector(".message-error")?.remove();
    };

    const show = (a, b) => {
      const width = Math.max(b - a, 2 * FINEST * (high - low));
      const isWhole = width >= high - low;
      const first = within(a, low, high - width);
      from.value = isWhole ? "" : place(first, width);
      to.value = isWhole ? "" : place(first + width, width);
      follow();
    };
    const zoom = (factor) => {
      const [a, b] = range();
      const isAround = factor < 1 && chosen !== null && chosen >= a && chosen <= b;
      const middle = isAround ? chosen : (a + b) / 2;
      const width = (b - a) * factor;
      show(middle - width / 2, middle + width / 2);
    };

    const placeOf = (event) => {
      const frame = over.getBoundingClientRect();
      return ((event.clientX - frame.left) / frame.width) * drawn.width;
    };
    const valueOf = (pixel) => {
      const [left, , width] = drawn.plot;
      return drawn.x[0] + within((pixel - left) / width, 0, 1) * (drawn.x[1] - drawn.x[0]);
    };
    const point = (event) => {
      if (!drawn || !rows) return;
      const pixel = placeOf(event);
      read(nearest(valueOf(pixel)));
      if (event.pointerType === "touch" && at >= 0) chosen = rows[at][0];
      if (begun !== null) {
        const [, top, , height] = drawn.plot;
        const [x, width] = [Math.min(begun, pixel), Math.abs(pixel - begun)];
        make("rect", { x, y: top, width, height }, layer);
      }
    };

    over.addEventListener("pointerenter", (event) => prepare().then(() => point(event)));
    over.addEventListener("pointermove", point);
    over.addEventListener("pointerdown", (event) => {
      prepare().then(() => point(event));
      if (drawn && event.pointerType !== "touch" && event.button === 0) {
        begun = placeOf(event);
        over.setPointerCapture(event.pointerId);
      }
    });
    over.addEventListener("pointerup", (event) => {
      const [first, last] = [begun, drawn ? placeOf(event) : null];
      begun = null;
      if (first === null || last === null || Math.abs(last - first) < 8) return;
      at = -1;
      show(...[valueOf(first), valueOf(last)].sort((one, other) => one - other));
    });
    over.addEventListener("pointercancel", () => { begun = null; });
    over.addEventListener("pointerleave", (event) => {
      if (event.pointerType !== "touch" && document.activeElement !== over) clear();
    });
    over.addEventListener("focus", prepare);
    over.addEventListener("blur", clear);
    const step = (key) => {
      const ends = rows && seen();
      if (!ends) return;
      const [first, last] = ends;
      const leap = Math.max(1, Math.round((last - first) / 10));
      const steps = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: leap, PageDown: -leap };
      if (key === "Home") read(first);
      else if (key === "End") read(last);
      else read(at < 0 ? first : within(at + steps[key], first, last));
      chosen = at < 0 ? null : rows[at][0];
    };
    over.addEventListener("keydown", (event) => {
      if (event.altKey || event.ctrlKey || event.metaKey) return;
      if (event.key === "Escape") {
        chosen = null;
        clear();
      } else if (/^(Arrow|Page|Home$|End$)/.test(event.key)) {
        event.preventDefault();
        prepare().then(() => step(event.key));
      }
    });

    image.addEventListener("load", () => asked && locate().catch(() => {}));
    const isPlain = () => {
      const [a, b] = range();
      const typed = [from, to].map((field) => field.value.trim());
      return typed.every((text, end) => text === "" || Number(text) === [a, b][end]) && b - a >= FINEST * (high - low);
    };
    form.addEventListener("change", (event) => event.target.name === "hide" && isPlain() && follow());
    form.addEventListener("submit", (event) => {
      if (!isPlain()) return; // the server says what is wrong
      event.preventDefault();
      follow();
    });
    figure.querySelector(".chart-zoom").addEventListener("click", (event) => {
      const how = event.target.dataset.zoom;
      if (!how || event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      if (how === "whole") show(low, high);
      else zoom(how === "closer" ? 0.5 : 2);
    });
  };

  const begin = () => {
    for (const figure of document.querySelectorAll("[data-chart]")) {
      if (!figure.querySelector(".chart-over")) start(figure);
    }
  };
  document.addEventListener("region-swapped", begin);
  begin();
})();
