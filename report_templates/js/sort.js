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
      const read = (row) => row.cells[column].dataset.sort ?? row.cells[column].textContent.trim().replace(/(\d)[.,](?=\d{3}(?!\d))/g, "$1").replace("\u2212", "-");
      const collate = new Intl.Collator(document.documentElement.lang, { numeric: true }).compare;
      const figure = (text) => (/^-\d/.test(text) ? parseFloat(text.replace(",", ".")) : null);
      // A collator knows no sign: what is below nothing comes first.
      const compare = (a, b) => {
        const [x, y] = [figure(a), figure(b)];
        if (x !== null && y !== null) return x - y;
        return x !== null ? -1 : y !== null ? 1 : collate(a, b);
      };
      const rows = [...body.rows].map((row) => ({ row, key: read(row) }));
      rows.sort((a, b) => (downwards ? compare(b.key, a.key) : compare(a.key, b.key)));
      body.append(...rows.map((item) => item.row));
      table.dispatchEvent(new Event("sorted"));
    });
  });
}
// What is typed or chosen above a table leaves the rows that fit, the first of them at once, the rest when asked for.
const fold = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
for (const form of document.querySelectorAll("form.find")) {
  const table = document.getElementById(form.dataset.table);
  const { text, site, level, all } = form.elements;
  const told = form.querySelector("output");
  const texts = new Map([...table.tBodies[0].rows].map((row) => [row, fold(row.textContent)]));
  let most = Number(form.dataset.most);
  const apply = () => {
    const words = fold(text.value).split(/\s+/).filter(Boolean);
    let found = 0;
    let shown = 0;
    for (const row of table.tBodies[0].rows) {
      const fits =
        words.every((word) => texts.get(row).includes(word)) &&
        (!site.value || row.dataset.site === site.value) &&
        (!level.value || row.dataset.level === level.value);
      found += fits;
      row.hidden = !fits || shown >= most;
      shown += !row.hidden;
    }
    all.hidden = shown === found;
    told.value = form.dataset.told.replace("{shown}", shown).replace("{found}", found).replace("{all}", texts.size);
  };
  form.addEventListener("input", apply);
  form.addEventListener("submit", (event) => event.preventDefault());
  all.addEventListener("click", () => {
    most = Infinity;
    apply();
  });
  table.addEventListener("sorted", apply);
  form.hidden = false;
  apply();
}
