"use strict";
/* What could not be found out is asked: teeth, one known size, module or DP, wanted class. */

(() => {
  const { element } = cogloupe;
  const { byId } = bench;
  const KNOWN = ["known_tip_diameter", "known_bore", "span", "calibration", "scale_um_per_px"];
  let found = null, last = {};

  const HINTS = { span: "7.646mm/4, over 4 teeth", scale_um_per_px: "8.5", line: "length of the line, as 10mm" };

  const known = () => byId("known").value;

  /** The size that was given, as settings have it. */
  const scaleFields = () => {
    const text = byId("size").value.trim(), kind = known();
    if (kind === "calibration" || kind === "line") return { calibration: "calibration.json" };
    return { [kind]: kind === "scale_um_per_px" ? Number(text.replace(",", ".")) || "" : text };
  };

  const sizeFields = () => {
    const chosen = document.querySelector("#sizes input:checked"), text = byId("stated").value.trim().replace(",", ".");
    const angle = Number(byId("angle").value.replace(",", ".")) || null;
    if (text) return { [byId("system").value]: Number(text), pressure_angle_deg: angle ?? 20 };
    if (!chosen) return {};
    const { field, value, angle: its, rack } = chosen.dataset;
    return { [field]: Number(value), pressure_angle_deg: Number(its), rack: rack.includes(" ") ? null : rack };
  };

  /** Which of several gears is meant, as settings have it. */
  const picked = () => ({ pick: found.gears.length > 1 ? found.chosen + 1 : null });

  const fields = () => ({
    teeth: Number(byId("teeth").value) || null, ...scaleFields(), ...sizeFields(), ...picked(),
    ...(byId("wanted").value ? { wanted_class: Number(byId("wanted").value) } : {}),
  });

  const percent = share => share > 0.99 ? "over 99 %" : `${Math.round(100 * share)} %`;

  const offer = ({ sizes, sentence }) => {
    const place = byId("sizes");
    place.replaceChildren(...sizes.map((one, k) => {
      const pick = element("input", { type: "radio", name: "offered", "data-field": one.field, "data-value": one.value, "data-angle": one.pressure_angle_deg, "data-rack": one.rack });
      pick.checked = k === 0;
      return element("label", {}, pick, element("span", {}, `${one.name}, ${one.pressure_angle_deg}°, ${one.rack}`), element("span", { class: "share" }, percent(one.probability)));
    }), element("p", { class: "small" }, sentence));
  };

  const drawLine = async () => {
    const length = byId("size").value.trim();
    if (!bench.linePx() || !length) return false;
    const made = await bench.ask("POST", "/api/calibrate", { photo: found.photo, length, line_px: bench.linePx() });
    byId("size-words").textContent = made.calibration;
    return true;
  };

  const suggest = async () => {
    if (!found || (known() !== "calibration" && !byId("size").value.trim())) return;
    if (known() === "line" && !await drawLine()) return;
    const asked = { photo: found.photo, settings: { teeth: Number(byId("teeth").value) || null, ...scaleFields(), ...picked() } };
    offer(await bench.busy("Looking which standard sizes fit …", () => bench.ask("POST", "/api/candidates", asked)));
  };

  const sizeAsked = () => {
    const kind = known();
    byId("size-label").hidden = kind === "calibration";
    byId("size").placeholder = HINTS[kind] ?? "12.17mm or 0.4792in";
    byId("size-words").textContent = kind === "line" ? "Draw a line over something whose length you know." : kind === "calibration" ? bench.state.calibration || "There is none yet: make one under Calibrate." : "";
    bench.letDraw(kind === "line");
  };

  /** Put settings that are known into the form. */
  const fill = stated => {
    if (stated.teeth) byId("teeth").value = stated.teeth;
    const scale = KNOWN.find(name => stated[name] !== undefined);
    if (scale) {
      byId("known").value = scale;
      byId("size").value = scale === "calibration" ? "" : stated[scale];
    }
    for (const name of ["module_mm", "dp"]) {
      if (stated[name] === undefined) continue;
      byId("system").value = name;
      byId("stated").value = stated[name];
    }
    if (stated.pressure_angle_deg) byId("angle").value = stated.pressure_angle_deg;
    if (stated.wanted_class) byId("wanted").value = stated.wanted_class;
  };

  const words = () => {
    if (!found.gears.length) return "No gear was found: it must lie flat, stand out from the ground, and show its teeth.";
    return found.gears.length > 1 ? "The rings show the gears that were found; press the one that is meant." : "The ring shows the gear that was found.";
  };

  const counted = () => {
    const gear = found.gears[found.chosen];
    byId("teeth").value = gear?.teeth ?? "";
    byId("teeth-words").textContent = gear ? "counted on the picture; correct it if it is wrong" : "";
  };

  /** Another of the gears is meant. */
  const choose = which => {
    found.chosen = which;
    byId("which").value = which;
    bench.ring(found);
    counted();
    suggest().catch(() => {});
  };

  const offerGears = () => {
    byId("which-field").hidden = found.gears.length < 2;
    byId("which").replaceChildren(...found.gears.map((one, k) => element("option", { value: k }, `number ${k + 1} from the left, ${one.teeth} teeth`)));
    byId("which").value = found.chosen;
  };

  /** Ask about a photograph that was looked at; or read it at once where nothing is to be asked. */
  bench.askAbout = async looked => {
    found = { ...looked, chosen: looked.stated.pick && looked.stated.pick <= looked.gears.length ? looked.stated.pick - 1 : bench.likeliest(looked) };
    byId("result").hidden = true;
    byId("bench-picture").hidden = false;
    if (byId("keep").checked && Object.keys(last).length) await again();
    else ask();
  };

  const ask = () => {
    byId("ask").reset();
    counted();
    offerGears();
    byId("seen-words").textContent = words();
    byId("known").value = bench.state.calibration ? "calibration" : "known_tip_diameter";
    byId("same").hidden = Object.keys(last).length === 0;
    fill(found.stated);
    bench.showPicture(found, px => { byId("size-words").textContent = `${px.toFixed(1)} pixels long`; }, choose);
    sizeAsked();
    byId("sizes").replaceChildren(element("p", { class: "small" }, "Give the size above, and the standard sizes that fit are offered."));
    byId("teeth").focus();
    if (known() === "calibration" && !byId("stated").value) suggest().catch(() => {});
  };

  /** Read the photograph with what is known, and show it. */
  bench.read = async settings => {
    const reading = await bench.busy(`Reading ${found.photo} …`, () => bench.ask("POST", "/api/read", { photo: found.photo, settings }));
    last = settings;
    bench.showReading(reading, found.photo);
  };

  /** Read with what was said last time; which gear is meant is a matter of each picture. */
  const again = () => bench.read({ ...last, ...picked() });

  bench.startAsking = () => {
    last = bench.state.last;
    byId("known").addEventListener("change", () => { sizeAsked(); suggest().catch(() => {}); });
    byId("which").addEventListener("change", event => choose(Number(event.target.value)));
    for (const name of ["size", "teeth"]) byId(name).addEventListener("change", () => suggest().catch(() => {}));
    byId("seen-picture").addEventListener("pointerup", () => { if (bench.drawsLine) suggest().catch(() => {}); });
    byId("same").addEventListener("click", () => again().catch(() => {}));
    byId("ask").addEventListener("submit", async event => {
      event.preventDefault();
      try {
        if (known() === "line") await drawLine();
        await bench.read(fields());
      } catch { /* what went wrong is shown */ }
    });
  };
})();
