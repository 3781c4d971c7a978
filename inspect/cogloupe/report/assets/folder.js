"use strict";
/* The page of a folder: its readings to sort and filter, their trend, and news while it is watched. */

(() => {
  const { element, draw } = cogloupe;
  const LOOK_AGAIN_MS = 1500;
  const view = { entries: [], others: [], by: "when", down: true, find: "", gear: "", show: "" };
  const rows = new WeakMap(); // making a row takes longer than moving it
  let stamp = "";

  const byId = name => document.getElementById(name);
  const size = entry => name => entry.figures?.[name]?.[0] ?? null;

  const keyOf = (entry, by) => {
    if (by === "reached") return Number(entry.reached?.split(" ").pop()) || null;
    return by in (entry.figures ?? {}) || ["f_p", "F_p", "F_r"].includes(by) ? size(entry)(by) : entry[by] ?? null;
  };

  const inOrder = (a, b) => {
    const [x, y] = [keyOf(a, view.by), keyOf(b, view.by)];
    if (x === null || y === null) return (x === null) - (y === null);
    return (view.down ? -1 : 1) * (typeof x === "number" ? x - y : String(x).localeCompare(String(y)));
  };

  const words = entry => `${entry.photo} ${entry.gear ?? ""} ${entry.verdict ?? ""} ${entry.reason ?? ""}`.toLowerCase();

  const wanted = entry => (!view.find || words(entry).includes(view.find)) && (!view.gear || entry.gear === view.gear)
    && (!view.show || entry.status === view.show || entry.meets === view.show);

  const figure = (entry, name) => {
    const [value, limit] = entry.figures?.[name] ?? [null, null];
    if (value === null) return entry.status === "read" ? "–" : "";
    return cogloupe.figure(value, limit, "µm", { bare: true }).replace("not resolved (U = ", "n. r. (").replace(/ /g, "\u00a0");
  };

  const clock = new Intl.DateTimeFormat([], { dateStyle: "short", timeStyle: "short" });

  const time = text => {
    const when = new Date(text);
    return Number.isNaN(when.getTime()) ? text : clock.format(when);
  };

  const MARKS = { yes: "✓ meets its class", no: "✗ misses its class", cannot_tell: "? class not decided" };

  const verdict = entry => {
    const cell = element("td", { class: "verdict-cell" }, entry.status === "read" ? entry.verdict ?? "" : `Not read: ${entry.reason ?? ""}`);
    if (entry.meets) cell.append(" ", element("span", { class: `mark ${entry.meets}` }, MARKS[entry.meets] ?? ""));
    return cell;
  };

  const row = entry => {
    const place = encodeURIComponent(entry.folder ?? "").replace(/%2F/g, "/"), read = entry.status === "read";
    const picture = read ? [element("img", { src: `${place}/thumbnail.jpg`, alt: "", loading: "lazy", width: 72, height: 72 })] : [];
    const name = read ? element("a", { href: `${place}/report.html` }, entry.photo) : entry.photo;
    return element("tr", { class: read ? null : "unread", "data-folder": entry.folder ?? null },
      element("td", {}, ...picture), element("td", {}, name), element("td", {}, time(entry.when)), element("td", {}, entry.gear ?? ""), verdict(entry),
      element("td", { "data-head": "class" }, (entry.reached ?? "").replace(" to ", "–")),
      ...[["f_p", "largest pitch"], ["F_p", "whole turn"], ["F_r", "runout"]].map(([by, head]) => element("td", { "data-head": head }, figure(entry, by))));
  };

  const rowOf = entry => {
    if (!rows.has(entry)) rows.set(entry, row(entry));
    return rows.get(entry);
  };

  const trend = shown => {
    const of = byId("trend-of").value, points = shown.filter(entry => size(entry)(of) !== null)
      .sort((a, b) => a.when.localeCompare(b.when)).slice(-200), place = byId("trend-place");
    place.hidden = points.length < 2;
    if (place.hidden) return;
    const width = byId("trend").clientWidth || 900, high = Math.max(...points.map(e => e.figures[of][0] + (e.figures[of][1] ?? 0)));
    const axes = cogloupe.axes({ left: 52, top: 30, width: width - 60, height: 150, xs: [0.3, points.length + 0.7], ys: [0, high * 1.05 || 1], title: `${byId("trend-of").selectedOptions[0].text} / µm` });
    points.forEach((entry, k) => {
      const [value, limit] = entry.figures[of], at = axes.x(k + 1), inside = limit && value < limit;
      if (limit) axes.frame.append(draw("path", { class: "limit", d: `M${at},${axes.y(Math.max(value - limit, 0))}V${axes.y(value + limit)}` }));
      const point = draw("circle", { cx: at, cy: axes.y(value), r: 4, class: inside ? "inside" : null }, draw("title", {}, `${entry.photo}: ${cogloupe.figure(value, limit, "µm")}`));
      point.addEventListener("click", () => goTo(entry.folder));
      axes.frame.append(point);
    });
    const sheet = cogloupe.sheet(width, 206, "trend");
    sheet.append(axes.frame, draw("text", { x: 52, y: 200, class: "end" }, time(points[0].when)),
      draw("text", { x: width - 8, y: 200, class: "end", "text-anchor": "end" }, time(points[points.length - 1].when)));
    byId("trend").replaceChildren(sheet);
  };

  const goTo = folder => {
    for (const one of document.querySelectorAll(".readings tr.at")) one.classList.remove("at");
    const found = [...document.querySelectorAll(".readings tbody tr")].find(one => one.dataset.folder === folder);
    found?.classList.add("at");
    found?.scrollIntoView({ block: "center" });
  };

  const gears = () => {
    const select = byId("gear"), names = [...new Set(view.entries.map(entry => entry.gear).filter(Boolean))].sort();
    if (names.length + 1 === select.options.length) return;
    select.replaceChildren(element("option", { value: "" }, "all"), ...names.map(name => element("option", { value: name }, name)));
    select.value = view.gear;
  };

  const heads = () => {
    for (const button of document.querySelectorAll(".readings th button")) {
      const head = button.closest("th");
      if (button.dataset.by === view.by) head.setAttribute("aria-sort", view.down ? "descending" : "ascending");
      else head.removeAttribute("aria-sort");
    }
  };

  const show = () => {
    const listed = view.entries, shown = listed.filter(wanted).sort(inOrder);
    document.querySelector(".readings tbody").replaceChildren(...shown.map(rowOf));
    byId("count").textContent = shown.length === listed.length ? `${listed.length} pictures` : `${shown.length} of ${listed.length} pictures`;
    heads();
    trend(shown);
  };

  const others = () => {
    byId("others").hidden = !view.others.length;
    byId("others").querySelector("ul").replaceChildren(...view.others.map(entry => element("li", {}, element("b", {}, entry.photo), ` – ${entry.reason}`)));
  };

  const listen = () => {
    byId("filters").addEventListener("submit", event => event.preventDefault());
    byId("find").addEventListener("input", event => { view.find = event.target.value.toLowerCase(); show(); });
    for (const name of ["gear", "show"]) byId(name).addEventListener("change", event => { view[name] = event.target.value; show(); });
    byId("trend-of").addEventListener("change", show);
    for (const button of document.querySelectorAll(".readings th button")) {
      button.addEventListener("click", () => {
        const { by } = button.dataset;
        view.down = view.by === by ? !view.down : !["photo", "gear", "verdict"].includes(by);
        view.by = by;
        show();
      });
    }
  };

  const lookAgain = () => {
    const old = document.querySelector("script[data-again]"), again = element("script", { src: `readings.js?${Date.now()}`, "data-again": "" });
    again.addEventListener("error", () => setTimeout(lookAgain, LOOK_AGAIN_MS));
    old?.remove();
    document.head.append(again);
  };

  /** Show the entries of a folder; readings.js calls this, again and again while it is watched. */
  cogloupe.folder = data => {
    if (!stamp) listen();
    if (data.stamp !== stamp) {
      stamp = data.stamp;
      Object.assign(view, { entries: data.entries, others: data.others });
      byId("state").textContent = data.now ? `Reading ${data.now} …` : data.watching ? "Watching: pictures dropped into the folder appear here." : "";
      gears();
      show();
      others();
    }
    if (data.watching) setTimeout(lookAgain, LOOK_AGAIN_MS);
  };
})();
