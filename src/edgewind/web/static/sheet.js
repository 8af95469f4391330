// The sheet: readings in a grid, with paste from a spreadsheet; each row is checked as it is typed.
import { ask, byId, make, pathOf, pressureText, say, speedText, unitOf } from "/static/common.js";

const FACES = [
  ["", ""],
  ["bright", "bright"],
  ["dark", "dark"],
  ["not observed", "not observed"],
];
// Titles of a pasted table, by column; those of tables.py.
const TITLES = {
  pressure: ["pressure", "p", "gauge", "gauge voltage", "voltage"],
  speed: ["speed", "angular speed", "rotation", "rotational speed", "period", "time of one turn"],
  leading_face: ["leading face"],
  lamp: ["lamp"],
  sweep: ["sweep"],
  envelope: ["envelope temperature"],
  note: ["note", "notes", "remark", "comment"],
};

export function makeSheet(here) {
  const form = here.form,
    at = pathOf(here.slug, here.experiment),
    key = "edgewind-sheet-" + at,
    body = byId("sheet").tBodies[0];
  const first = form.pressures[0];
  const columns = [
    ["pressure", first === "gauge" ? `gauge, ${form.units.gauge}` : `pressure, ${form.units.pressure}`],
    ["speed", `speed, ${form.units.speed}`],
    ["leading_face", "leading face"],
    ["lamp", "lamp"],
    ["sweep", "sweep"],
    ...("envelope temperature" in form.units ? [["envelope", `envelope, ${form.units["envelope temperature"]}`]] : []),
    ["note", "note"],
  ];
  byId("sheet").tHead.rows[0].replaceChildren(
    make("th", { scope: "col", class: "number" }, "row"),
    ...columns.map(([, title]) => make("th", { scope: "col" }, title)),
    make("th", { scope: "col" }, "check"),
  );

  const cellsOf = (row) => [...row.querySelectorAll("input, select")];
  const valuesOf = (row) =>
    Object.fromEntries(
      cellsOf(row)
        .map((cell) => [cell.name, cell.value.trim()])
        .filter(([, value]) => value),
    );
  const isEmpty = (row) => cellsOf(row).every((cell) => !cell.value.trim() || cell.name === "lamp");
  function renumber() {
    [...body.rows].forEach((row, index) => {
      row.cells[0].textContent = String(index + 1);
      for (const cell of cellsOf(row))
        cell.setAttribute("aria-label", `${columns.find(([name]) => name === cell.name)[1]}, row ${index + 1}`);
    });
  }
  function addRow(values = {}) {
    const cell = (name) => {
      if (name === "leading_face")
        return make("select", { name }, ...FACES.map(([value, words]) => make("option", { value }, words)));
      return make("input", {
        name,
        autocomplete: "off",
        inputmode: name === "pressure" || name === "speed" ? "decimal" : "text",
      });
    };
    const row = make(
      "tr",
      {},
      make("th", { scope: "row", class: "number" }),
      ...columns.map(([name, title]) => make("td", { "data-title": title }, cell(name))),
      make("td", { class: "verdictcell", "data-title": "check" }),
    );
    row.dataset.key = crypto.randomUUID?.() ?? String(Math.random()).slice(2);
    row.as = {};
    set(row, values);
    body.append(row);
    renumber();
    return row;
  }
  function set(row, values) {
    for (const one of ["pressure_as", "speed_as"]) if (values[one]) row.as[one] = values[one];
    for (const cell of cellsOf(row)) if (values[cell.name] !== undefined) cell.value = values[cell.name];
  }
  function keep() {
    const rows = [...body.rows].filter((row) => !isEmpty(row)).map((row) => ({ ...valuesOf(row), ...row.as }));
    try {
      if (rows.length) localStorage.setItem(key, JSON.stringify(rows));
      else localStorage.removeItem(key);
    } catch {
      /* nothing is kept then */
    }
    byId("sheet-store").disabled = !rows.length;
    if (!body.rows.length || !isEmpty(body.rows[body.rows.length - 1])) addRow();
  }
  const textOf = (row) => ({ pressure_as: first, speed_as: "speed", ...row.as, ...valuesOf(row) });
  async function check(row) {
    const place = row.lastElementChild;
    clear(row);
    if (isEmpty(row)) {
      place.textContent = "";
      return;
    }
    const asked = JSON.stringify(textOf(row));
    row.dataset.asked = asked;
    try {
      const told = await ask("/api/check/" + at, textOf(row));
      if (row.dataset.asked !== asked) return;
      const { pressure_pa: pressure, speed_rad_s: speed } = told.values;
      const seen = [
        pressure === null ? "no pressure" : `${pressureText(pressure, 0)} ${unitOf("pressure")}`,
        speed === null ? "" : `${speedText(speed, 0)} ${unitOf("speed")}`,
      ]
        .filter(Boolean)
        .join(", ");
      row.dataset.state = told.doubt ? "doubt" : "good";
      place.textContent = told.doubt ? "? " + told.doubt : "✓ " + seen;
      if (told.doubt) mark(row, told.field);
    } catch (error) {
      if (row.dataset.asked !== asked) return;
      row.dataset.state = "bad";
      place.textContent = "▲ " + error.message + ".";
      mark(row, error.field);
    }
  }
  function clear(row) {
    delete row.dataset.state;
    for (const cell of cellsOf(row)) cell.removeAttribute("aria-invalid");
  }
  function mark(row, field) {
    row.querySelector(`[name="${field}"]`)?.setAttribute("aria-invalid", "true");
  }

  // Pasted cells go to the right and downwards from the one that has the cursor; a row of titles names their columns.
  body.addEventListener("paste", (event) => {
    const text = event.clipboardData.getData("text/plain");
    if (!/[\t\n\r]/.test(text.trim())) return;
    event.preventDefault();
    let lines = text
      .replace(/\r\n?/g, "\n")
      .replace(/\n+$/, "")
      .split("\n")
      .map((line) => line.split("\t"));
    const found = lines[0].map((title) => {
      const match = /^\s*(.*?)\s*(?:[[(]\s*(.*?)\s*[\])])?\s*$/.exec(title);
      return {
        name: Object.keys(TITLES).find((one) => TITLES[one].includes(match[1].toLowerCase())),
        title: match[1].toLowerCase(),
        unit: match[2] ?? "",
      };
    });
    const titled = found.some((one) => one.name === "pressure") && found.some((one) => one.name === "speed");
    const start = event.target.closest("tr").rowIndex - 1,
      from = columns.findIndex(([name]) => name === event.target.name);
    if (titled) lines = lines.slice(1);
    lines.forEach((line, down) => {
      const row = body.rows[start + down] ?? addRow(),
        values = {};
      line.forEach((cell, right) => {
        const one = titled ? found[right] : { name: columns[from + right]?.[0], title: "", unit: "" };
        if (!one?.name) return;
        const plain = cell.trim();
        values[one.name] = one.unit && /^[+-]?[\d.,]+(e[+-]?\d+)?$/i.test(plain) ? `${plain} ${one.unit}` : plain;
        if (titled && one.name === "pressure")
          values.pressure_as = /gauge|voltage/.test(one.title) ? "gauge" : "pressure";
        if (titled && one.name === "speed") values.speed_as = /period|turn/.test(one.title) ? "period" : "speed";
      });
      set(row, values);
      check(row);
    });
    keep();
    say(`${lines.length} rows are pasted.`);
  });
  body.addEventListener("input", keep);
  body.addEventListener("change", (event) => check(event.target.closest("tr")));
  body.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !(event.target instanceof HTMLInputElement)) return;
    event.preventDefault();
    const row = event.target.closest("tr"),
      next = row.nextElementSibling ?? addRow();
    check(row);
    next.querySelector(`[name="${event.target.name}"]`).focus();
  });
  byId("sheet-store").addEventListener("click", async () => {
    const button = byId("sheet-store"),
      sure = button.dataset.sure === "yes";
    button.disabled = true;
    let stored = 0,
      doubts = 0,
      bad = 0;
    for (const row of [...body.rows]) {
      if (isEmpty(row)) continue;
      try {
        await ask("/api/readings/" + at, { ...textOf(row), key: row.dataset.key, sure });
        row.remove();
        stored += 1;
      } catch (error) {
        if (error.doubt) doubts += 1;
        else bad += 1;
        row.dataset.state = error.doubt ? "doubt" : "bad";
        row.lastElementChild.textContent = (error.doubt ? "? " : "▲ ") + error.message + ".";
        mark(row, error.field);
        if (error.status === 0) break;
      }
    }
    renumber();
    keep();
    button.dataset.sure = doubts ? "yes" : "";
    button.textContent = doubts ? "Store the questioned rows as well" : "Store every row";
    byId("sheet-state").textContent =
      [`${stored} stored`, doubts ? `${doubts} questioned` : "", bad ? `${bad} refused; they stay here` : ""]
        .filter(Boolean)
        .join(", ") + ".";
  });
  let kept = [];
  try {
    kept = JSON.parse(localStorage.getItem(key) ?? "[]");
  } catch {
    kept = [];
  }
  for (const values of kept) check(addRow(values));
  keep();
  if (kept.length) byId("sheet-place").open = true; // half-typed rows are seen, not only kept
  return {
    add(rows) {
      for (const row of [...body.rows]) if (isEmpty(row)) row.remove();
      for (const values of rows) check(addRow(values));
      keep();
      byId("sheet-place").open = true;
    },
  };
}
