"use strict";
/* The main picture: the photograph under a loupe, and round it each tooth's errors where it stands.

Lengths are in hundredths of the tip radius, the datum axis at the origin. */

(() => {
  const { draw, follow, path } = cogloupe;
  const ZERO = 131, REACH = 20, NUMBERS = 161, EDGE = 172, LENS = 107;

  const polar = (radius, deg) => [radius * Math.cos(deg * Math.PI / 180), radius * Math.sin(deg * Math.PI / 180)];

  /** Corners of a piece of a ring. */
  const piece = (inner, outer, from, to) => {
    const steps = Math.max(1, Math.ceil(Math.abs(to - from) / 3)), out = [], back = [];
    for (let k = 0; k <= steps; k++) {
      const deg = from + (to - from) * k / steps;
      out.push(polar(outer, deg));
      back.unshift(polar(inner, deg));
    }
    return path([...out, ...back], true);
  };

  const photograph = (data, id) => {
    const { image, centre, tip_px: tip } = data.view, scale = 100 / tip;
    const at = { x: -centre[0] * scale, y: -centre[1] * scale, width: image[0] * scale, height: image[1] * scale };
    return draw("g", { class: "photograph" },
      draw("clipPath", { id }, draw("circle", { r: LENS })),
      draw("circle", { r: LENS, class: "glass" }),
      draw("image", { href: data.view.href, ...at, "clip-path": `url(#${id})`, preserveAspectRatio: "none" }),
      draw("circle", { r: LENS, class: "rim" }));
  };

  const circles = data => {
    const measuring = 100 * data.view.measuring_px / data.view.tip_px, all = draw("g", { class: "marks" },
      draw("circle", { r: measuring, class: "measuring" }),
      draw("path", { d: "M-5,0H5M0,-5V5", class: "cross" }));
    if (data.eccentric_deg !== null) {
      const [x, y] = polar(measuring * 0.55, data.eccentric_deg), tip = polar(measuring * 0.62, data.eccentric_deg);
      const wing = side => polar(5, data.eccentric_deg + side * 90).map((w, k) => w * 0.5 + [x, y][k]);
      all.append(draw("path", { d: `M0,0L${x},${y}`, class: "towards" }),
        draw("path", { d: path([tip, wing(1), wing(-1)], true), class: "towards head" }));
    }
    return all;
  };

  /** Largest value with its U, rounded up: what the ring's reach stands for, µm. */
  const fullScale = data => {
    let most = 0;
    for (const tooth of data.teeth) {
      for (const side of cogloupe.SIDES) {
        const [value, limit] = cogloupe.shown(tooth[side]);
        if (value !== null) most = Math.max(most, Math.abs(value) + (limit ?? 0));
      }
    }
    return cogloupe.roundUp(most || 1);
  };

  const flank = (tooth, side, pitch, scale) => {
    const way = side === "left" ? -1 : 1, middle = tooth.deg + way * pitch * 0.23;
    const half = Math.min(pitch * 0.19, 3.2), { status } = tooth[side], parts = [];
    const [value, limit] = cogloupe.shown(tooth[side]);
    if (status === "not_seen" || value === null) {
      parts.push(draw("path", { class: "unseen", d: piece(ZERO - 4, ZERO + 4, middle - half, middle + half) }));
      return parts;
    }
    const end = ZERO + REACH * value / scale, u = REACH * (limit ?? 0) / scale;
    const inside = Math.abs(value) < (limit ?? 0) ? " inside" : "";
    parts.push(draw("path", { class: `bar ${side}${inside}`, d: piece(ZERO, end, middle - half, middle + half) }));
    if (u) parts.push(draw("path", { class: "limit", d: path([polar(end - u, middle), polar(end + u, middle)]) }));
    if (status !== "ok") {
      const [x, y] = polar(ZERO - REACH - 1.5, middle);
      parts.push(draw("circle", { class: "part", cx: x, cy: y, r: 1.2 }));
    }
    return parts;
  };

  const levels = (scale, radius_um) => {
    const [unit, factor] = cogloupe.shownIn("µm", true), all = draw("g", { class: "levels" });
    for (const share of [-1, -0.5, 0, 0.5, 1]) {
      all.append(draw("circle", { r: ZERO + share * REACH, class: share ? "level" : "zero" }));
    }
    for (const share of [-1, 1]) {
      const text = `${share < 0 ? "−" : "+"}${Number((scale * factor).toPrecision(2))}${unit === "′" ? "" : " "}${unit}`;
      all.append(draw("text", { x: 0, y: -(ZERO + share * REACH) + 1.5, class: "level-name" }, text));
    }
    return all;
  };

  const numberStep = z => [1, 2, 5, 10, 20].find(step => z / step <= 62) ?? 50;

  const teeth = (data, scale) => {
    const z = data.teeth.length, pitch = 360 / z, step = numberStep(z), all = draw("g", {});
    for (const tooth of data.teeth) {
      const one = draw("g", { class: "tooth", "data-tooth": tooth.n });
      one.append(cogloupe.hit(tooth.n, "path", { d: piece(62, EDGE - 3, tooth.deg - pitch / 2, tooth.deg + pitch / 2) }));
      for (const side of cogloupe.SIDES) one.append(...flank(tooth, side, pitch, scale));
      const plain = tooth.n === 1 || (tooth.n % step === 0 && z + 1 - tooth.n > step / 2);
      const [x, y] = polar(NUMBERS, tooth.deg);
      one.append(draw("text", { x, y: y + 1.9, class: plain ? "number" : "number between" }, String(tooth.n)));
      all.append(one);
    }
    return all;
  };

  /** Draw the ring into `place` and keep it in step with what is chosen. */
  cogloupe.ring = (place, data) => {
    const drawing = draw("svg", { viewBox: `${-EDGE} ${-EDGE} ${2 * EDGE} ${2 * EDGE}`, class: "ring", "aria-hidden": "true" });
    const changing = draw("g", {});
    drawing.append(photograph(data, "loupe-rim"), circles(data), changing);
    place.replaceChildren(drawing);
    follow(["what", "about", "unit"], state => {
      const scale = fullScale(data);
      changing.replaceChildren(levels(scale, state.radius_um), teeth(data, scale));
      for (const part of changing.querySelectorAll(`[data-tooth="${state.at}"]`)) part.classList.add("at");
    });
    cogloupe.pointing(drawing);
  };
})();
