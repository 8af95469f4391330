// One experiment of a book, or a folder: its readings, kept fresh.
import { Chart } from "/static/chart.js";
import { ask, byId, dataOf, follow, onUnits, pathOf, trouble } from "/static/common.js";
import { acrossOf, chosenAxis, onAxis, seriesOf, tableRow } from "/static/readings.js";
import { asideButton } from "/static/aside.js";

const { slug, experiment, kind, bench: described } = dataOf("data");
let bench = described,
  rows = new Map();
const chart = new Chart(byId("curve")),
  ways = kind === "book" ? asideButton(slug, experiment) : null;

function show() {
  const list = [...rows.values()].sort((a, b) => a.n - b.n),
    axis = chosenAxis("axis"),
    across = acrossOf(axis, bench);
  chart.show({
    label:
      `Speed against ` +
      `${axis === "kn" ? "Knudsen number" : axis === "path" ? "mean free path" : "pressure"} of ${list.length} ` +
      `readings; the table below holds them all`,
    x: across,
    y: { title: `speed (${document.querySelector("[data-unit=speed]").textContent})` },
    series: seriesOf(list, bench, axis),
    empty: "No reading yet.",
  });
  byId("readings").tBodies[0].replaceChildren(...list.map((row) => tableRow(row, ways)));
}
onAxis("axis", show);
onUnits(show);
if (kind === "book") {
  follow(slug, experiment, {
    bench(found) {
      bench = found;
    },
    rows(all, { changed, whole }) {
      rows = all;
      if (!whole && changed.length === 1 && byId("readings").tBodies[0].rows.length === all.size) {
        // One reading changed: the rest of the table, and what is focused in it, stays.
        const old = byId("readings").tBodies[0].querySelector(`tr[data-n="${changed[0].n}"]`),
          focused = old?.contains(document.activeElement);
        const made = tableRow(changed[0], ways);
        old?.replaceWith(made);
        if (focused) made.querySelector("button")?.focus();
        drawOnly();
      } else show();
    },
  });
} else {
  ask("/api/readings/" + pathOf(slug, experiment))
    .then((told) => {
      bench = told.bench;
      rows = new Map(told.rows.map((row) => [row.n, row]));
      show();
    })
    .catch((error) => trouble(error.message));
}
function drawOnly() {
  const list = [...rows.values()].sort((a, b) => a.n - b.n),
    axis = chosenAxis("axis");
  chart.show({ ...chart.spec, x: acrossOf(axis, bench), series: seriesOf(list, bench, axis) });
}
