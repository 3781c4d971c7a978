"use strict";
/* Shapes against theory: the profile of every flank, and all gaps over one another. Noise is drawn
no larger than it is: the scale reaches at least to 2.5 times the U of what is drawn. */

(() => {
  const { draw, element, follow, path } = cogloupe;
  const LEFT = 52, LEAST = 2.5;

  const points = (axes, along, values) => path(values.map((value, k) => value === null ? null : [axes.x(along[k]), axes.y(value / 10)]));

  const large = (traces, limit) => {
    const sizes = traces.flat().filter(value => value !== null).map(value => Math.abs(value) / 10).sort((a, b) => a - b);
    return Math.max(1.08 * (sizes[Math.floor(sizes.length * 0.995)] ?? 1), LEAST * limit, 0.1);
  };

  const band = (axes, limit) => draw("rect", { class: "band", x: axes.left, width: axes.width, y: axes.y(limit), height: axes.y(-limit) - axes.y(limit) });

  const rolls = (axes, { roll, above, end }, foot, more) => {
    const all = draw("g", {});
    for (const at of cogloupe.ticks(roll[0], roll[roll.length - 1], 4)) {
      all.append(draw("path", { class: "tick", d: `M${axes.x(at).toFixed(1)},${foot}v5` }), draw("text", { x: axes.x(at), y: foot + 18, class: "number" }, String(at)));
    }
    all.append(draw("text", { x: axes.left, y: foot + 36, class: "end" }, more ? "root · length of roll / mm · tip" : "length of roll / mm"));
    if (above) {
      const [low, high] = [above[0], above[above.length - 1]];
      all.append(draw("text", { x: axes.left, y: foot + 53, class: "end" }, `${low.toFixed(2)} to ${high.toFixed(2)} mm above the floor`));
    }
    return all;
  };

  const side = (data, name, box, scale) => {
    const { profiles } = data, [unit, factor] = cogloupe.shownIn("µm", false), roll = profiles.roll;
    const axes = cogloupe.axes({ ...box, xs: [roll[0], roll[roll.length - 1]], ys: [-scale, scale], factor, title: `${name} flanks / ${unit}` });
    axes.frame.append(band(axes, profiles.limit));
    profiles[name].forEach((values, k) => axes.frame.append(draw("path", { class: `single ${name}`, "data-tooth": k + 1, d: points(axes, roll, values) })));
    axes.frame.append(draw("path", { class: `mean ${name}`, d: points(axes, roll, profiles.mean[name]) }));
    axes.frame.append(rolls(axes, profiles, box.top + box.height, box.width > 260));
    return axes.frame;
  };

  /** Profiles of all flanks of both sides, the mean in bold. */
  cogloupe.profileChart = (place, data) => {
    if (!data.profiles) return;
    const scale = large([...data.profiles.left, ...data.profiles.right, ...Object.values(data.profiles.mean)], data.profiles.limit);
    const drawn = width => {
      const beside = width > 620, wide = beside ? width / 2 : width, high = 230;
      const [legend, below] = cogloupe.legend([["mean left", "mean of the side"], ["single left", "each tooth"], ["band", "± U of one flank"]], width);
      const sheet = cogloupe.sheet(width, below + 34 + (beside ? 1 : 2) * (high + 96) - 30, "profile");
      const box = k => ({ left: LEFT + (beside ? k * wide : 0), top: below + 34 + (beside ? 0 : k * (high + 96)), width: wide - LEFT - 10, height: high });
      sheet.append(legend, ...cogloupe.SIDES.map((name, k) => side(data, name, box(k), scale)));
      place.replaceChildren(sheet);
      for (const part of sheet.querySelectorAll(`[data-tooth="${cogloupe.state.at}"]`)) part.classList.add("at");
      cogloupe.pointing(sheet);
    };
    follow(["unit"], cogloupe.fitted(place, drawn));
  };

  const outline = (gaps, off, factor, place) => path(gaps.xy.map((xy, k) => {
    if (off !== null && off[k] === null) return null;
    const by = off === null ? 0 : factor * off[k] / 1e4, turn = gaps.normal[k] / 1000;
    return place([xy[0] + by * Math.cos(turn), xy[1] + by * Math.sin(turn)]);
  }));

  const gapDrawing = (data, factor) => {
    const { gaps } = data, xs = gaps.xy.map(([x]) => x), ys = gaps.xy.map(([, y]) => y);
    const wide = Math.max(...xs) - Math.min(...xs), low = Math.min(...ys), high = Math.max(...ys);
    const scale = 400 / (1.5 * wide), room = 0.25 * wide * scale, height = (high - low) * scale + 2 * room;
    const place = ([x, y]) => [200 + x * scale, room + (high - y) * scale];
    const edge = sign => gaps.xy.map((xy, k) => {
      const by = factor * sign * gaps.limit / 1e3, turn = gaps.normal[k] / 1000;
      return place([xy[0] + by * Math.cos(turn), xy[1] + by * Math.sin(turn)]);
    });
    const svg = draw("svg", { viewBox: `0 0 400 ${height.toFixed(0)}`, class: "gaps", "aria-hidden": "true" });
    svg.append(draw("path", { class: "band", d: path([...edge(1), ...edge(-1).reverse()], true) }));
    gaps.off.forEach((off, k) => svg.append(draw("path", { class: "single gap", "data-tooth": k + 1, d: outline(gaps, off, factor, place) })));
    svg.append(draw("path", { class: "theory", d: outline(gaps, null, 0, place) }),
      draw("path", { class: "mean right", d: outline(gaps, gaps.mean, factor, place) }));
    return svg;
  };

  const gapFactor = gaps => {
    const opening = Math.max(...gaps.xy.map(([x]) => x)) - Math.min(...gaps.xy.map(([x]) => x));
    return Math.max(1, cogloupe.roundDown(0.12 * opening * 1000 / large([...gaps.off, gaps.mean], gaps.limit)));
  };

  /** All gaps over one another with the theoretical one, deviations enlarged. */
  cogloupe.gapChart = (place, data) => {
    if (!data.gaps) return;
    const factor = gapFactor(data.gaps), svg = gapDrawing(data, factor);
    const keys = [["theory", "theoretical gap at the depth found"], ["mean right", `mean of all gaps, deviations × ${factor}`], ["single gap", "each gap, likewise"], ["band", "± U of one edge"]];
    const list = element("ul", { class: "keys" }, ...keys.map(([kind, text]) => element("li", {},
      draw("svg", { viewBox: "0 0 22 10", class: "chart" }, draw("path", { class: kind, d: kind === "band" ? "M0,1h22v8h-22z" : "M0,5h22" })), text)));
    place.replaceChildren(svg, list);
    cogloupe.pointing(svg);
  };
})();
