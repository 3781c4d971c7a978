"use strict";
/* Charts tooth by tooth: pitch before each tooth, place of each tooth, thickness and gap. */

(() => {
  const { draw, follow, path } = cogloupe;
  const LEFT = 52, ROOM = 190;

  const reach = (data, what) => {
    let low = 0, high = 0;
    for (const tooth of data.teeth) {
      for (const side of cogloupe.SIDES) {
        const [value, limit] = cogloupe.shown(tooth[side], what);
        if (value === null) continue;
        low = Math.min(low, value - (limit ?? 0));
        high = Math.max(high, value + (limit ?? 0));
      }
    }
    const room = 0.04 * (high - low) || 1;
    return [low - room, high + room];
  };

  const hits = (data, axes, half = 0.5) => data.teeth.map(({ n }) => cogloupe.hit(n, "rect", {
    x: axes.x(n - half), y: axes.top, width: axes.x(n + half) - axes.x(n - half), height: axes.height,
  }));

  const limitLine = (axes, at, value, limit) => limit
    ? [draw("path", { class: "limit", d: `M${at.toFixed(1)},${axes.y(value - limit).toFixed(1)}V${axes.y(value + limit).toFixed(1)}` })] : [];

  const tooth = (data, axes, one, what) => {
    const pitch = axes.x(1) - axes.x(0), group = draw("g", { "data-tooth": one.n });
    for (const side of cogloupe.SIDES) {
      const [value, limit] = cogloupe.shown(one[side], what), middle = axes.x(one.n) + (side === "left" ? -0.21 : 0.21) * pitch;
      if (value === null) {
        group.append(draw("rect", { class: "unseen", x: middle - 0.2 * pitch, y: axes.top, width: 0.4 * pitch, height: axes.height }));
        continue;
      }
      const inside = Math.abs(value) < (limit ?? 0) ? " inside" : "", y = axes.y(value);
      if (what === "step") {
        const zero = axes.y(0), half = Math.min(0.19 * pitch, 14);
        group.append(draw("rect", { class: `bar ${side}${inside}`, x: middle - half, y: Math.min(y, zero), width: 2 * half, height: Math.max(Math.abs(y - zero), 0.5) }));
      } else {
        group.append(draw("circle", { class: `bar ${side}${inside}`, cx: middle, cy: y, r: Math.min(4, Math.max(1.4, 0.16 * pitch)) }));
      }
      group.append(...limitLine(axes, middle, value, limit));
    }
    return group;
  };

  const trace = (data, axes, side, what) => {
    const off = side === "left" ? -0.21 : 0.21;
    return draw("path", { class: `trace ${side}`, d: path(data.teeth.map(one => {
      const [value] = cogloupe.shown(one[side], what);
      return value === null ? null : [axes.x(one.n + off), axes.y(value)];
    })) });
  };

  const numbers = (data, axes, y) => {
    const z = data.teeth.length, room = z < 100 ? 22 : 30, step = [1, 2, 5, 10, 20, 50].find(s => axes.width / z * s >= room) ?? 100;
    return data.teeth.filter(({ n }) => n === 1 || (n % step === 0 && (step === 1 || n >= step))).map(({ n }) =>
      draw("text", { x: axes.x(n), y, class: "number" }, String(n)));
  };

  const panel = (data, what, box, title) => {
    const [unit, factor] = cogloupe.shownIn("µm", true), z = data.teeth.length;
    const axes = cogloupe.axes({ ...box, xs: [0.4, z + 0.6], ys: reach(data, what), title: `${title} / ${unit === "′" ? "minutes of arc" : unit}`, factor });
    if (what !== "step") axes.frame.append(...cogloupe.SIDES.map(side => trace(data, axes, side, what)));
    axes.frame.append(...data.teeth.map(one => tooth(data, axes, one, what)), ...hits(data, axes));
    return axes;
  };

  const KEYS = [["bar left", "left flank"], ["bar right", "right flank"], ["bar inside left", "hollow: inside its U, not resolved"], ["limit", "± U (k = 2)"]];

  /** Two charts over one another: the pitch before each tooth, and each tooth's place. */
  cogloupe.pitchChart = (place, data) => {
    const drawn = width => {
      const entries = data.unseen ? [...KEYS, ["unseen", "not seen"]] : KEYS, [legend, below] = cogloupe.legend(entries, width);
      const box = k => ({ left: LEFT, top: below + 34 + k * (ROOM + 40), width: width - LEFT - 6, height: ROOM });
      const about = cogloupe.state.about === "mean" ? "about the mean" : "tooth 1 set to zero";
      const short = width < 560;
      const upper = panel(data, "step", box(0), short ? "pitch before the tooth" : "pitch before each tooth, too long above (single pitch deviation)");
      const lower = panel(data, "place", box(1), short ? `place, ${about}` : `place of each tooth, ahead clockwise above (cumulative pitch deviation), ${about}`);
      const foot = below + 34 + 2 * ROOM + 40;
      const sheet = cogloupe.sheet(width, foot + 42, "pitch");
      sheet.append(legend, upper.frame, lower.frame, ...numbers(data, lower, foot + 16),
        draw("text", { x: LEFT + (width - LEFT) / 2, y: foot + 36, class: "foot" }, "tooth number, clockwise on the picture"));
      place.replaceChildren(sheet);
      for (const part of sheet.querySelectorAll(`[data-tooth="${cogloupe.state.at}"]`)) part.classList.add("at");
      cogloupe.pointing(sheet);
    };
    const again = cogloupe.fitted(place, drawn);
    follow(["unit", "about"], again);
  };

  /** Thickness of each tooth and width of the gap after it. */
  cogloupe.thicknessChart = (place, data) => {
    const kinds = [["left", "s", -0.12, "tooth thickness"], ["right", "e", 0.12, "width of the gap after it"]];
    const seen = kinds.flatMap(([, key]) => data.teeth.map(one => one[key]).filter(([value]) => value !== null));
    if (!seen.length) return;
    const low = Math.min(...seen.map(([v, u]) => v - (u ?? 0))), high = Math.max(...seen.map(([v, u]) => v + (u ?? 0)));
    const room = 0.05 * (high - low) || 0.01, z = data.teeth.length;
    const drawn = width => {
      const [unit, factor] = cogloupe.shownIn("mm", true), [legend, below] = cogloupe.legend(kinds.map(([side, , , text]) => [`bar ${side}`, text]).concat([["limit", "± U"]]), width);
      const axes = cogloupe.axes({ left: LEFT, top: below + 34, width: width - LEFT - 6, height: ROOM, xs: [0.4, z + 0.6], ys: [low - room, high + room], factor,
        title: `arc on the measuring circle / ${unit === "′" ? "minutes of arc" : unit}` });
      for (const one of data.teeth) {
        const group = draw("g", { "data-tooth": one.n });
        for (const [side, key, off] of kinds) {
          const [value, limit] = one[key];
          if (value === null) continue;
          const at = axes.x(one.n + off);
          group.append(...limitLine(axes, at, value, limit), draw("circle", { class: `bar ${side}`, cx: at, cy: axes.y(value), r: Math.min(4, Math.max(1.4, axes.width / z * 0.16)) }));
        }
        axes.frame.append(group);
      }
      axes.frame.append(...hits(data, axes));
      const sheet = cogloupe.sheet(width, below + ROOM + 60, "thickness");
      sheet.append(legend, axes.frame, ...numbers(data, axes, below + ROOM + 52));
      place.replaceChildren(sheet);
      cogloupe.pointing(sheet);
    };
    const again = cogloupe.fitted(place, drawn);
    follow(["unit"], again);
  };
})();
