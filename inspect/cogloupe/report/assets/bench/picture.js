"use strict";
/* The photograph with the gear that was found, and a line that a person draws over it. */

(() => {
  const { draw } = cogloupe;
  let line = null, drawn = null, rings = null, told = () => {}, chosen = () => {};

  const at = (svg, event) => {
    const place = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [place.x, place.y];
  };

  const twice = (shape, kind, attributes) => draw("g", {}, draw(shape, { ...attributes, class: `${kind} under` }), draw(shape, { ...attributes, class: kind }));

  const gear = (one, chosen, choose) => {
    const all = draw("g", {});
    all.append(draw("circle", { class: "disc", cx: one.x, cy: one.y, r: one.tip_px }));
    all.addEventListener("click", () => { if (!bench.drawsLine) choose(); });
    for (const r of [one.tip_px, one.root_px]) all.append(twice("circle", chosen ? "gear chosen" : "gear", { cx: one.x, cy: one.y, r }));
    return all;
  };

  const show = () => {
    drawn.replaceChildren();
    if (!line) return;
    const [[x1, y1], [x2, y2]] = line;
    drawn.append(twice("line", "drawn", { x1, y1, x2, y2 }));
    told(Math.hypot(x2 - x1, y2 - y1));
  };

  const drawing = svg => {
    svg.addEventListener("pointerdown", event => {
      if (!bench.drawsLine) return;
      event.preventDefault();
      svg.setPointerCapture(event.pointerId);
      line = [at(svg, event), at(svg, event)];
      show();
    });
    svg.addEventListener("pointermove", event => {
      if (!bench.drawsLine || !line || !event.buttons) return;
      line[1] = at(svg, event);
      show();
    });
  };

  /** Move the ends of the line by a step of the arrow keys; Shift moves the other end. */
  const byKeys = (svg, found) => svg.addEventListener("keydown", event => {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!bench.drawsLine || !step) return;
    event.preventDefault();
    line ??= [[found.width * 0.3, found.height / 2], [found.width * 0.7, found.height / 2]];
    const end = line[event.shiftKey ? 0 : 1], by = event.ctrlKey ? 1 : Math.max(found.width, found.height) / 200;
    end[0] += step[0] * by;
    end[1] += step[1] * by;
    show();
  });

  /** Length of the drawn line, px of the photograph; 0 where none is drawn. */
  bench.linePx = () => line ? Math.hypot(line[1][0] - line[0][0], line[1][1] - line[0][1]) : 0;

  bench.drawsLine = false;

  /** Whether a press on the picture draws a line. */
  bench.letDraw = on => {
    bench.drawsLine = on;
    bench.byId("seen-picture").closest(".seen").classList.toggle("drawing", on);
  };

  /** Ring the gears that were found, the chosen one in another colour. */
  bench.ring = found => rings.replaceChildren(...found.gears.map((one, k) => gear(one, k === found.chosen, () => chosen(k))));

  /** Show a photograph and what was found on it; `onLine` is told each new length, `onGear` the gear that was pressed. */
  bench.showPicture = (found, onLine, onGear) => {
    line = null;
    told = onLine;
    chosen = onGear;
    const svg = draw("svg", { viewBox: `0 0 ${found.width} ${found.height}`, role: "img", tabindex: 0, "aria-label": "The photograph; where a line is to be drawn, the arrow keys move its end, with Shift its other end" });
    [drawn, rings] = [draw("g", {}), draw("g", {})];
    bench.ring(found);
    svg.append(draw("image", { href: `/api/preview/${encodeURIComponent(found.photo)}`, width: found.width, height: found.height }),
      rings, drawn);
    drawing(svg);
    byKeys(svg, found);
    bench.byId("seen-picture").replaceChildren(svg);
  };

  /** The gear that is meant, as far as the picture tells: the largest. */
  bench.likeliest = found => found.gears.reduce((best, one, k) => one.tip_px > found.gears[best].tip_px ? k : best, 0);
})();
