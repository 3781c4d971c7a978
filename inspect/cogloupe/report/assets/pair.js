"use strict";
/* A pair's page: both gears turn in mesh, with the places where they touch and what the figures say there. */

(() => {
  const { draw, follow, path, set } = cogloupe;
  const PITCHES_A_SECOND = 1.2, DOT = 0.009;

  const around = (value, count) => ((value % count) + count) % count;

  /** Value of a curve between its places, all round; null where it is not known. */
  const between = (values, data, position) => {
    const place = around((position - data.place[0]) / data.place[1], values.length);
    const k = Math.floor(place), next = (k + 1) % values.length;
    if (values[k] === null || values[next] === null) return null;
    return values[k] + (values[next] - values[k]) * (place - k);
  };

  const turned = (data, state) => {
    const way = state.side ? 1 : -1, lead = between(data.lead[state.side], data, state.position) ?? 0;
    const even = data.turn_b - state.position * 360 / data.teeth[1];
    return [data.turn_a + state.position * 360 / data.teeth[0], even + data.limit[state.side] - way * lead * data.deg_per_um];
  };

  /** Tooth of the first gear and gap of the second on the line of centres. */
  const meeting = (data, position) => {
    const step = Math.round(position);
    return [around(data.start[0] - 1 - step, data.teeth[0]) + 1, around(data.start[1] - 1 + step, data.teeth[1]) + 1];
  };

  /** Flanks that touch: full where they drive, open where perfect ones would touch besides. */
  const contacts = (data, state, size) => {
    const past = state.position - Math.round(state.position), found = [];
    const at = data.driving[state.side], driving = at[around(Math.round((state.position - data.place[0]) / data.place[1]), at.length)];
    data.points[state.side].forEach((block, k) => {
      const place = ((state.side ? past : -past) + 0.5) * block.length;
      const [cx, cy, inside] = block[Math.min(Math.max(Math.floor(place), 0), block.length - 1)];
      if (inside || k === driving) found.push(draw("circle", { cx, cy, r: size, class: k === driving ? "driving" : "" }));
    });
    return found;
  };

  const turning = (root, data) => {
    const parts = ["gear-a", "gear-b"].map(id => root.querySelector(`#${id}`));
    const dots = [...root.querySelectorAll(".contacts")];
    follow(["position", "side"], state => {
      turned(data, state).forEach((deg, k) => parts[k].setAttribute("transform", `rotate(${deg.toFixed(5)})`));
      for (const place of dots) place.replaceChildren(...contacts(data, state, DOT * place.ownerSVGElement.viewBox.baseVal.width));
      const [tooth, gap] = meeting(data, state.position), lit = [[tooth], [gap, gap % data.teeth[1] + 1]];
      parts.forEach((part, k) => {
        for (const one of part.querySelectorAll("path[data-tooth]")) one.classList.toggle("at", lit[k].includes(Number(one.dataset.tooth)));
      });
    });
  };

  const readout = (place, data) => follow(["position", "side"], state => {
    const [tooth, gap] = meeting(data, state.position), free = between(data.free, data, state.position);
    const lead = between(data.lead[state.side], data, state.position), turns = state.position / data.teeth[0];
    const known = free === null ? "a flank that might touch was not seen" :
      `backlash ${free.toFixed(3).replace("-", "−")}\u00a0mm, second gear ${Math.abs(lead).toFixed(1)}\u00a0µm ${lead < 0 ? "behind" : "ahead of"} even turning`;
    place.textContent = `After ${turns.toFixed(2)} turns of the first gear its tooth ${tooth} stands in gap ${gap} of the second: ${known}.`;
  });

  /** Lead and backlash over the period, with a line where the gears stand. */
  const strip = (place, data) => cogloupe.fitted(place, width => {
    const left = 52, wide = width - left - 8, kinds = ["left", "right"];
    const sheet = draw("svg", { viewBox: `0 0 ${width} 300`, class: "strip", "aria-hidden": "true" });
    const part = (top, height, curves, title, classes) => {
      const known = curves.flat().filter(v => v !== null), low = Math.min(...known, 0), high = Math.max(...known, 0);
      const axes = cogloupe.axes({ left, top, width: wide, height, xs: [0, data.steps], ys: [low, high], title, levels: 4 });
      sheet.append(axes.frame);
      curves.forEach((curve, k) => sheet.append(draw("path", { class: `trace ${classes[k]}`,
        d: path(curve.map((v, n) => v === null ? null : [axes.x(around(data.place[0] + n * data.place[1], data.steps)), axes.y(v)])
          .sort((p, q) => (p ? p[0] : 0) - (q ? q[0] : 0))) })));
      return axes;
    };
    const axes = part(24, 130, data.lead, "ahead of even turning / µm", kinds);
    part(190, 100, [data.free], "backlash / mm", ["free"]);
    const cursor = draw("path", { class: "cursor" });
    sheet.append(cursor);
    place.replaceChildren(sheet);
    follow(["position"], state => cursor.setAttribute("d", `M${axes.x(around(state.position, data.steps)).toFixed(1)},24v266`));
    sheet.addEventListener("click", event => {
      const box = sheet.getBoundingClientRect(), at = (event.clientX - box.left) * width / box.width;
      set({ position: Math.min(Math.max((at - left) / wide, 0), 1) * data.steps });
    });
  });

  const controls = (root, data) => {
    const slider = root.querySelector("#position"), key = root.querySelector("#play");
    let last = null;
    slider.addEventListener("input", () => set({ position: Number(slider.value) }));
    follow(["position"], state => { slider.value = around(state.position, data.steps); });
    const step = now => {
      if (last === null) return;
      const way = cogloupe.state.side ? 1 : -1;
      set({ position: around(cogloupe.state.position + way * (now - last) / 1000 * PITCHES_A_SECOND, data.steps) });
      last = now;
      requestAnimationFrame(step);
    };
    key.addEventListener("click", () => {
      const playing = last === null;
      last = playing ? performance.now() : null;
      key.setAttribute("aria-pressed", String(playing));
      key.textContent = playing ? "Stop" : "Turn";
      if (playing) requestAnimationFrame(step);
    });
    root.querySelector("#tightest").addEventListener("click", () => set({ position: data.tightest }));
    for (const choice of root.querySelectorAll('input[name="side"]')) {
      choice.addEventListener("change", () => set({ side: Number(choice.value) }));
    }
  };

  const start = () => {
    const held = document.getElementById("pair-data");
    if (!held) return;
    const data = JSON.parse(held.textContent), root = document.body;
    cogloupe.begin({ unit: "µm", position: data.tightest, side: 1, radius_um: 1 });
    turning(root, data);
    readout(root.querySelector(".mesh-readout"), data);
    strip(root.querySelector("[data-part=strip]"), data);
    controls(root, data);
    root.classList.add("alive");
  };

  document.addEventListener("DOMContentLoaded", start);
})();
