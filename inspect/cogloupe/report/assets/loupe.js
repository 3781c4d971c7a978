"use strict";
/* One tooth close up, its tip up: the photograph, the theoretical outline, and both flanks'
deviations drawn along their normals, as much larger as the slider says. Lengths are picture px. */

(() => {
  const { draw, element, follow, path } = cogloupe;
  const HALF = 100;

  const pairs = flat => {
    const found = [];
    for (let k = 0; k < flat.length; k += 2) found.push([flat[k] / 10, flat[k + 1] / 10]);
    return found;
  };

  /** Theoretical and enlarged line of one flank's points: x, y, normal, deviation in tenths. */
  const lines = (flat, factor, px_per_um) => {
    const theory = [], drawn = [];
    for (let k = 0; k < flat.length; k += 4) {
      const [x, y, turn, off] = [flat[k] / 10, flat[k + 1] / 10, flat[k + 2] / 1000, flat[k + 3] / 10 * px_per_um];
      theory.push([x, y]);
      drawn.push([x + factor * off * Math.cos(turn), y + factor * off * Math.sin(turn)]);
    }
    return [theory, drawn];
  };

  const neighbours = (data, at) => data.flanks.filter(([n]) => {
    const off = Math.abs(n - at);
    return Math.min(off, data.teeth.length - off) <= 1;
  });

  const deviations = (data, at, factor) => {
    const all = draw("g", {}), px_per_um = 1 / data.view.um_per_px;
    for (const [n, side, flat] of neighbours(data, at)) {
      const [theory, drawn] = lines(flat, factor, px_per_um), own = n === at ? " own" : "";
      all.append(draw("path", { class: `off ${side}`, d: path([...theory, ...drawn.reverse()], true) }),
        draw("path", { class: `edge ${side}${own}`, d: path(drawn) }));
    }
    return all;
  };

  /** Factor that makes the largest deviation about a third of a tooth's thickness. */
  const usual = data => {
    let most = 0;
    for (const [, , flat] of data.flanks) for (let k = 3; k < flat.length; k += 4) most = Math.max(most, Math.abs(flat[k]) / 10);
    const thick = Math.PI * cogloupe.state.radius_um / data.teeth.length;
    return most ? Math.max(1, cogloupe.roundDown(thick / 3 / most)) : 100;
  };

  const bar = (data, factor, across) => {
    const um_per_unit = data.view.um_per_px * across / (2 * HALF) / factor, [unit, per] = cogloupe.shownIn("µm", true);
    const stands = cogloupe.roundDown(um_per_unit * 60 * per), long = stands / per / um_per_unit;
    const text = `${Number(stands.toPrecision(3))}${unit === "′" ? "" : " "}${unit} of deviation`;
    return draw("g", { class: "scale-bar" },
      draw("path", { d: `M${-long / 2},72v-3v6v-3H${long / 2}v-3v6` }),
      draw("text", { x: 0, y: 84 }, text));
  };

  const controls = (place, factor) => {
    const slider = element("input", { type: "range", min: 0, max: 3, step: 0.01, value: Math.log10(factor), id: "enlarge" });
    const name = element("output", { for: "enlarge" });
    slider.addEventListener("input", () => cogloupe.set({ factor: Math.max(1, Number((10 ** slider.value).toPrecision(2))) }));
    place.replaceChildren(element("label", { for: "enlarge" }, "Deviations enlarged "), slider, name);
    follow(["factor"], state => {
      name.textContent = ` × ${state.factor}`;
      slider.setAttribute("aria-valuetext", `${state.factor} times`);
    });
  };

  /** Draw the close-up into `place`, its slider into `below`. */
  cogloupe.loupe = (place, below, data) => {
    const { image, centre, tip_px: tip, root_px: root, href } = data.view;
    const z = data.teeth.length, middle = (tip + root) / 2;
    const across = Math.min(Math.max(1.9 * (tip - root), 2.1 * 2 * Math.PI * middle / z), 2 * tip);
    const picture = draw("image", { href, width: image[0], height: image[1] });
    const outline = path(pairs(data.theory), true), theory = kind => draw("path", { class: kind, d: outline });
    const turned = draw("g", {}), over = draw("g", {}), scale = draw("g", {});
    turned.append(picture, theory("theory under"), theory("theory"), over);
    place.replaceChildren(draw("svg", { viewBox: `${-HALF} ${-HALF} ${2 * HALF} ${2 * HALF}`, class: "loupe", "aria-hidden": "true" },
      draw("clipPath", { id: "loupe-glass" }, draw("circle", { r: HALF - 2 })),
      draw("circle", { r: HALF - 2, class: "glass" }),
      draw("g", { "clip-path": "url(#loupe-glass)" }, turned, scale),
      draw("circle", { r: HALF - 2, class: "rim" })));
    cogloupe.set({ factor: usual(data) });
    controls(below, cogloupe.state.factor);
    follow(["at", "factor", "unit"], ({ at, factor }) => {
      const deg = data.teeth[at - 1].deg, rad = deg * Math.PI / 180;
      const [x, y] = [centre[0] + middle * Math.cos(rad), centre[1] + middle * Math.sin(rad)];
      turned.setAttribute("transform", `scale(${2 * HALF / across}) rotate(${-90 - deg}) translate(${-x} ${-y})`);
      over.replaceChildren(deviations(data, at, factor));
      scale.replaceChildren(bar(data, factor, across));
    });
  };
})();
