// Readings as points of a chart and as rows of a table, for every page.
import { inChosenUnits, inUnit, make, number, pressureText, speedText, unitOf } from "/static/common.js";

export const TONES = ["blue", "rust", "plum", "moss", "rose", "slate"];

export function acrossOf(kind, bench) {
  if (kind === "path")
    return {
      title: "mean free path (mm), thinner gas to the right",
      of: (pa) => (1e3 * bench.path_at_one_pa_m) / pa,
      flip: false,
    };
  if (kind === "kn")
    return {
      title: "Knudsen number, thinner gas to the right",
      of: (pa) => bench.path_at_one_pa_m / pa / bench.width_m,
      flip: false,
    };
  return { title: `pressure (${unitOf("pressure")})`, of: (pa) => inUnit(pa, "pressure"), flip: false };
}
export function chosenAxis(name) {
  return document.querySelector(`input[name=${name}]:checked`)?.value ?? "pressure";
}
export function onAxis(name, listener) {
  for (const input of document.querySelectorAll(`input[name=${name}]`)) input.addEventListener("change", listener);
}

export function about(row) {
  const lines = [
    `no. ${row.n}: ${pressureText(row.pressure_pa, row.pressure_u_pa)} ${unitOf("pressure")}, ` +
      `${speedText(row.speed_rad_s, row.speed_u_rad_s)} ${unitOf("speed")}`,
  ];
  if (row.kn) lines.push(`Kn ${number(row.kn, 2)}, mean free path ${number(1e3 * row.path_m, 3)} mm`);
  if (row.why_not) lines.push("set aside: " + row.why_not);
  return lines.join("\n");
}
// A reading that is not used is drawn within this factor of those used, as in the report: a mistyped value would else
// stretch the axes.
const FAR = 10;
function drawn(rows) {
  const used = rows.filter((row) => row.used && row.pressure_pa && row.speed_rad_s !== null);
  if (used.length < 2) return rows;
  const pressures = used.map((row) => row.pressure_pa),
    fastest = Math.max(...used.map((row) => Math.abs(row.speed_rad_s))),
    [low, high] = [Math.min(...pressures) / FAR, Math.max(...pressures) * FAR];
  return rows.filter(
    (row) =>
      row.used || (row.pressure_pa >= low && row.pressure_pa <= high && Math.abs(row.speed_rad_s) <= FAR * fastest),
  );
}
// As in the report a triangle points up where the pressure rose and down where it fell; a further sweep of the same
// sense, one of no sense, and the rotors of a comparison have the other shapes.
const PLAIN = ["round", "square", "rhomb", "cross"];
function shapesOf(names, rows, { prefix = "", offset = 0 }) {
  const taken = new Set();
  return names.map((name, index) => {
    const pressures = rows.filter((row) => (row.sweep || "") === name && row.pressure_pa).map((row) => row.pressure_pa),
      steps = pressures.slice(1).map((pressure, k) => Math.sign(pressure - pressures[k])),
      sense = steps.reduce((sum, step) => sum + step, 0),
      shape = prefix || !sense ? "" : sense > 0 ? "up" : "down";
    if (!shape || taken.has(shape)) return PLAIN[(index + offset) % PLAIN.length];
    taken.add(shape);
    return shape;
  });
}
// Series by sweep; excluded readings are hollow and pale.
export function seriesOf(rows, bench, axis, options = {}) {
  const across = acrossOf(axis, bench),
    shown = drawn(rows),
    names = [...new Set(rows.map((row) => row.sweep || ""))],
    shapes = shapesOf(names, rows, options);
  return names.map((name, index) => ({
    name: (options.prefix ?? "") + (name || (names.length > 1 ? "no sweep named" : options.prefix ? "" : "readings")),
    shape: shapes[index],
    tone: TONES[(index + (options.offset ?? 0)) % TONES.length],
    points: shown
      .filter((row) => (row.sweep || "") === name && row.pressure_pa && row.speed_rad_s !== null)
      .map((row) => {
        const x = across.of(row.pressure_pa);
        return {
          n: row.n,
          x,
          xu: (x * (row.pressure_u_pa ?? 0)) / row.pressure_pa,
          y: inUnit(row.speed_rad_s, "speed"),
          yu: inUnit(row.speed_u_rad_s ?? 0, "speed"),
          dim: !row.used,
          fresh: options.fresh?.has(row.n),
          about: about(row),
        };
      }),
  }));
}
export function timeText(row) {
  const found = /T(\d\d:\d\d:\d\d)/.exec(row.time || "") ?? /\d{4}-\d\d-\d\d (\d\d:\d\d:\d\d)/.exec(row.time || "");
  return found ? found[1] : row.time || "";
}
// A direction is shown beside its size: the sign alone would be missed.
const leadText = (row) =>
  row.leading_face === "bright" || row.leading_face === "dark"
    ? make("span", { class: "soft small" }, ` ${row.leading_face} leads`)
    : null;
