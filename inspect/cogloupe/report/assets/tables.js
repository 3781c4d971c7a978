"use strict";
/* Tables that sort by a press on a heading. */

(() => {
  const valueOf = (row, column) => {
    const { v, v1 } = row.cells[column].dataset;
    return cogloupe.state.about === "tooth 1" && v1 !== undefined ? v1 : v ?? row.cells[column].textContent;
  };

  const compare = (left, right) => {
    if (left === "" || right === "") return (left === "") - (right === "");
    const byNumber = left - right;
    return Number.isNaN(byNumber) ? String(left).localeCompare(right) : byNumber;
  };

  const sort = (table, heads, column) => {
    const down = heads[column].getAttribute("aria-sort") === "ascending";
    heads.forEach(head => head.removeAttribute("aria-sort"));
    heads[column].setAttribute("aria-sort", down ? "descending" : "ascending");
    const rows = [...table.tBodies[0].rows].map(row => [valueOf(row, column), row]);
    rows.sort(([a], [b]) => a === "" || b === "" ? compare(a, b) : (down ? -1 : 1) * compare(a, b));
    table.tBodies[0].append(...rows.map(([, row]) => row));
  };

  cogloupe.sortable = root => {
    for (const table of root.querySelectorAll("table.sortable")) {
      const heads = [...table.tHead.rows[table.tHead.rows.length - 1].cells];
      heads.forEach((head, column) => head.querySelector("button")?.addEventListener("click", () => sort(table, heads, column)));
    }
  };
})();
