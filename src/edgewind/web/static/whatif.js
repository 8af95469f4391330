// What if: both optima as the sliders move, at once; their intervals when the sliders rest; a second rotor beside the
// first, the readings against the curve, and the rotor in the dark under a chilled envelope.
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
import { seriesOf } from "/static/readings.js";

const { slug, experiment, sliders, bench, others } = dataOf("data");
const speeds = new Chart(byId("speeds"), { title: "Speed predicted" }),
  torques = new Chart(byId("torques"), { title: "Drive and drag" }),
  differences = new Chart(byId("differences"), { title: "Readings less prediction" }),
  cold = new Chart(byId("cold-chart"));
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
const inputs = [...document.querySelectorAll("#sliders input[type=range]")].map((input) => ({
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
  const fitted = unmoved(one) && fitOf ? now?.fitted[one.slider.key] : undefined,
    unit = one.slider.unit.replace("degC", "°C");
  if (fitted !== undefined) return `fit: ${number(fitted, 2)} ${unit}`;
  // The bench does not state it; such a value may follow another slider.
  if (unmoved(one) && one.slider.assumed)
    return `assumed: ${number(now?.assumed[one.slider.key] ?? one.slider.value, 3)} ${unit}`;
  return `${number(unmoved(one) ? one.slider.value : value(one.slider, Number(one.input.value)), 3)} ${unit}`;
}
// The setting of the sliders, in words and as a name that is the same only for equal settings.
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
    rank();
  } else showIntervals();
  showStart();
}
// Whether the curves are those of a fit to the readings; stated, since the two can differ much.
function showStart() {
  const place = byId("whatif-start");
  place.hidden = Boolean(fitOf);
  if (fitOf || place.dataset.because === noFit) return;
  place.dataset.because = noFit;
  place.replaceChildren(
    "These curves are not fitted to the readings, but computed from the bench as described" +
      (noFit ? `; no fit could be made: ${noFit}.` : "."),
    noFit
      ? ""
      : make(
          "button",
          { type: "button", class: "quiet", onclick: () => byId("fit").click() },
          "Start from a fit of the readings",
        ),
  );
}

// The two levers that matter most stand first, by the sensitivities of the model; not while one of them is being moved.
async function rank() {
  let found;
  try {
    const told = await ask(
      `/api/levers/${pathOf(slug, experiment)}?` + new URLSearchParams(fitOf ? { study: fitOf } : {}),
    );
    found = told.levers.slice(0, 2);
  } catch {
    return;
  }
  const most = byId("most"),
    per = (factor) => {
      const change = 100 * (Math.abs(factor) - 1);
      return `${change < 0 ? "−" : "+"}${number(Math.abs(change), 2)}\u00a0%`;
    };
  const rows = found
    .map((one) => ({ one, input: inputs.find(({ slider }) => slider.key === one.key)?.input }))
    .filter(({ input }) => input);
  // A row that is moved loses the focus, and a slider its pointer.
  const held = document.activeElement;
  if (!rows.length || most.contains(held) || rows.some(({ input }) => input === held)) return;
  for (const old of most.querySelectorAll(".slider")) old.homePlace?.after(old);
  for (const old of most.querySelectorAll(".help")) old.remove();
  for (const { one, input } of rows) {
    const row = input.parentElement;
    if (!row.homePlace) {
      row.homePlace = document.createComment("");
      row.before(row.homePlace);
    }
    most.append(
      row,
      make(
        "p",
        { class: "help", id: input.id + "-help" },
        `${one.step}: greatest speed ${per(one.speed)}, its pressure ${per(one.pressure)}`,
      ),
    );
    input.setAttribute("aria-describedby", input.id + "-help");
  }
  most.hidden = false;
}

