"use strict";
/* The bench as a whole: its parts, dropping a photograph, showing a reading. */

(() => {
  const { element } = cogloupe;
  const { byId } = bench;

  const leaves = () => [...document.querySelectorAll(".leaf")];

  const turnTo = () => {
    const name = leaves().some(leaf => `#${leaf.id}` === location.hash) ? location.hash.slice(1) : "read";
    for (const leaf of leaves()) leaf.hidden = leaf.id !== name;
    for (const link of document.querySelectorAll("nav a")) {
      if (link.hash === `#${name}`) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
    if (["list", "compare", "pair"].includes(name)) bench.refresh().catch(() => {});
  };

  const look = async file => {
    location.hash = "read";
    const looked = await bench.busy(`Looking at ${file.name} …`, () => bench.upload(file));
    await bench.askAbout(looked);
  };

  /** Take pictures in: all, one after the other, where they are of the same gear, else the first. */
  const drop = async files => {
    const [first, ...more] = files;
    if (!first) return;
    await look(first);
    if (!more.length) return;
    if (!byId("keep").checked) return bench.complain(`Only ${first.name} was taken; the other ${more.length} can be dropped in once it is read and the box for pictures of the same gear is ticked.`);
    for (const file of more) await look(file);
  };

  const dropping = () => {
    const place = byId("drop");
    for (const name of ["dragenter", "dragover"]) {
      document.addEventListener(name, event => { event.preventDefault(); place.classList.add("over"); });
    }
    document.addEventListener("dragleave", () => place.classList.remove("over"));
    document.addEventListener("drop", event => {
      event.preventDefault();
      place.classList.remove("over");
      drop(event.dataTransfer.files).catch(() => {});
    });
    byId("file").addEventListener("change", event => {
      drop([...event.target.files]).catch(() => {});
      event.target.value = "";
    });
  };

  const links = (reading, photo) => {
    const place = `/readings/${encodeURIComponent(reading.folder)}`, asked = encodeURIComponent(reading.folder);
    return [[`${place}/report.html`, "the whole report"], [`${place}/chart.png`, "picture for a forum"], [`/export/teeth.xlsx?reading=${asked}`, "spreadsheet"],
      [`/export/outline.dxf?reading=${asked}`, "outlines for CAD (DXF)"], [`${place}/outline.svg`, "outlines (SVG)"], [`/causes?reading=${asked}`, "what on the machine may have done it"]]
      .map(([href, text]) => element("a", { href }, text));
  };

  const listed = (name, texts) => byId(name).replaceChildren(...(texts.length ? [element("ul", {}, ...texts.map(text => element("li", {}, text)))] : []));

  /** Show a reading as soon as its figures are there. */
  bench.showReading = (reading, photo) => {
    byId("result").hidden = false;
    byId("result-block").replaceChildren(...reading.title.map(([term, text]) => element("div", {}, element("dt", {}, term), element("dd", {}, text))));
    byId("result-verdict").replaceChildren(...reading.verdict.map((text, k) => element("p", { class: k ? null : "first" }, text)));
    byId("result-figures").tBodies[0].replaceChildren(...reading.figures.map(([name, text]) => element("tr", {}, element("th", { scope: "row" }, name), element("td", {}, text))));
    byId("result-links").replaceChildren(...links(reading, photo));
    listed("result-cautions", reading.cautions);
    listed("result-notes", reading.warnings);
    cogloupe.report(byId("result"), reading.data);
    byId("result-head").focus({ preventScroll: true });
    byId("result-head").scrollIntoView();
  };

  const start = async () => {
    if (!document.getElementById("drop")) return;
    bench.state = await bench.ask("GET", "/api/state");
    byId("folder").textContent = bench.state.folder;
    dropping();
    bench.startAsking();
    bench.startCamera();
    bench.startForms();
    addEventListener("hashchange", turnTo);
    turnTo();
    document.body.dataset.ready = "";
  };

  document.addEventListener("DOMContentLoaded", () => start().catch(() => {}));
})();
