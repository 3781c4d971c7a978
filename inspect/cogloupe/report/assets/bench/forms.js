"use strict";
/* The other parts of the bench: readings, calibrating, comparing, the machine. */

(() => {
  const { element } = cogloupe;
  const { byId } = bench;

  const link = (address, text) => element("a", { href: address }, text);

  const row = one => {
    const place = `/readings/${encodeURIComponent(one.folder)}`, asked = encodeURIComponent(one.folder);
    const picked = element("input", { type: "checkbox", "aria-label": `compare ${one.photo}`, "data-folder": one.folder });
    return element("tr", {}, element("td", {}, picked), element("td", { class: "say wide-cell" }, link(`${place}/report.html`, one.photo)),
      element("td", { class: "say" }, one.gear), element("td", { class: "say" }, one.verdict),
      element("td", { class: "say" }, link(`/causes?reading=${asked}`, "causes"), " ", link(`/export/teeth.xlsx?reading=${asked}`, "teeth.xlsx"), " ", link(`/export/outline.dxf?reading=${asked}`, "outline.dxf")));
  };

  /** Readings of the folder, in the list and in what can be compared or paired. */
  bench.refresh = async () => {
    const { readings } = await bench.busy("Listing the readings …", () => bench.ask("GET", "/api/readings"));
    byId("readings").tBodies[0].replaceChildren(...readings.map(row));
    byId("no-readings").hidden = readings.length > 0;
    for (const name of ["before", "after", "pair-first", "pair-second"]) byId(name).replaceChildren(...readings.map(one => element("option", { value: one.folder }, `${one.photo}: ${one.gear}`)));
    if (readings.length > 1) for (const name of ["before", "pair-first"]) byId(name).selectedIndex = 1;
  };

  const pickedToCompare = () => {
    const chosen = [...document.querySelectorAll("#readings input:checked")].map(one => one.dataset.folder);
    if (chosen.length !== 2) return;
    byId("after").value = chosen[0]; // the list is newest first
    byId("before").value = chosen[1];
    location.hash = "compare";
  };

  const compare = async event => {
    event.preventDefault();
    const asked = { readings: [byId("before").value, byId("after").value], changed: byId("changed").value, same_gear: byId("same-gear").checked };
    const { address } = await bench.busy("Comparing …", () => bench.ask("POST", "/api/compare", asked));
    location.assign(address);
  };

  const calibrate = async event => {
    event.preventDefault();
    const file = byId("calibrate-file").files[0];
    if (!file) return bench.complain("Choose the picture first.");
    const fields = { [byId("calibrate-kind").value]: byId("calibrate-length").value, size: byId("calibrate-size").value, uncertainty: byId("calibrate-u").value };
    const told = await bench.busy("Calibrating …", async () => {
      const looked = await bench.upload(file);
      return bench.ask("POST", "/api/calibrate", { photo: looked.photo, fields });
    });
    bench.state.calibration = told.calibration;
    byId("calibration-words").textContent = told.calibration;
    byId("calibrate-said").replaceChildren(...told.lines.map(text => element("p", {}, text)));
  };

  const counts = text => text.includes(",") ? text.split(",").map(Number) : /^\d+$/.test(text) ? Number(text) : text;

  const machine = async event => {
    event.preventDefault();
    const given = [...new FormData(event.target)].map(([name, text]) => [name, name === "name" ? text.trim() : counts(text.trim())]);
    const { saved } = await bench.ask("POST", "/api/machine", Object.fromEntries(given));
    bench.say(`Saved in ${saved}.`);
  };

  bench.startForms = () => {
    const answered = act => event => act(event).catch(() => {});
    byId("readings").addEventListener("change", pickedToCompare);
    byId("compare-form").addEventListener("submit", answered(compare));
    byId("calibrate-form").addEventListener("submit", answered(calibrate));
    byId("machine-form").addEventListener("submit", answered(machine));
    for (const field of byId("machine-form").querySelectorAll("input")) field.value = bench.state.machine[field.name] ?? "";
    byId("calibration-words").textContent = bench.state.calibration || "none";
  };
})();