// A second rotor: another experiment as described, or a kept setting of this one.
let second = null;
const rows = { used: [] };
export function compareWith(readings) {
  rows.used = readings
    .map((row, k) => ({ ...row, n: k + 1, kn: null }))
    .filter((row) => row.used && row.pressure_pa && row.speed_rad_s !== null);
  showWhatIf();
}
async function bring(index) {
  if (index === "held") return;
  const one = others[Number(index)];
  second = null;
  if (one && index !== "") {
    try {
      const told = await ask(`/api/what-if/${pathOf(one.slug, one.experiment)}`);
      if (byId("second").value !== index) return;
      second = { told, name: `${one.experiment}, as it is described` };
      byId("whatif-problem").textContent = "";
    } catch (error) {
      byId("whatif-problem").textContent = error.message + ".";
    }
  }
  showWhatIf();
}
let holding = false;
function hold() {
  // A setting whose prediction is still computed is kept once the prediction arrives, under its own name.
  holding = !now || now.setting !== setting();
  if (holding) return;
  second = { told: now, name: settingWords() };
  const choice = byId("second");
  choice.querySelector("[value=held]")?.remove();
  choice.append(make("option", { value: "held" }, `held: ${second.name}`));
  choice.value = "held";
  showWhatIf();
}

// The rotor in the dark: computed again when the sliders, the envelope or the pressure change.
let coldAsked = 0,
  coldAnswered = 0,
  coldDrawing = false,
  coldNow = null;
async function redrawCold() {
  const envelope = byId("cold-envelope");
  byId("cold-envelope-out").textContent = `${envelope.value.replace("-", "−")} °C`;
  envelope.setAttribute("aria-valuetext", `${envelope.value} degrees Celsius`);
  coldAsked += 1;
  if (coldDrawing) return;
  coldDrawing = true;
  while (coldAnswered !== coldAsked) {
    coldAnswered = coldAsked;
    const typed = byId("cold-pressure").value.trim(),
      start = performance.now();
    try {
      const query = new URLSearchParams({ ...changes(), envelope: `${envelope.value} degC` });
      if (typed) query.set("pressure", /[a-z]/i.test(typed) ? typed : `${typed} ${unitOf("pressure")}`);
      if (fitOf) query.set("study", fitOf);
      coldNow = await ask(`/api/chilled/${pathOf(slug, experiment)}?` + query);
      byId("cold-problem").textContent = "";
      showCold();
      document.body.dataset.coldMs = Math.round(performance.now() - start);
    } catch (error) {
      byId("cold-problem").textContent = error.message + ".";
    }
  }
  coldDrawing = false;
}
const duration = (seconds) => (seconds < 120 ? `${Math.round(seconds)} s` : `${number(seconds / 60, 2)} min`);
function showCold() {
  if (!coldNow) return;
  const told = coldNow,
    celsius = (kelvin) => `${(kelvin - 273.15).toFixed(0).replace("-", "−")} °C`;
  const change = told.to_k < told.from_k ? "Chilled" : "Warmed",
    at = `${pressureText(told.pressure_pa, 0)} ${unitOf("pressure")}`;
  const where = `${change} from ${celsius(told.from_k)} to ${celsius(told.to_k)} at ${at}, lamp off: `;
  const most = told.most_rad_s;
  byId("cold-words").textContent =
    Math.abs(most) < 1e-3
      ? where + "the rotor does not turn."
      : where +
        `the ${most < 0 ? "dark" : "bright"} face leads, ` +
        `${most < 0 ? "it reverses" : "it turns as when lit"}, at most ` +
        `${speedText(Math.abs(most), 0)} ${unitOf("speed")} after ${duration(told.most_at_s)}; ` +
        (told.still_s === null
          ? "it still turns after 15 min."
          : `it nearly stands still after ${duration(told.still_s)}.`);
  cold.show({
    label: byId("cold-words").textContent,
    height: 240,
    x: { title: "time since (s)", linear: true, range: [0, Math.max(60, Math.min(900, 1.3 * (told.still_s ?? 900)))] },
    y: { title: `speed (${unitOf("speed")})` },
    series: [],
    lines: [
      {
        tone: "blue",
        wide: true,
        points: told.time_s.map((t, k) => [t, inUnit(told.speed_rad_s[k], "speed")]),
      },
    ],
  });
}

