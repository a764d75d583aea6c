"use strict";
// A table wider than the window scrolls by itself: then the keyboard must reach it.
const markScrollers = () => {
  for (const box of document.querySelectorAll(".wide")) {
    if (box.scrollWidth > box.clientWidth) box.tabIndex = 0;
    else box.removeAttribute("tabindex");
  }
};
markScrollers();
addEventListener("resize", markScrollers);
// A click or a key press on a heading sorts the rows by that column; a second one turns the order round.
for (const table of document.querySelectorAll("table.sortable")) {
  const body = table.tBodies[0];
  const headings = [...table.tHead.rows[0].cells];
  headings.forEach((heading, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...heading.childNodes);
    heading.append(button);
    button.addEventListener("click", () => {
      const downwards = heading.getAttribute("aria-sort") === "ascending";
      headings.forEach((other) => other.removeAttribute("aria-sort"));
      heading.setAttribute("aria-sort", downwards ? "descending" : "ascending");
      const read = (row) => row.cells[column].dataset.sort ?? row.cells[column].textContent.trim().replace(/(\d),(?=\d{3})/g, "$1");
      const compare = new Intl.Collator(document.documentElement.lang, { numeric: true }).compare;
      const rows = [...body.rows].map((row) => ({ row, key: read(row) }));
      rows.sort((a, b) => (downwards ? compare(b.key, a.key) : compare(a.key, b.key)));
      body.append(...rows.map((item) => item.row));
    });
  });
}
