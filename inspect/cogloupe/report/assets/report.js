"use strict";
/* A reading's page: its drawings, made from the figures that stand in it. */

(() => {
  const { follow, set } = cogloupe;

  const choices = root => {
    for (const name of ["unit", "about", "what"]) {
      for (const button of root.querySelectorAll(`input[name="${name}"]`)) {
        button.addEventListener("change", () => set({ [name]: button.value }));
        if (button.checked) set({ [name]: button.value });
      }
    }
  };

  const parts = [
    ["ring", (place, data) => { cogloupe.ring(place, data); cogloupe.dial(place, data); }],
    ["pitch-chart", (place, data) => cogloupe.pitchChart(place, data)],
    ["thickness-chart", (place, data) => cogloupe.thicknessChart(place, data)],
    ["profile-chart", (place, data) => cogloupe.profileChart(place, data)],
    ["gap-chart", (place, data) => cogloupe.gapChart(place, data)],
    ["readout", (place, data) => cogloupe.readout(place, data)],
  ];

  /** Show the figures of a reading in the places of `root` that are named for them. */
  cogloupe.report = (root, data) => {
    const at = data.worst || 1, place = name => root.querySelector(`[data-part="${name}"]`);
    cogloupe.begin({ unit: "µm", about: "mean", what: "place", at, chosen: at, factor: 1, radius_um: data.radius_um });
    choices(root);
    if (place("loupe")) cogloupe.loupe(place("loupe"), place("enlarge"), data);
    for (const [name, show] of parts) if (place(name)) show(place(name), data);
    cogloupe.followUnits(root);
    cogloupe.followTooth(root);
    cogloupe.sortable(root);
    for (const table of root.querySelectorAll("table.by-tooth")) cogloupe.pointing(table);
    root.classList.add("alive");
  };

  const start = () => {
    const held = document.getElementById("reading-data");
    if (!held) return;
    const data = JSON.parse(held.textContent), photograph = document.getElementById("photograph");
    data.view.href = photograph.src;
    cogloupe.report(document.body, data);
  };

  cogloupe.startReport = start;
  document.addEventListener("DOMContentLoaded", start);
})();