// Distance of the readings from the curve, at the usual conditions whatever the setting of the sliders.
function showDifferences() {
  const place = byId("misses"),
    pressures = now.pressure_pa.map(Math.log);
  const at = (pa) => {
    const x = Math.log(pa),
      k = pressures.findIndex((one) => one >= x);
    if (k < 0 || (k === 0 && x < pressures[0])) return null;
    if (k === 0) return now.speed_rad_s[0];
    const part = (x - pressures[k - 1]) / (pressures[k] - pressures[k - 1]);
    return now.speed_rad_s[k - 1] * (1 - part) + now.speed_rad_s[k] * part;
  };
  const known = (row) => row.leading_face === "bright" || row.leading_face === "dark";
  const found = rows.used
    .map((row) => {
      const predicted = at(row.pressure_pa);
      return predicted === null ? null : { row, predicted: known(row) ? predicted : Math.abs(predicted) };
    })
    .filter(Boolean);
  differences.place.hidden = !found.length;
  if (!found.length) {
    place.textContent = rows.used.length ? "No reading lies between the pressures of this curve." : "";
    return;
  }
  const misses = found.map(({ row, predicted }) => row.speed_rad_s - predicted),
    rms = Math.sqrt(misses.reduce((sum, miss) => sum + miss * miss, 0) / misses.length);
  const ratios = found
      .filter(({ row }) => row.speed_rad_s)
      .map(({ row, predicted }) => predicted / row.speed_rad_s)
      .sort((a, b) => a - b),
    ratio = ratios.length ? ratios[Math.floor((ratios.length - 1) / 2)] : NaN;
  const outside = rows.used.length - found.length;
  place.textContent =
    `Compared with ${found.length} reading${found.length === 1 ? "" : "s"} at the usual conditions: ` +
    `root mean square difference ${speedText(rms, 0)} ${unitOf("speed")}; this curve gives ` +
    `${number(ratio, 2)} times the measured speed (median)` +
    (outside ? `; ${outside} more lie outside its pressures` : "") +
    ".";
  const [series] = seriesOf(
    found.map(({ row }, k) => ({ ...row, sweep: "", speed_rad_s: misses[k] })),
    bench,
    "pressure",
  );
  differences.show({
    label: place.textContent,
    height: 180,
    x: { title: `pressure (${unitOf("pressure")})`, range: now.pressure_pa.length ? rangeOf() : undefined },
    y: { title: `measured less predicted (${unitOf("speed")})` },
    series: [{ ...series, name: "", tone: "ink" }],
    lines: [],
  });
}
const rangeOf = () => {
  const every = [base ?? now, now, ...(second ? [second.told] : [])].map((told) => told.pressure_pa);
  return [Math.min(...every.map((p) => p[0])), Math.max(...every.map((p) => p.at(-1)))].map((p) =>
    inUnit(p, "pressure"),
  );
};
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
      byId("whatif-of").textContent = of
        ? "the draw of the fit whose speeds lie nearest to the median of all"
        : "the bench as it is described";
      label();
      showWhatIf();
      if (holding) hold();
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
  rest = setTimeout(atRest, REST_MS);
}

