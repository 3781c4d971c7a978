"use strict";
/* Which tooth is looked at: pointed at or chosen, lit in every drawing, table and sentence. */

(() => {
  const { draw, element, follow, set } = cogloupe;

  /** Value, U and status of what the ring and the charts show of a flank. */
  cogloupe.shown = (flank, what = cogloupe.state.what) => {
    if (what === "step") return flank.f;
    return cogloupe.state.about === "mean" ? flank.p : flank.F;
  };

  cogloupe.SIDES = ["left", "right"];

  const flankText = (side, flank, what) => {
    if (flank.status === "not_seen") return `${side} flank not seen`;
    const [value, limit] = cogloupe.shown(flank, what);
    const text = cogloupe.figure(value, limit, "µm", { arc: true, signed: true });
    return `${side} ${text}${flank.status === "ok" ? "" : ` (${flank.status})`}`;
  };

  /** What is known of a tooth, in one line. */
  cogloupe.toothText = (data, number) => {
    const tooth = data.teeth[number - 1], both = what => cogloupe.SIDES
      .map(side => flankText(side, tooth[side], what)).join(", ");
    const about = cogloupe.state.about === "mean" ? "about the mean" : "from tooth 1";
    const thick = tooth.s[0] === null ? "" : ` Thickness ${cogloupe.figure(...tooth.s, "mm", { arc: true })}.`;
    return `Tooth ${number}. Place, ${about}: ${both("place")}. Pitch before it: ${both("step")}.${thick}`;
  };

  const light = (root, number, on) => {
    for (const part of root.querySelectorAll(`[data-tooth="${number}"]`)) part.classList.toggle("at", on);
  };

  /** Light the tooth that is looked at, wherever it stands under `root`. */
  cogloupe.followTooth = root => {
    let last = 0;
    follow(["at"], ({ at }) => {
      light(root, last, false);
      light(root, at, true);
      last = at;
    });
  };

  /** Let a part of the page point at teeth: whatever in it carries a tooth's number. */
  cogloupe.pointing = part => {
    const numberAt = event => Number(event.target.closest?.("[data-tooth]")?.dataset.tooth ?? 0);
    part.addEventListener("pointerover", event => {
      const number = numberAt(event);
      if (number && event.pointerType !== "touch") set({ at: number });
    });
    part.addEventListener("pointerleave", () => set({ at: cogloupe.state.chosen }));
    part.addEventListener("click", event => {
      const number = numberAt(event);
      if (number) set({ chosen: number, at: number });
    });
  };

  /** Let the arrow keys go from tooth to tooth, as on a dial. */
  cogloupe.dial = (part, data) => {
    const z = data.teeth.length;
    const steps = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 5, PageDown: -5 };
    for (const [name, value] of Object.entries({ role: "slider", tabindex: 0, "aria-label": "Tooth", "aria-valuemin": 1, "aria-valuemax": z })) {
      part.setAttribute(name, value);
    }
    part.addEventListener("keydown", event => {
      const to = event.key === "Home" ? 1 : event.key === "End" ? z
        : steps[event.key] ? (cogloupe.state.chosen - 1 + steps[event.key] + 5 * z) % z + 1 : 0;
      if (!to) return;
      event.preventDefault();
      set({ chosen: to, at: to });
    });
    follow(["at", "unit", "about"], ({ at }) => {
      part.setAttribute("aria-valuenow", at);
      part.setAttribute("aria-valuetext", cogloupe.toothText(data, at));
    });
  };

  /** The tooth that is looked at in words, and steps to its neighbours. */
  cogloupe.readout = (place, data) => {
    const z = data.teeth.length, text = element("span");
    const step = (by, sign, label) => {
      const button = element("button", { type: "button", class: "key", "aria-label": label }, sign);
      button.addEventListener("click", () => {
        const to = (cogloupe.state.chosen - 1 + by + z) % z + 1;
        set({ chosen: to, at: to });
      });
      return button;
    };
    place.replaceChildren(step(-1, "‹", "Tooth before"), step(1, "›", "Next tooth"), text);
    follow(["at", "unit", "about"], ({ at }) => { text.textContent = cogloupe.toothText(data, at); });
  };

  /** A transparent area that answers for a tooth. */
  cogloupe.hit = (number, shape, attributes) => draw(shape, { ...attributes, class: "hit", "data-tooth": number });
})();
