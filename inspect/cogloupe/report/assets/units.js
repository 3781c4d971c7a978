"use strict";
/* Figures with their U in the unit that was chosen: µm and mm, thou and inches, minutes of arc. */

(() => {
  const MM_PER_INCH = 25.4;
  const MINUTES = 180 * 60 / Math.PI;

  /** Unit and factor that a figure is shown in; only what lies along the circle has an angle. */
  cogloupe.shownIn = (unit, arc) => {
    const chosen = cogloupe.state.unit;
    if (chosen === "thou" && unit === "µm") return ["thou", 1 / MM_PER_INCH];
    if (chosen === "thou" && unit === "mm") return ["in", 1 / MM_PER_INCH];
    if (chosen === "′" && arc && unit === "µm") return ["′", MINUTES / cogloupe.state.radius_um];
    if (chosen === "′" && arc && unit === "mm") return ["′", 1000 * MINUTES / cogloupe.state.radius_um];
    return [unit, 1];
  };

  /** Power of ten of the last of so many digits that count, as the reading's own texts have it. */
  const place = (value, digits) => {
    if (!value) return 0;
    const least = Math.floor(Math.log10(Math.abs(value))) - digits + 1;
    return Number(rounded(Math.abs(value), least)) >= 10 ** (least + digits) * (1 - 1e-12) ? least + 1 : least;
  };

  /** Half is rounded up; a hair is added for what decimals cannot be held exactly. */
  const rounded = (size, last) => {
    const steps = Math.floor(size / 10 ** last * (1 + 1e-12) + 0.5);
    return (steps * 10 ** last).toFixed(Math.max(0, -last));
  };

  const written = (value, last, signed) => {
    const text = rounded(Math.abs(value), last);
    if (Number(text) === 0) return text;
    return (value < 0 ? "−" : signed ? "+" : "") + text;
  };

  const behind = (text, unit) => unit === "" ? text : unit === "°" || unit === "′" ? text + unit : `${text} ${unit}`;

  /** A figure and its U (null where unknown, 0 where it is set) as a person is shown it. */
  cogloupe.figure = (value, limit, unit, { arc = false, signed = false, bare = false } = {}) => {
    if (value === null || Number.isNaN(value)) return "–";
    const [name, factor] = cogloupe.shownIn(unit, arc);
    const shown = bare ? "" : name;
    value *= factor;
    if (!limit) return behind(written(value, place(value, 4), signed), shown);
    limit *= factor;
    const last = place(limit, 2), u = written(limit, last, false);
    if (Math.abs(value) < limit) return `not resolved (U = ${behind(u, shown)})`;
    return behind(`${written(value, last, signed)} ± ${u}`, shown);
  };

  const number = text => text === undefined || text === "" ? null : Number(text);

  /** Unit and manner of a figure: its own, or what its column's heading says of all. */
  const told = place => "unit" in place.dataset ? place.dataset : place.closest("table").tHead.lastElementChild.cells[place.cellIndex].dataset;

  const write = (place, state) => {
    const d = place.dataset, manner = told(place), other = state.about === "tooth 1" && d.v1 !== undefined;
    const value = number(other ? d.v1 : d.v), limit = number(other ? d.l1 : d.l);
    const how = { arc: "arc" in manner, signed: "signed" in manner, bare: "bare" in manner };
    place.textContent = cogloupe.figure(value, limit, manner.unit, how).replace(/ (?=±|=|µm|mm|in\b|thou)|(?<=[±=]) /g, "\u00a0");
    place.classList.toggle("faint", value !== null && Boolean(limit) && Math.abs(value) < limit);
  };

  /** Keep every figure of a part of the page in the chosen unit. */
  cogloupe.followUnits = root => {
    const figures = root.querySelectorAll("[data-v]:not([data-v=''])"), heads = root.querySelectorAll(".unit");
    const abouts = root.querySelectorAll(".about");
    let first = true;
    cogloupe.follow(["unit", "about"], state => {
      for (const head of heads) head.textContent = cogloupe.shownIn(head.dataset.is, "arc" in head.dataset)[0];
      for (const about of abouts) about.textContent = state.about === "mean" ? "about the mean" : "from tooth 1";
      if (!first || state.unit !== "µm" || state.about !== "mean") figures.forEach(place => write(place, state));
      first = false;
    });
  };
})();
