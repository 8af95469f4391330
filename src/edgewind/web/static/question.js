// The question: the study of the readings. The part "What if" is in whatif.js.
import { Chart } from "/static/chart.js";
import {
  byId,
  dataOf,
  follow,
  cancel,
  inChosenUnits,
  inUnit,
  make,
  number,
  onUnits,
  ordered,
  pressureText,
  progressOf,
  say,
  showProgress,
  trouble,
  unitOf,
} from "/static/common.js";
import { acrossOf, chosenAxis, onAxis, seriesOf, TONES } from "/static/readings.js";
import { compareWith, predictBy } from "/static/whatif.js";

const { slug, experiment, kind, bench, compared, means } = dataOf("data");
const subjects = [{ slug, experiment }, ...compared];

// The study

let study = null,
  result = null,
  running = null,
  wanted = false;
const curve = new Chart(byId("curve"));
const VERDICT_SIGNS = { "ruled out": "✕", sufficient: "●", compatible: "○", contributes: "◐", "cannot tell": "?" };
async function order(fit) {
  const stop = byId("study-stop"),
    choices = [byId("fit"), byId("again")];
  wanted = fit;
  byId("answer").setAttribute("aria-busy", "true");
  byId("study-ended").hidden = stop.hidden = true;
  byId("study-running").hidden = stop.disabled = false;
  byId("study-state").textContent = fit ? "Fitting…" : "Studying…";
  byId("study-progress").removeAttribute("value");
  for (const one of choices) one.disabled = true;
  stop.textContent = `Cancel the ${fit ? "fit" : "study"}`;
  try {
    const job = await ordered("studies", { of: subjects, fit }, (told) => {
      running = told;
      stop.hidden = false;
      byId("study-state").textContent = progressOf(told) + "…";
      showProgress(byId("study-progress"), told);
    });
    if (job.state === "done") {
      study = job;
      study.fitted = fit;
      result = job.result;
      showStudy();
      showStale();
      compareWith(experiments()[0].readings);
      predictBy(experiments()[0].fit ? study.id : "", result.no_fit[0]);
    } else endedWithout(job.state === "cancelled" ? "" : job.problem);
  } catch (error) {
    endedWithout(error.message);
  }
  byId("study-running").hidden = true;
  for (const one of choices) one.disabled = false;
  byId("answer").setAttribute("aria-busy", "false");
}
// Cancelled or failed: the earlier result stays, and the study can be started again.
function endedWithout(problem) {
  const text = problem ? problem + "." : `The ${wanted ? "fit" : "study"} was cancelled.`;
  byId("study-ended").hidden = false;
  byId("study-ended").classList.toggle("bad", Boolean(problem));
  byId("study-ended-text").textContent = text;
  if (!result) {
    byId("mechanisms").replaceChildren(make("p", { class: "soft" }, "Mechanisms are compared once there is a study."));
    curve.show({ x: {}, y: {}, series: [], empty: "The readings are drawn once there is a study of them." });
  }
  say(text);
}
byId("study-anew").addEventListener("click", () => order(wanted));
byId("study-stop").addEventListener("click", () => {
  byId("study-stop").disabled = true;
  cancel("studies", running).catch((error) => {
    byId("study-stop").disabled = false;
    trouble(error.message);
  });
});
const experiments = () => result.summary.experiments ?? [result.summary];

