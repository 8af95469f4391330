// What if: both optima as the sliders move, at once; their intervals when the sliders rest.
import { Chart } from "/static/chart.js";
import {
  ask,
  byId,
  dataOf,
  inUnit,
  make,
  number,
  onUnits,
  ordered,
  pathOf,
  pressureText,
  speedText,
  unitOf,
} from "/static/common.js";

const { slug, experiment, sliders } = dataOf("data");
const speeds = new Chart(byId("speeds")),
  torques = new Chart(byId("torques"));
let base = null,
  now = null,
  asked = 0,
  answered = 0,
  drawing = false;
const STEPS = 200;
const value = (slider, step) => {
  if (slider.linear) return slider.low + ((slider.high - slider.low) * step) / STEPS;
  return slider.zero && step === 0
    ? 0
    : slider.low * (slider.high / slider.low) ** (slider.zero ? (step - 1) / (STEPS - 1) : step / STEPS);
};
const step = (slider) => {
  if (slider.linear) return Math.round((STEPS * (slider.value - slider.low)) / (slider.high - slider.low));
  if (slider.value === 0) return 0;
  const part = Math.log(slider.value / slider.low) / Math.log(slider.high / slider.low);
  return Math.round(slider.zero ? 1 + part * (STEPS - 1) : part * STEPS);
};
const inputs = [...document.querySelectorAll("input[type=range]")].map((input) => ({
  input,
  slider: sliders.find((one) => one.key === input.dataset.key),
  out: byId(input.id + "-out"),
}));
for (const { input, slider } of inputs) input.value = step(slider);
const changes = () => {
  const found = {};
  for (const { input, slider } of inputs)
    if (!unmoved({ input, slider }))
      found[slider.key] = `${value(slider, Number(input.value))} ${slider.unit.replaceAll("²", "^2")}`.trim();
  if (byId("gas").value) found["gas.species"] = byId("gas").value;
  return found;
};
const unmoved = ({ input, slider }) => Number(input.value) === step(slider);
function shown(one) {
  const fitted = unmoved(one) && fitOf ? now?.fitted[one.slider.key] : undefined;
  if (fitted !== undefined) return `fit: ${number(fitted, 2)} ${one.slider.unit}`;
  return (
    `${number(unmoved(one) ? one.slider.value : value(one.slider, Number(one.input.value)), 3)} ` +
    `${one.slider.unit}`
  );
}
// What the sliders stand at, in words and as a name that two settings share only where they are the same.
const setting = () => JSON.stringify([fitOf, changes()]);
function settingWords() {
  const moved = inputs.filter((one) => !unmoved(one)).map((one) => `${one.slider.label.toLowerCase()} ${shown(one)}`);
  if (byId("gas").value) moved.push("gas " + byId("gas").value);
  return moved.join(", ") || "the rotor as it is";
}
function label() {
  for (const one of inputs) {
    one.out.textContent = shown(one);
    one.input.setAttribute("aria-valuetext", shown(one));
  }
}
// By the posterior of the study that holds a fit of this rotor, as `predict --fit` does; else by the bench as it is.
let fitOf = "",
  noFit = "";
export function predictBy(study, why) {
  noFit = why;
  if (study !== fitOf) {
    fitOf = study;
    redraw();
  } else showIntervals();
}
const predicted = (moved) =>
  ask(`/api/what-if/${pathOf(slug, experiment)}?` + new URLSearchParams(fitOf ? { ...moved, study: fitOf } : moved));
async function redraw() {
  label();
  document.body.dataset.whatif = "moving";
  asked += 1;
  clearTimeout(rest);
  showIntervals();
  if (drawing) return;
  drawing = true;
  while (answered !== asked) {
    answered = asked;
    try {
      const start = performance.now(),
        moved = changes(),
        of = fitOf,
        name = setting(),
        told = await predicted(moved);
      told.setting = name;
      told.of = of;
      if (!Object.keys(moved).length) base = told;
      else if (base?.of !== of) base = { ...(await predicted({})), of };
      now = told;
      byId("whatif-problem").textContent = "";
      byId("whatif-of").textContent = of ? "the medians of the fit" : "the bench as it is described";
      label();
      showWhatIf();
      await new Promise(requestAnimationFrame); // both drawings are made in this frame
      document.body.dataset.whatifMs = Math.round(performance.now() - start);
    } catch (error) {
      byId("whatif-problem").textContent = error.message + ".";
      if (error.status === 404 && fitOf) {
        fitOf = "";
        byId("fit").hidden = false;
        asked += 1;
      }
    }
  }
  drawing = false;
  document.body.dataset.whatif = "settled";
  rest = setTimeout(askIntervals, REST_MS);
}

