// The question: the study of what was seen, and what if.
import { Chart } from "/static/chart.js";
import { ask, byId, dataOf, follow, inUnit, make, number, onUnits, pathOf, pressureText, speedText, trouble, unitOf } from "/static/common.js";
import { acrossOf, chosenAxis, onAxis, seriesOf, TONES } from "/static/readings.js";

const { slug, experiment, kind, bench, sliders, compared } = dataOf("data");
const subjects = [{ slug, experiment }, ...compared];

// The study

let study = null, result = null;
const curve = new Chart(byId("curve"));
const VERDICT_SIGNS = { "ruled out": "✕", sufficient: "●", contributes: "◐", "cannot tell": "?" };
const MEANS = {
  "ruled out": "its sign or its size contradicts the readings", sufficient: "its sign agrees, and it is large enough by itself",
  contributes: "it is present, and not enough by itself", "cannot tell": "these readings do not decide",
};

async function order(fit) {
  byId("answer").setAttribute("aria-busy", "true");
  byId("fit").disabled = true;
  try {
    study = await ask("/api/studies", { of: subjects, fit });
    while (study.state === "waiting" || study.state === "working") {
      const state = byId("study-state"), bar = byId("study-progress");
      if (state) state.textContent = study.what[0].toUpperCase() + study.what.slice(1) + "…";
      if (bar) { if (study.total > 1) { bar.max = study.total; bar.value = study.done; } else bar.removeAttribute("value"); }
      await new Promise((done) => setTimeout(done, 250));
      study = await ask("/api/studies/" + study.id);
    }
    if (study.state !== "done") throw new Error(study.problem || "the study was given up");
    study.fitted = fit;
    result = study.result;
    showStudy();
    showStale();
  } catch (error) {
    if (result === null) byId("answer-text").replaceChildren(make("p", { class: "note bad" }, error.message + "."));
    else trouble(error.message);
    byId("mechanisms").replaceChildren(make("p", { class: "soft" }, "There is no study to weigh them on."));
  }
  byId("answer").setAttribute("aria-busy", "false");
  byId("fit").disabled = false;
}
const experiments = () => result.summary.experiments ?? [result.summary];

