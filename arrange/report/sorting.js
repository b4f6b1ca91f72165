// Makes the headers of the tables in the script's parent into buttons that sort them.
{
  const script = document.currentScript;
  const tables = script ? script.parentElement.querySelectorAll("table.sortable") : [];
  for (const table of tables) {
    const heads = [...table.tHead.rows[0].cells];
    heads.forEach((head, column) => {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      const compare = (one, other) => {
        const [a, b] = [one, other].map((row) => row.cells[column]);
        if (a.dataset.key === undefined) return a.textContent.localeCompare(b.textContent, undefined, { numeric: true });
        return Number(a.dataset.key || -Infinity) - Number(b.dataset.key || -Infinity) || 0;
      };
      button.addEventListener("click", () => {
        const falls = head.getAttribute("aria-sort") === "ascending";
        for (const each of heads) each.removeAttribute("aria-sort");
        head.setAttribute("aria-sort", falls ? "descending" : "ascending");
        const rows = [...table.tBodies[0].rows].sort(compare);
        table.tBodies[0].append(...(falls ? rows.reverse() : rows));
      });
    });
  }
}
