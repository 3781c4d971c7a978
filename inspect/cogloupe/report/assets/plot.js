"use strict";
/* Plain axes for the charts: a frame, level lines with figures, and places on it. */

(() => {
  const { draw } = cogloupe;
  const PRINTED = 900; // a sheet of paper, whatever the window

  /** Round levels from low to high, about so many. */
  cogloupe.ticks = (low, high, about) => {
    const raw = (high - low) / about || 1, decade = 10 ** Math.floor(Math.log10(raw));
    const step = [1, 2, 5, 10].find(n => n * decade >= raw * 0.999) * decade, found = [];
    for (let k = Math.ceil(low / step - 1e-9); k <= high / step + 1e-9; k++) found.push(Number((k * step).toPrecision(10)));
    return found;
  };

  const signed = value => value < 0 ? `−${-value}` : String(value);

  /** Axes in a box of the drawing; `x` and `y` give places for values, `factor` turns µm into what is written. */
  cogloupe.axes = ({ left, top, width, height, xs, ys, title, factor = 1, levels = 5 }) => {
    const x = value => left + (value - xs[0]) / (xs[1] - xs[0]) * width;
    const y = value => top + (ys[1] - value) / (ys[1] - ys[0]) * height;
    const frame = draw("g", { class: "axes" }, draw("text", { x: left, y: top - 10, class: "title" }, title));
    for (const level of cogloupe.ticks(ys[0] * factor, ys[1] * factor, levels)) {
      const at = y(level / factor);
      frame.append(draw("path", { d: `M${left},${at.toFixed(1)}h${width}`, class: level ? "level" : "zero" }),
        draw("text", { x: left - 6, y: at + 4, class: "figure" }, signed(level)));
    }
    return { x, y, frame, left, top, width, height };
  };

  /** Draw anew whenever the width changes, so that letters keep their size. */
  cogloupe.fitted = (place, drawn) => {
    let last = 0;
    const again = () => {
      const width = Math.round(place.clientWidth) || 900;
      if (width !== last) drawn(last = width);
    };
    new ResizeObserver(again).observe(place);
    addEventListener("beforeprint", () => drawn(PRINTED));
    addEventListener("afterprint", () => drawn(last));
    again();
    return () => drawn(last || 900);
  };

  /** Letters would shrink with a drawing that is scaled, so it is as wide as its place. */
  cogloupe.sheet = (width, height, name) =>
    draw("svg", { viewBox: `0 0 ${width} ${height}`, class: `chart ${name}`, "aria-hidden": "true" });

  /** What lines and areas mean: [class, text] each, in rows as wide as the drawing. */
  cogloupe.legend = (entries, width, top = 14) => {
    const all = draw("g", { class: "legend" });
    let x = 2, y = top;
    for (const [kind, text] of entries) {
      const wide = 30 + 6.7 * text.length;
      if (x > 2 && x + wide > width) [x, y] = [2, y + 20];
      all.append(draw("path", { class: kind, d: `M${x},${y - 8}h18v8h-18z` }), draw("text", { x: x + 24, y }, text));
      x += wide + 10;
    }
    return [all, y];
  };
})();