function showStudy() {
  const all = experiments(), blocks = [];
  all.forEach((one, index) => {
    if (all.length > 1) blocks.push(make("h3", {}, one.name));
    one.answer.forEach((sentence, row) => blocks.push(make("p", row ? {} : { class: "first" }, sentence)));
    const by = one.force_optimum;
    if (by?.found) blocks.push(make("p", {}, `By the fit the torque is greatest at ${pressureText(by.pressure_pa)} ${unitOf("pressure")} (${pressureText(by.interval_pa[0])} to ${pressureText(by.interval_pa[1])}).`));
    for (const warning of one.optimum.warnings) blocks.push(make("p", { class: "note" }, "Warning: " + warning));
    if (one.optimum.sweeps?.sentence) blocks.push(make("p", { class: "soft" }, one.optimum.sweeps.sentence));
  });
  if (result.summary.comparison) blocks.push(make("h3", {}, "The two rotors"), make("p", {}, result.summary.comparison.sentence ?? ""));
  byId("answer-text").replaceChildren(...blocks);
  byId("study-ways").hidden = false;
  byId("fit").hidden = study.fitted;
  byId("report").href = `/reports/${study.id}/report.html`;
  byId("report-zip").href = `/reports/${study.id}/all.zip`;
  byId("mechanisms").replaceChildren(...all.flatMap((one) => [all.length > 1 ? make("h3", {}, one.name) : null, mechanisms(one)].filter(Boolean)));
  showCurve();
}
function mechanisms(one) {
  const head = make("tr", {}, ...["mechanism", "verdict", "sign", "size ratio", "interval", "why"].map((name, index) => make("th", { scope: "col", class: index === 3 || index === 4 ? "number" : "" }, name)));
  const body = one.mechanisms.map((claim) => make("tr", {},
    make("th", { scope: "row" }, claim.name),
    make("td", { "data-title": "verdict" }, make("strong", { class: "verdict" }, make("span", { "aria-hidden": "true" }, VERDICT_SIGNS[claim.verdict] + " "), claim.verdict), make("span", { class: "soft small" }, MEANS[claim.verdict])),
    make("td", { "data-title": "sign" }, claim.sign_ok === null ? "not observed" : claim.sign_ok ? "agrees" : "contradicts"),
    make("td", { class: "number", "data-title": "size ratio" }, number(claim.size_ratio, 2)),
    make("td", { class: "number", "data-title": "interval" }, claim.size_ratio_interval ? `${number(claim.size_ratio_interval[0], 2)} to ${number(claim.size_ratio_interval[1], 2)}` : "–"),
    make("td", { class: "why", "data-title": "why" }, claim.why)));
  return make("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Mechanisms, " + one.name },
    make("table", { class: "mechanisms" }, make("caption", { class: "soft" }, "Each candidate by its sign and its size: the torque that it could give over the torque needed."), make("thead", {}, head), make("tbody", {}, ...body)));
}
function showCurve() {
  if (!result) return;
  const axis = chosenAxis("axis"), series = [], bands = [], lines = [], marks = [];
  const across = acrossOf(axis, bench);
  let offset = 0;
  experiments().forEach((one, index) => {
    // Each rotor has its own vane; only the first one's width can stand under the common axis of Knudsen numbers.
    const table = result.curves[index], own = { ...bench };
    if (table) { own.path_at_one_pa_m = table.mean_free_path_m[0] * table.pressure_pa[0]; own.width_m = table.mean_free_path_m[0] / table.knudsen[0]; }
    const place = acrossOf(axis, own);
    const rows = one.readings.map((row, k) => ({ ...row, n: k + 1, kn: null }));
    const several = experiments().length > 1, made = seriesOf(rows, own, axis, { prefix: several ? one.name + " " : "", offset });
    series.push(...made);
    if (table) {
      const tone = several ? TONES[offset % TONES.length] : "ink", speed = (value) => inUnit(value, "speed");
      bands.push({ tone, points: table.pressure_pa.map((p, k) => [place.of(p), speed(table.speed_low_rad_s[k]), speed(table.speed_high_rad_s[k])]) });
      lines.push({ tone, name: several ? one.name + ", the curves that fit" : "the curves that fit", points: table.pressure_pa.map((p, k) => [place.of(p), speed(table.speed_rad_s[k])]) });
    }
    if (one.optimum.found) {
      const [low, high] = one.optimum.interval_pa.map(place.of);
      marks.push({ x: place.of(one.optimum.pressure_pa), low: Math.min(low, high), high: Math.max(low, high), words: axis === "pressure" ? `${pressureText(one.optimum.pressure_pa)} ${unitOf("pressure")}` : number(place.of(one.optimum.pressure_pa), 3), row: index, tone: "gold" });
    }
    offset += made.length;
  });
  curve.show({ label: "Speed against pressure with the curve that fits and the optimum; " + experiments().map((one) => one.answer[0]).join(" "), x: across, y: { title: `speed (${unitOf("speed")})` }, series, bands, lines, marks });
}
onAxis("axis", showCurve);
// Readings that came, or were set aside, since the study: it is not made anew by itself, but the page says so.
let known = new Map();
function showStale() {
  if (!result) return;
  const studied = experiments()[0].readings;
  const stale = known.size > studied.length || (known.size === studied.length && studied.some((row, k) => known.get(k + 1) && known.get(k + 1).used !== row.used));
  byId("again").hidden = !stale;
}
if (kind === "book") follow(slug, experiment, { rows(all) { known = all; showStale(); } });
byId("again").addEventListener("click", () => { byId("again").hidden = true; waiting("Studying again…"); order(study.fitted); });
const waiting = (text) => byId("answer-text").prepend(make("p", { class: "soft", id: "study-state" }, text), make("progress", { id: "study-progress", "aria-label": "The study" }));
byId("fit").addEventListener("click", () => {
  waiting("Fitting…");
  order(true);
});

// What if

