// One experiment of a book, or a folder: its readings, kept up to date.
import { Chart } from "/static/chart.js";
import { ask, byId, dataOf, follow, onUnits, pathOf, trouble } from "/static/common.js";
import { acrossOf, chosenAxis, fillTable, notLoaded, onAxis, seriesOf } from "/static/readings.js";
import { asideButton } from "/static/aside.js";

const { slug, experiment, kind, bench: described, readings } = dataOf("data");
let bench = described,
  rows = null; // until they have arrived
const chart = new Chart(byId("curve")),
  ways = kind === "book" ? asideButton(slug, experiment) : null;

function show() {
  if (!rows || (readings && !rows.size)) return;
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
  fillTable(byId("readings").tBodies[0], list, ways);
}
onAxis("axis", show);
onUnits(show);
if (kind === "book") {
  follow(slug, experiment, {
    bench(found) {
      bench = found;
    },
    rows(all) {
      rows = all;
      show();
    },
    missing: notLoaded,
  });
} else {
  ask("/api/readings/" + pathOf(slug, experiment))
    .then((told) => {
      bench = told.bench;
      rows = new Map(told.rows.map((row) => [row.n, row]));
      show();
    })
    .catch((error) => {
      notLoaded();
      trouble(error.message);
    });
}
