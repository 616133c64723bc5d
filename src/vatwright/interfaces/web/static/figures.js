// Reading values off a picture: by pointing, by a finger, or with the arrow keys.  The data is in the page, as a table too.
"use strict";

(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const FLOOR = 44; // below it stand the numbers of an axis

  function readable(holder) {
    const figure = holder.closest("figure");
    const picture = figure && figure.querySelector("svg");
    if (!picture || figure.classList.contains("readable")) return;
    const spots = JSON.parse(holder.dataset.spots).sort((a, b) => a[0] - b[0]);
    const high = picture.viewBox.baseVal.height;
    figure.classList.add("readable");

    const told = document.createElement("p");
    told.className = "told note";
    told.setAttribute("aria-hidden", "true"); // the control below says the same
    if (!document.querySelector(".told")) told.textContent = holder.dataset.hint; // once a page
    picture.after(told);

    const along = document.createElement("input");
    along.type = "range";
    along.className = "along";
    along.max = spots.length - 1;
    along.value = 0;
    along.setAttribute("aria-label", holder.dataset.along);
    along.setAttribute("aria-valuetext", spots[0][2]);
    told.after(along);

    const mark = document.createElementNS(SVG, "path");
    mark.setAttribute("class", "reading");
    picture.append(mark);

    function show(n) {
      const [x, y, text] = spots[n];
      mark.setAttribute("d", y === null ? `M${x} 0V${high - FLOOR}` : `M${x - 9} ${y}a9 9 0 1 0 18 0a9 9 0 1 0 -18 0`);
      told.textContent = text;
      along.value = n;
      along.setAttribute("aria-valuetext", text);
    }
    function nearest(event) {
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(picture.getScreenCTM().inverse());
      const far = ([x, y]) => Math.hypot(x - at.x, y === null ? 0 : y - at.y);
      return spots.reduce((best, spot, n) => (far(spot) < far(spots[best]) ? n : best), 0);
    }
    for (const kind of ["pointerdown", "pointermove"]) picture.addEventListener(kind, (event) => show(nearest(event)));
    along.addEventListener("input", () => show(Number(along.value)));
    along.addEventListener("focus", () => show(Number(along.value)));
  }

  const start = (within) => within.querySelectorAll("[data-spots]").forEach(readable);
  start(document);
  document.addEventListener("htmx:load", (event) => start(event.target));
})();