const speeds = new Chart(byId("speeds")), torques = new Chart(byId("torques"));
let base = null, now = null, asked = 0, answered = 0, running = false;
const STEPS = 200;
const value = (slider, step) => (slider.zero && step === 0 ? 0 : slider.low * (slider.high / slider.low) ** (slider.zero ? (step - 1) / (STEPS - 1) : step / STEPS));
const step = (slider) => {
  if (slider.value === 0) return 0;
  const part = Math.log(slider.value / slider.low) / Math.log(slider.high / slider.low);
  return Math.round(slider.zero ? 1 + part * (STEPS - 1) : part * STEPS);
};
const inputs = [...document.querySelectorAll("input[type=range]")].map((input) => ({ input, slider: sliders.find((one) => one.key === input.dataset.key), out: byId(input.id + "-out") }));
for (const { input, slider } of inputs) input.value = step(slider);
const changes = () => {
  const found = {};
  for (const { input, slider } of inputs) if (Number(input.value) !== step(slider)) found[slider.key] = `${value(slider, Number(input.value))} ${slider.unit.replace("²", "^2")}`;
  if (byId("gas").value) found["gas.species"] = byId("gas").value;
  return found;
};
const shown = ({ input, slider }) => `${number(Number(input.value) === step(slider) ? slider.value : value(slider, Number(input.value)), 3)} ${slider.unit}`;
function label() {
  for (const one of inputs) { one.out.textContent = shown(one); one.input.setAttribute("aria-valuetext", shown(one)); }
}
async function redraw() {
  label();
  document.body.dataset.whatif = "moving";
  asked += 1;
  if (running) return;
  running = true;
  while (answered !== asked) {
    answered = asked;
    try {
      const start = performance.now();
      const told = await ask(`/api/what-if/${pathOf(slug, experiment)}?` + new URLSearchParams(changes()));
      now = told;
      if (!Object.keys(changes()).length) base = told;
      byId("whatif-problem").textContent = "";
      showWhatIf();
      await new Promise(requestAnimationFrame);  // both drawings are made in this frame
      document.body.dataset.whatifMs = Math.round(performance.now() - start);
    } catch (error) { byId("whatif-problem").textContent = error.message + "."; }
  }
  running = false;
  document.body.dataset.whatif = "settled";
}
function showWhatIf() {
  if (!now) return;
  const across = (pa) => inUnit(pa, "pressure"), pairs = (told, name, of = (y) => y) => told.pressure_pa.map((p, k) => [across(p), of(told[name][k])]);
  const speed = (y) => inUnit(y, "speed"), range = [Math.min(...[base ?? now, now].map((told) => across(told.pressure_pa[0]))), Math.max(...[base ?? now, now].map((told) => across(told.pressure_pa.at(-1))))];
  const changed = base && base !== now, x = { title: `pressure (${unitOf("pressure")})`, range };
  const mark = (told, which, words, row) => (told[which].found ? [{ x: across(told[which].pressure_pa), words: `${words} ${pressureText(told[which].pressure_pa, 0)} ${unitOf("pressure")}, Kn ${number(told[which].kn, 2)}`, row }] : []);
  speeds.show({
    label: `Predicted speed against pressure; greatest at ${number(across(now.optimum.pressure_pa), 3)} ${unitOf("pressure")}`, height: 260, x, y: { title: `speed (${unitOf("speed")})` }, series: [],
    lines: [...(changed ? [{ tone: "slate", faint: true, points: pairs(base, "speed_rad_s", speed) }] : []), { tone: "blue", wide: true, name: "speed", points: pairs(now, "speed_rad_s", speed) }],
    marks: mark(now, "optimum", "fastest", 0),
  });
  // Drive and drag on one scale: the drag at the greatest speed is more than the drive everywhere but at the optimum.
  const top = Math.abs(now.optimum.speed_rad_s), highest = Math.max(...now.torque_n_m.map((y) => Math.abs(y))), nano = (y) => (y === null ? null : 1e9 * y);
  const drag = now.pressure_pa.map((p, k) => [across(p), now.drag_n_m_s[k] * top]).filter((pair) => pair[1] < 1.25 * highest).map(([x, y]) => [x, nano(y)]);
  torques.show({
    label: `Torques against pressure; the greatest at ${number(across(now.force_optimum.pressure_pa), 3)} ${unitOf("pressure")}`, height: 320, x, y: { title: "torque (nN m)" }, series: [],
    lines: [
      ...(changed ? [{ tone: "slate", faint: true, points: pairs(base, "torque_n_m", nano) }] : []),
      { tone: "ink", wide: true, name: "drive, all together", points: pairs(now, "torque_n_m", nano) },
      { tone: "rust", dash: "long", name: `drag at ${speedText(top, 0)} ${unitOf("speed")}`, points: drag },
      ...Object.keys(now.drives).map((key, index) => ({ tone: ["blue", "plum", "moss", "rose"][index % 4], dash: ["short", "dot", "long", "short"][index % 4], name: now.names[key], points: now.pressure_pa.map((p, k) => [across(p), nano(now.drives[key][k])]) })),
    ],
    marks: mark(now, "force_optimum", "greatest drive", 0),
  });
  const tell = (told, which, text) => make("div", {}, make("span", { class: "soft" }, text), make("strong", {}, told[which].found ? `${pressureText(told[which].pressure_pa, 0)} ${unitOf("pressure")}` : "none inside"), make("span", { class: "soft small" }, told[which].found ? `Kn ${number(told[which].kn, 2)}` : ""));
  byId("optima").replaceChildren(
    tell(now, "optimum", "fastest at"), tell(now, "force_optimum", "greatest drive at"),
    make("div", {}, make("span", { class: "soft" }, "greatest speed"), make("strong", {}, `${speedText(Math.abs(now.optimum.speed_rad_s), 0)} ${unitOf("speed")}`), make("span", { class: "soft small" }, changed && base.optimum.speed_rad_s ? `${number(now.optimum.speed_rad_s / base.optimum.speed_rad_s, 3)} × the bench as it is` : "the bench as it is")));
}
for (const { input } of inputs) input.addEventListener("input", redraw);
byId("gas").addEventListener("change", redraw);
byId("sliders").addEventListener("submit", (event) => event.preventDefault());
byId("back").addEventListener("click", () => { for (const { input, slider } of inputs) input.value = step(slider); byId("gas").selectedIndex = 0; redraw(); });
onUnits(() => { if (result) showStudy(); showWhatIf(); });
redraw();
order(false);