// Intervals follow when the sliders rest, and are shown for the setting that they were asked for and for no other.
const REST_MS = 300;
let rest = 0,
  asking = false,
  intervals = null;
async function askIntervals() {
  if (asking) {
    rest = setTimeout(askIntervals, REST_MS);
    return;
  }
  const name = setting();
  if (intervals?.setting === name) return;
  asking = true;
  try {
    const job = await ordered("intervals", { slug, experiment, study: fitOf, changes: changes() }, undefined, 100);
    intervals = { setting: name, ...job.result, problem: job.state === "done" ? "" : job.problem };
  } catch (error) {
    intervals = { setting: name, problem: error.message };
  }
  asking = false;
  showIntervals();
  showWhatIf();
}
function showIntervals() {
  const current = intervals?.setting === setting() ? intervals : null,
    changed = Object.keys(changes()).length > 0;
  const place = byId("intervals");
  // What stands below does not jump while they are on their way.
  if (current) place.style.minHeight = "";
  else if (place.getAttribute("aria-busy") === "false") place.style.minHeight = place.offsetHeight + "px";
  place.setAttribute("aria-busy", String(!current));
  if (current?.problem) {
    place.replaceChildren(make("p", { class: "soft" }, `No intervals for ${settingWords()}: ${current.problem}.`));
    return;
  }
  const pascal = (p) => inUnit(p, "pressure"),
    plain = (x) => x;
  const between = (told, name, unit, of) => {
    const [low, high] = told[`${name}_interval${unit}`] ?? [];
    return low === undefined
      ? null
      : [number(of(told[name + unit]), 3), `(${number(of(low), 3)} to ${number(of(high), 3)})`];
  };
  const cell = (title, found, none) =>
    make(
      "td",
      { "data-title": title },
      ...(found ? [make("strong", {}, found[0]), ` ${found[1]}`] : [make("span", { class: "soft" }, none)]),
    );
  const when = (title, told, which) =>
    cell(
      title,
      told && between(told[which], "pressure", "_pa", pascal),
      told ? `no interval: ${Math.round(100 * told[which].share_with_a_maximum)}\u00a0% of draws` : "…",
    );
  const row = (words, told) =>
    make(
      "tr",
      {},
      make("th", { scope: "row" }, `${words} (${unitOf("pressure")})`),
      when("as it is", told, "before"),
      ...(changed
        ? [when("moved", told, "after"), cell("ratio", told && between(told, "ratio", "", plain), told ? "–" : "…")]
        : []),
    );
  const titles = [make("span", { class: "unseen" }, "optimum"), "as it is", ...(changed ? ["moved", "ratio"] : [])];
  place.replaceChildren(
    make(
      "table",
      { class: "stacked" },
      make(
        "caption",
        {},
        make("strong", {}, `With intervals, for ${settingWords()}`),
        current ? "" : ": being computed…",
      ),
      make("thead", {}, make("tr", {}, ...titles.map((title) => make("th", { scope: "col" }, title)))),
      make("tbody", {}, row("fastest at", current?.optimum), row("greatest drive at", current?.force_optimum)),
    ),
    make("p", { class: "soft small" }, current ? basis(current) : ""),
  );
}
function basis(told) {
  const ends = told.between_pa.map((p) => number(inUnit(p, "pressure"), 2)).join(" and ");
  const level = `${number(100 * told.level, 2)}\u00a0%`,
    least = Math.min(
      ...[told.optimum, told.force_optimum].flatMap((one) => [
        one.before.share_with_a_maximum,
        one.after.share_with_a_maximum,
      ]),
    );
  return [
    `Medians and ${level} intervals over ${told.draws} draws of ` +
      (told.draws_of === "posterior"
        ? "the posterior of the fit."
        : "priors only: what bench.toml states, without the readings."),
    told.draws_of === "posterior"
      ? ""
      : noFit
        ? `No fit could be made: ${noFit}.`
        : "Weigh the mechanisms on a fit to have them of its posterior.",
    `Maxima are sought between ${ends} ` +
      unitOf("pressure") +
      (least < told.level ? `; where fewer than ${level} of the draws have one there, there is no interval` : "") +
      ".",
  ]
    .filter(Boolean)
    .join(" ");
}
function showWhatIf() {
  if (!now) return;
  const across = (pa) => inUnit(pa, "pressure"),
    pairs = (told, name, of = (y) => y) => told.pressure_pa.map((p, k) => [across(p), of(told[name][k])]);
  const speed = (y) => inUnit(y, "speed"),
    range = [
      Math.min(...[base ?? now, now].map((told) => across(told.pressure_pa[0]))),
      Math.max(...[base ?? now, now].map((told) => across(told.pressure_pa.at(-1)))),
    ];
  const changed = base && base !== now,
    x = { title: `pressure (${unitOf("pressure")})`, range };
  const strip = intervals?.setting === now.setting && !intervals.problem ? intervals : null;
  const ends = (which) => {
    const [low, high] = strip?.[which].after.pressure_interval_pa?.map(across) ?? [];
    return { low, high };
  };
  const mark = (told, which, words, row) =>
    told[which].found
      ? [
          {
            x: across(told[which].pressure_pa),
            ...ends(which),
            words:
              `${words} ${pressureText(told[which].pressure_pa, 0)} ${unitOf("pressure")}, Kn ` +
              `${number(told[which].kn, 2)}`,
            row,
          },
        ]
      : [];
  speeds.show({
    label:
      `Predicted speed against pressure; greatest at ${number(across(now.optimum.pressure_pa), 3)} ` +
      `${unitOf("pressure")}`,
    height: 260,
    x,
    y: { title: `speed (${unitOf("speed")})` },
    series: [],
    lines: [
      ...(changed ? [{ tone: "slate", faint: true, points: pairs(base, "speed_rad_s", speed) }] : []),
      { tone: "blue", wide: true, name: "speed", points: pairs(now, "speed_rad_s", speed) },
    ],
    marks: mark(now, "optimum", "fastest", 0),
  });
  // Drive and drag on one scale: the drag at the greatest speed is more than the drive everywhere but at the optimum.
  const top = Math.abs(now.optimum.speed_rad_s),
    highest = Math.max(...now.torque_n_m.map((y) => Math.abs(y))),
    nano = (y) => (y === null ? null : 1e9 * y);
  const drag = now.pressure_pa
    .map((p, k) => [across(p), now.drag_n_m_s[k] * top])
    .filter((pair) => pair[1] < 1.25 * highest)
    .map(([x, y]) => [x, nano(y)]);
  torques.show({
    label:
      `Torques against pressure; the greatest at ${number(across(now.force_optimum.pressure_pa), 3)} ` +
      `${unitOf("pressure")}`,
    height: 320,
    x,
    y: { title: "torque (nN m)" },
    series: [],
    lines: [
      ...(changed ? [{ tone: "slate", faint: true, points: pairs(base, "torque_n_m", nano) }] : []),
      { tone: "ink", wide: true, name: "drive, all together", points: pairs(now, "torque_n_m", nano) },
      { tone: "rust", dash: "long", name: `drag at ${speedText(top, 0)} ${unitOf("speed")}`, points: drag },
      ...Object.keys(now.drives).map((key, index) => ({
        tone: ["blue", "plum", "moss", "rose"][index % 4],
        dash: ["short", "dot", "long", "short"][index % 4],
        name: now.names[key],
        points: now.pressure_pa.map((p, k) => [across(p), nano(now.drives[key][k])]),
      })),
    ],
    marks: mark(now, "force_optimum", "greatest drive", 0),
  });
  const tell = (told, which, text) =>
    make(
      "div",
      {},
      make("span", { class: "soft" }, text),
      make(
        "strong",
        {},
        told[which].found ? `${pressureText(told[which].pressure_pa, 0)} ${unitOf("pressure")}` : "none inside",
      ),
      make("span", { class: "soft small" }, told[which].found ? `Kn ${number(told[which].kn, 2)}` : ""),
    );
  byId("optima").replaceChildren(
    tell(now, "optimum", "fastest at"),
    tell(now, "force_optimum", "greatest drive at"),
    make(
      "div",
      {},
      make("span", { class: "soft" }, "greatest speed"),
      make("strong", {}, `${speedText(Math.abs(now.optimum.speed_rad_s), 0)} ${unitOf("speed")}`),
      make(
        "span",
        { class: "soft small" },
        changed && base.optimum.speed_rad_s
          ? `${number(now.optimum.speed_rad_s / base.optimum.speed_rad_s, 3)} × as it is`
          : "as it is",
      ),
    ),
  );
}
for (const { input } of inputs) input.addEventListener("input", redraw);
byId("gas").addEventListener("change", redraw);
byId("sliders").addEventListener("submit", (event) => event.preventDefault());
byId("back").addEventListener("click", () => {
  for (const { input, slider } of inputs) input.value = step(slider);
  byId("gas").selectedIndex = 0;
  redraw();
});
onUnits(() => {
  showIntervals();
  showWhatIf();
});
redraw();