const lampText = (row) =>
  !row.lamp
    ? "off"
    : row.lamp_share && Math.abs(row.lamp_share - 1) > 1e-9
      ? `${number(100 * row.lamp_share, 3)} %`
      : "on";
export function tableRow(row, ways) {
  const titled = (title, attributes, ...children) => make("td", { ...attributes, "data-title": title }, ...children);
  const cells = [
    make("th", { scope: "row", class: "number", "data-title": "no." }, String(row.n)),
    titled("time", { title: row.time || null }, timeText(row)),
    titled("sweep", {}, row.sweep || ""),
    titled(
      `pressure, ${unitOf("pressure")}`,
      { class: "number" },
      row.pressure_flag || pressureText(row.pressure_pa, row.pressure_u_pa),
    ),
    titled("Kn", { class: "number" }, number(row.kn, 2)),
    titled(
      `speed, ${unitOf("speed")}`,
      { class: "number" },
      speedText(row.speed_rad_s, row.speed_u_rad_s),
      leadText(row),
    ),
    titled("lamp", {}, lampText(row)),
    titled(
      "use",
      { class: "use" },
      row.used ? "used" : isExcluded(row) ? row.why_not : inChosenUnits(row.why_not),
      row.note ? make("span", { class: "soft small" }, (row.used ? ": " : "; ") + row.note) : null,
    ),
  ];
  if (ways) cells.push(make("td", {}, ways(row)));
  return make("tr", { class: row.used ? "" : "unused", "data-n": row.n }, ...cells);
}
// Fill a table with rows. What has not changed stays the same element: a button under a finger is not taken away, and
// keeps the cursor; one that is drawn anew while it has the cursor gives that to the new one.
export function fillTable(body, rows, ways) {
  const known = new Map([...body.rows].map((one) => [one.dataset.n, one]));
  let focused = null;
  const wanted = rows.map((row) => {
    const told = JSON.stringify([row, unitOf("pressure"), unitOf("speed")]),
      old = known.get(String(row.n));
    if (old?.told === told) return old;
    const made = tableRow(row, ways);
    made.told = told;
    if (old?.contains(document.activeElement)) focused = made;
    return made;
  });
  const kept = new Set(wanted);
  for (const old of known.values()) if (!kept.has(old)) old.remove();
  wanted.forEach((one, place) => {
    if (body.rows[place] !== one) body.insertBefore(one, body.rows[place] ?? null);
  });
  if (!wanted.length) {
    const across = body.parentNode.tHead.rows[0].cells.length;
    body.replaceChildren(make("tr", {}, make("td", { colspan: across, class: "soft" }, "No reading yet.")));
  }
  focused?.querySelector("button")?.focus();
}
// In the place of the chart and of the rows, where the readings do not arrive.
export function notLoaded() {
  for (const words of document.querySelectorAll(".awaited .empty, #readings .waiting"))
    words.textContent = "The readings could not be loaded.";
}
// Whether the row is set aside by a person, rather than by its own signals.
export const isExcluded = (row) => Boolean(row.exclude);