function showStudy() {
  const all = experiments(),
    blocks = [];
  all.forEach((one, index) => {
    if (all.length > 1) blocks.push(make("h3", {}, one.name));
    one.answer.forEach((sentence, row) =>
      blocks.push(make("p", row ? {} : { class: "first" }, inChosenUnits(sentence))),
    );
    const by = one.force_optimum;
    if (by?.found)
      blocks.push(
        make(
          "p",
          {},
          `By the fit the torque is greatest at ${pressureText(by.pressure_pa)} ${unitOf("pressure")} ` +
            `(${pressureText(by.interval_pa[0])} to ${pressureText(by.interval_pa[1])}).`,
        ),
      );
    for (const tension of one.tensions ?? [])
      blocks.push(
        make(
          "p",
          { class: "note" },
          make("strong", {}, `Contradiction, ${tension.about}: `),
          inChosenUnits(`${tension.why} ${tension.resolve}`),
        ),
      );
    for (const warning of one.optimum.warnings)
      blocks.push(make("p", { class: "note" }, "Warning: " + inChosenUnits(warning)));
    if (one.optimum.sweeps?.sentence)
      blocks.push(make("p", { class: "soft" }, inChosenUnits(one.optimum.sweeps.sentence)));
  });
  if (result.summary.comparison)
    blocks.push(
      make("h3", {}, "The two rotors"),
      make("p", {}, inChosenUnits(result.summary.comparison.sentence ?? "")),
    );
  byId("answer-text").replaceChildren(...blocks);
  const spoken = all.map((one) => one.sentences).filter(Boolean);
  byId("said-aloud").hidden = !spoken.length;
  byId("said-aloud-list").replaceChildren(
    ...spoken
      .flatMap((one) => [one.why_it_turns, one.a_larger_one, one.in_the_cold])
      .map((sentence) => make("li", {}, inChosenUnits(sentence))),
  );
  byId("study-ways").hidden = false;
  byId("fit").hidden = study.fitted;
  byId("report").href = `/reports/${study.id}/report.html`;
  byId("report-zip").href = `/reports/${study.id}/all.zip`;
  byId("mechanisms").replaceChildren(
    ...all.flatMap((one) => [all.length > 1 ? make("h3", {}, one.name) : null, mechanisms(one)].filter(Boolean)),
  );
  showCurve();
}
function mechanisms(one) {
  const head = make(
    "tr",
    {},
    ...["mechanism", "verdict", "sign", "size ratio", "interval", "why"].map((name, index) =>
      make("th", { scope: "col", class: index === 3 || index === 4 ? "number" : "" }, name),
    ),
  );
  const body = one.mechanisms.map((claim) =>
    make(
      "tr",
      {},
      make("th", { scope: "row" }, claim.name),
      make(
        "td",
        { "data-title": "verdict" },
        make(
          "strong",
          { class: "verdict" },
          make("span", { "aria-hidden": "true" }, (VERDICT_SIGNS[claim.verdict] ?? "") + " "),
          claim.verdict,
        ),
        make("span", { class: "soft small" }, means[claim.verdict] ?? ""),
      ),
      make(
        "td",
        { "data-title": "sign" },
        claim.sign_ok === null ? "not decided" : claim.sign_ok ? "agrees" : "contradicts",
      ),
      make("td", { class: "number", "data-title": "size ratio" }, number(claim.size_ratio, 2)),
      make(
        "td",
        { class: "number", "data-title": "interval" },
        claim.size_ratio_interval
          ? `${number(claim.size_ratio_interval[0], 2)} to ${number(claim.size_ratio_interval[1], 2)}`
          : "–",
      ),
      make("td", { class: "why", "data-title": "why" }, inChosenUnits(claim.why)),
    ),
  );
  return make(
    "div",
    { class: "scroll stackplace", tabindex: "0", role: "region", "aria-label": "Mechanisms, " + one.name },
    make(
      "table",
      { class: "stacked mechanisms" },
      make(
        "caption",
        { class: "soft" },
        "Sign and size of each candidate; the size is its torque over the torque needed.",
      ),
      make("thead", {}, head),
      make("tbody", {}, ...body),
    ),
  );
}
function showCurve() {
  if (!result) return;
  const axis = chosenAxis("axis"),
    series = [],
    bands = [],
    lines = [],
    marks = [];
  const across = acrossOf(axis, bench);
  let offset = 0;
  experiments().forEach((one, index) => {
    // Each rotor has its own vane; only the first one's width can stand under the common axis of Knudsen numbers.
    const table = result.curves[index],
      own = { ...bench };
    if (table) {
      own.path_at_one_pa_m = table.mean_free_path_m[0] * table.pressure_pa[0];
      own.width_m = table.mean_free_path_m[0] / table.knudsen[0];
    }
    const place = acrossOf(axis, own);
    const rows = one.readings.map((row, k) => ({ ...row, n: k + 1, kn: null }));
    const several = experiments().length > 1,
      made = seriesOf(rows, own, axis, { prefix: several ? one.name + " " : "", offset });
    series.push(...made);
    if (table) {
      const tone = several ? TONES[offset % TONES.length] : "ink",
        speed = (value) => inUnit(value, "speed");
      bands.push({
        tone,
        points: table.pressure_pa.map((p, k) => [
          place.of(p),
          speed(table.speed_low_rad_s[k]),
          speed(table.speed_high_rad_s[k]),
        ]),
      });
      lines.push({
        tone,
        name: several ? one.name + ", the curves that fit" : "the curves that fit",
        points: table.pressure_pa.map((p, k) => [place.of(p), speed(table.speed_rad_s[k])]),
      });
    }
    if (one.optimum.found) {
      const [low, high] = one.optimum.interval_pa.map(place.of);
      marks.push({
        x: place.of(one.optimum.pressure_pa),
        low: Math.min(low, high),
        high: Math.max(low, high),
        words:
          (axis === "pressure"
            ? `${pressureText(one.optimum.pressure_pa)} ${unitOf("pressure")}`
            : number(place.of(one.optimum.pressure_pa), 3)) + (several ? `, ${one.name}` : ""),
        row: index,
        tone: several ? TONES[offset % TONES.length] : "gold",
      });
    }
    offset += made.length;
  });
  curve.show({
    label:
      "Speed against pressure with the curve that fits and the optimum; " +
      experiments()
        .map((one) => one.answer[0])
        .join(" "),
    x: across,
    y: { title: `speed (${unitOf("speed")})` },
    series,
    bands,
    lines,
    marks,
  });
}
onAxis("axis", showCurve);
// Readings were added or set aside since the study: the page reports it and does not repeat the study by itself.
let known = new Map();
function showStale() {
  if (!result) return;
  const studied = experiments()[0].readings;
  const stale =
    known.size > studied.length ||
    (known.size === studied.length &&
      studied.some((row, k) => known.get(k + 1) && known.get(k + 1).used !== row.used));
  byId("again").hidden = !stale;
}
if (kind === "book")
  follow(slug, experiment, {
    rows(all) {
      known = all;
      showStale();
    },
  });
byId("again").addEventListener("click", () => {
  byId("again").hidden = true;
  order(study.fitted);
});
byId("fit").addEventListener("click", () => order(true));
onUnits(() => {
  if (result) showStudy();
});
order(false);