// The slower results follow when the sliders rest: the rotor in the dark, and the intervals, which are shown only for
// the setting that they were computed for.
const REST_MS = 300;
function atRest() {
  redrawCold();
  askIntervals();
}
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
    const job = await ordered("intervals", { slug, experiment, study: fitOf, changes: changes() });
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
  // The content below does not move while they are computed.
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
        : "“Judge the mechanisms with a fit” gives intervals of its posterior.",
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
    range = rangeOf();
  const changed = base && base !== now,
    x = { title: `pressure (${unitOf("pressure")})`, range };
  const strip = intervals?.setting === now.setting && !intervals.problem ? intervals : null;
  const ends = (which) => {
    const [low, high] = strip?.[which].after.pressure_interval_pa?.map(across) ?? [];
    return { low, high };
  };
  const mark = (told, which, words, row, tone = "gold") =>
    told[which].found
      ? [
          {
            x: across(told[which].pressure_pa),
            tone,
            ...(told === now ? ends(which) : {}),
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
    series: rows.used.length
      ? seriesOf(
          rows.used.map((row) => ({ ...row, sweep: "" })),
          bench,
          "pressure",
        )
      : [],
    lines: [
      ...(changed ? [{ tone: "slate", faint: true, points: pairs(base, "speed_rad_s", speed) }] : []),
      ...(second
        ? [
            {
              tone: "rust",
              dash: "long",
              wide: true,
              name: second.name,
              points: pairs(second.told, "speed_rad_s", speed),
            },
          ]
        : []),
      { tone: "blue", wide: true, name: "speed predicted", points: pairs(now, "speed_rad_s", speed) },
    ],
    marks: [
      ...mark(now, "optimum", "fastest", 0),
      ...(second ? mark(second.told, "optimum", "beside it", 1, "rust") : []),
    ],
  });
  showDifferences();
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
      ...(second
        ? [
            {
              tone: "rust",
              dash: "long",
              wide: true,
              name: `drive, ${second.name}`,
              points: pairs(second.told, "torque_n_m", nano),
            },
          ]
        : []),
      { tone: "ink", wide: true, name: "drive, all together", points: pairs(now, "torque_n_m", nano) },
      { tone: "plum", dash: "short", name: `drag at ${speedText(top, 0)} ${unitOf("speed")}`, points: drag },
      ...Object.keys(now.drives).map((key, index) => ({
        tone: ["blue", "moss", "rose", "slate"][index % 4],
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
        told[which].found ? `${pressureText(told[which].pressure_pa, 0)} ${unitOf("pressure")}` : "none in range",
      ),
      make("span", { class: "soft small" }, told[which].found ? `Kn ${number(told[which].kn, 2)}` : ""),
    );
  showSecond();
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
function showSecond() {
  const place = byId("second-optima");
  place.hidden = !second;
  if (!second) return;
  const told = second.told,
    over = (a, b) => (a && b ? `${number(Math.abs(a / b), 3)} × the first` : "");
  const cell = (name, value, more) =>
    make(
      "div",
      {},
      make("span", { class: "soft" }, name),
      make("strong", {}, value),
      make("span", { class: "soft small" }, more),
    );
  const placeOf = (which) =>
    told[which].found ? `${pressureText(told[which].pressure_pa, 0)} ${unitOf("pressure")}` : "none in range";
  place.replaceChildren(
    make("h3", { class: "wide" }, `Beside it: ${second.name}`),
    cell("fastest at", placeOf("optimum"), over(told.optimum.pressure_pa, now.optimum.pressure_pa)),
    cell(
      "greatest drive at",
      placeOf("force_optimum"),
      over(told.force_optimum.pressure_pa, now.force_optimum.pressure_pa),
    ),
    cell(
      "greatest speed",
      `${speedText(Math.abs(told.optimum.speed_rad_s), 0)} ${unitOf("speed")}`,
      over(told.optimum.speed_rad_s, now.optimum.speed_rad_s),
    ),
  );
}
for (const { input } of inputs) input.addEventListener("input", redraw);
byId("second").addEventListener("change", () => bring(byId("second").value));
byId("hold").addEventListener("click", hold);
byId("cold").addEventListener("submit", (event) => event.preventDefault());
byId("cold-envelope").addEventListener("input", redrawCold);
byId("cold-pressure").addEventListener("change", redrawCold);
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
  showCold();
});
showStart();
redraw();
rank();
