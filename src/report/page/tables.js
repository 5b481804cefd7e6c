// Tables: sorted by a click on a heading, saved as CSV.

function cellText(row, k) {
  return row.cells[k].textContent.trim();
}

/** The first number of a text; texts without one come last. */
function cellNumber(text) {
  const v = parseFloat(text.replace("–", " "));
  return Number.isNaN(v) ? Infinity : v;
}

function sortable(table) {
  const heads = [...table.tHead.rows[0].cells], body = table.tBodies[0];
  heads.forEach((head, k) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    head.textContent = "";
    head.append(button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending", sign = down ? -1 : 1;
      const rows = [...body.rows], numbers = rows.some((r) => Number.isFinite(cellNumber(cellText(r, k))));
      const words = rows.some((r) => /[a-z]/i.test(cellText(r, k)));
      const key = new Map(rows.map((r) => [r, numbers && !words ? cellNumber(cellText(r, k)) : cellText(r, k)]));
      rows.sort((a, b) => {
        const [x, y] = [key.get(a), key.get(b)];
        return sign * (typeof x === "number" ? (x === y ? 0 : x < y ? -1 : 1) : x.localeCompare(y, "en", { numeric: true }));
      });
      for (const other of heads) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      body.append(...rows);
    });
  });
}

/** RFC 4180: commas, quotes doubled, CRLF; what a spreadsheet would run as a formula is a text. */
function csvOf(table) {
  const cell = (typed) => {
    const text = /^[=+\-@]/.test(typed) && !Number.isFinite(Number(typed)) ? `'${typed}` : typed;
    return /[",'\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
  };
  const rows = [table.tHead.rows[0], ...table.tBodies[0].rows];
  const lines = rows.map((r) => [...r.cells].map((c) => cell(c.textContent.trim())).join(","));
  // a table that is cut short says so in the file, too; every line has as many fields
  if (table.dataset.more) lines.push(cell(table.dataset.more) + ",".repeat(rows[0].cells.length - 1));
  return lines.join("\r\n") + "\r\n";
}

function saver(table) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "csv";
  button.textContent = "Save as CSV";
  button.addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([csvOf(table)], { type: "text/csv;charset=utf-8" }));
    link.download = `${facts.stem}.${table.dataset.csv}.csv`;
    link.click();
    // the download has its own hold on the data once it has begun
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  });
  table.parentElement.after(button);
}

function dressTables() {
  for (const table of document.querySelectorAll("table.data")) {
    sortable(table);
    saver(table);
  }
}
