"use strict";
// Headings sort the golfers' table: figures from large to small first, words by the alphabet, what isn't known last.
const table = document.getElementById("golfers");
const heads = [...table.tHead.rows[0].cells];
heads.forEach((head, place) => {
  head.firstElementChild.addEventListener("click", () => {
    const body = table.tBodies[0];
    const isNumber = "number" in body.rows[0].cells[place].dataset;
    const was = head.getAttribute("aria-sort");
    const falls = was === null ? isNumber : was === "ascending";
    const way = falls ? -1 : 1;
    const known = (row) => {
      const { number, sort } = row.cells[place].dataset;
      return isNumber ? (number === "" ? null : Number(number)) : sort;
    };
    const compared = (one, other) => {
      const [a, b] = [known(one), known(other)];
      if (a === null || b === null) return (a === null) - (b === null);
      return a < b ? -way : a > b ? way : 0;
    };
    body.append(...[...body.rows].sort(compared));
    heads.forEach((each) => each.removeAttribute("aria-sort"));
    head.setAttribute("aria-sort", falls ? "descending" : "ascending");
  });
});
