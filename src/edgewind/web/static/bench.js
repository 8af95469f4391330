// At the bench: present state, stored readings, next step; typed readings; control of the sweep.
import { Chart } from "/static/chart.js";
import {
  ask,
  byId,
  clearProblems,
  dataOf,
  follow,
  inChosenUnits,
  inUnit,
  keepDraft,
  make,
  number,
  onUnits,
  pathOf,
  remember,
  remembered,
  say,
  showProblem,
  speedText,
  trouble,
  unitOf,
} from "/static/common.js";
import { acrossOf, chosenAxis, fillTable, notLoaded, onAxis, seriesOf } from "/static/readings.js";
import { asideButton } from "/static/aside.js";
import { begin } from "/static/begin-sweep.js";
import { openSvg } from "/static/figure.js";
import { drawTrace, dropZone } from "/static/files.js";
import { quickMarks } from "/static/quick.js";
import { runPanel } from "/static/run.js";
import { makeSheet } from "/static/sheet.js";

const here = dataOf("data"),
  { slug, experiment } = here,
  at = pathOf(slug, experiment);
let bench = here.bench,
  rows = new Map(),
  status = null,
  fresh = new Set(),
  proposal = null;
const chart = new Chart(byId("curve")),
  ways = asideButton(slug, experiment);
const ordered = () => [...rows.values()].sort((a, b) => a.n - b.n);

// Now

const WORDS = {
  ready: "ready",
  setting: "setting the pressure",
  settling: "settling",
  reading: "taking the reading",
  storing: "storing",
  "coast-down": "coasting down, lamp off",
  run: "recording a run",
  paused: "paused",
  asking: "waiting for you",
  finished: "finished",
  stopped: "stopped",
  failed: "ended by a fault",
  lost: "the recorder disconnected unexpectedly",
};
const big = (value, kind, digits) =>
  value === null || value === undefined ? "–" : number(inUnit(value, kind), digits);

function gaugeText(text) {
  const value = Number.parseFloat(text),
    unit = text.split(" ")[1] ?? (bench.gauge === "display" ? "" : "V");
  return Number.isFinite(value) ? `${number(value, 4)}\u00a0${unit}` : text;
}
function showNow() {
  const last = ordered().at(-1),
    live = status?.running;
  const pressure = live ? status.pressure_pa : (last?.pressure_pa ?? null),
    speed = live ? status.speed_rad_s : (last?.speed_rad_s ?? null);
  const flag = live ? status.pressure_flag : last?.pressure_flag;
  byId("now-pressure").textContent = flag || big(pressure, "pressure", 3);
  byId("now-pressure").classList.toggle("flag", Boolean(flag));
  byId("now-speed").textContent = big(speed, "speed", 4);
  // An unknown value is shown by a light dash, which is not mistaken for a digit.
  for (const kind of ["pressure", "speed"])
    byId("now-" + kind).classList.toggle("none", byId("now-" + kind).textContent === "–");
  const kn = pressure ? bench.path_at_one_pa_m / pressure / bench.width_m : null;
  byId("now-pressure-more").textContent = kn
    ? `Kn ${number(kn, 2)}, free path ${number(1e3 * kn * bench.width_m, 2)} ` +
      `mm${live && status.gauge ? ", gauge " + gaugeText(status.gauge) : ""}`
    : " ";
  byId("now-speed-more").textContent = live
    ? " "
    : last
      ? `reading ${last.n}` +
        (last.speed_u_rad_s ? `, ± ${number(inUnit(last.speed_u_rad_s, "speed"), 2)} ${unitOf("speed")}` : "")
      : " ";
  const found = live ? status.steadiness : null,
    word = byId("now-steady");
  word.textContent = !live ? "not monitored" : !found ? "moving" : found.steady ? "steady" : "not yet";
  word.className = "digits word " + (found?.steady ? "good" : live ? "wait" : "idle");
  for (const kind of ["pressure", "speed"]) {
    const drift = found?.[kind],
      meter = byId("steady-" + kind);
    meter.value = !drift ? 0 : drift.steady ? 1 : drift.bound ? Math.min(drift.margin / drift.bound, 0.98) : 0.02;
    meter.title = drift?.bound
      ? `drift over a dwell below ${number(100 * drift.bound, 2)} %, allowed ${number(100 * drift.margin, 2)} %`
      : "no data yet";
    meter.textContent = meter.title;
  }
  byId("now-steady-more").textContent = found
    ? `observed for ${number(found.watched_s, 2)} s`
    : live
      ? " "
      : "no sweep is running";
  const named = WORDS[status?.phase] ?? status?.phase,
    message = status?.message && status.message !== status.step?.words ? status.message : "";
  const phase = !status
    ? "No sweep is running here."
    : live
      ? named + (message && ": " + message)
      : `The sweep has ended: ${message.startsWith(named) ? message : named + (message && ", " + message)}`;
  // It is read aloud when it changes.
  if (byId("phase-text").textContent !== phase) byId("phase-text").textContent = phase;
  byId("lampmark").className = "lampmark " + (live && status.lamp === "on" ? "on" : "");
  byId("phase").dataset.phase = status?.phase ?? "none";
}

// The sweep

function showSteer() {
  const live = Boolean(status?.running);
  byId("steer-running").hidden = !live;
  byId("steer-idle").hidden = live;
  if (live) {
    const step = status.step;
    const text = step
      ? `Step ${Math.min(status.done + 1, status.total)} of ${status.total}: ` +
        `${step.kind} at ` +
        (step.pressure_pa
          ? `${number(inUnit(step.pressure_pa, "pressure"), 3)} ${unitOf("pressure")}`
          : "the present pressure") +
        `${step.direction ? ", " + step.direction : ""}`
      : "Getting ready";
    const left = status.time_left_s
      ? `; about ` +
        (status.time_left_s < 90
          ? number(status.time_left_s, 2) + " s"
          : number(status.time_left_s / 60, 2) + " min") +
        " left"
      : "";
    if (byId("steer-step").textContent !== text + left) byId("steer-step").textContent = text + left;
    byId("steer-progress").max = Math.max(status.total, 1);
    byId("steer-progress").value = status.done;
    byId("steer-by").hidden = !status.by;
    byId("steer-by").textContent = status.by
      ? `Started by ${status.by} on this machine; it receives every command given here.`
      : "";
    // The focus moves from a button that disappears to the one that replaces it.
    const paused = status.phase === "paused",
      [gone, come] = paused ? [byId("pause"), byId("resume")] : [byId("resume"), byId("pause")],
      focused = document.activeElement === gone;
    come.hidden = false;
    if (focused) come.focus();
    gone.hidden = true;
    const question = byId("question");
    question.hidden = !status.question;
    if (status.question && byId("question-text").textContent !== status.question) {
      byId("question-text").textContent = status.question;
      byId("answer-text").value = "";
      // The focus does not leave a field in which a person is typing.
      const at = document.activeElement;
      const typing = at?.matches("input:not([type=radio]), textarea") && at.value !== "";
      if (typing || at?.closest("dialog")) say(status.question);
      else byId("answer-text").focus();
    }
    if (!status.question) byId("question-text").textContent = "";
  } else byId("question").hidden = true;
  const target =
    live && status.step?.pressure_pa
      ? { pressure_pa: status.step.pressure_pa, why: status.step.why || "in the given order" }
      : proposal;
  byId("next").textContent = target?.pressure_pa
    ? `${number(inUnit(target.pressure_pa, "pressure"), 3)} ${unitOf("pressure")}`
    : proposal === null
      ? "–"
      : inChosenUnits(proposal);
  byId("next-why").textContent = inChosenUnits(target?.why);
}
// A command names the step that is shown: if it arrives too late, it is refused and does not act on the next step.
function give(name, text = "") {
  const of = { skip: status.step?.number, repeat: status.last_reading, answer: status.asked }[name] ?? null;
  return ask(`/api/sweeps/${encodeURIComponent(status.id)}/${name}`, { text, run: status.run, of });
}
function refuse(text) {
  if (byId("steer-problem").textContent !== text) byId("steer-problem").textContent = text;
}
async function command(name, text = "") {
  try {
    await give(name, text);
    refuse("");
  } catch (error) {
    refuse(error.message + ".");
  }
}
for (const button of document.querySelectorAll("[data-command]")) {
  button.addEventListener("click", () => {
    command(button.dataset.command);
  });
}
byId("note").addEventListener("submit", async (event) => {
  event.preventDefault();
  clearProblems(byId("note"));
  try {
    await give("note", byId("note-text").value);
    byId("note-text").value = "";
    say("Noted.");
  } catch (error) {
    byId("note-problem").textContent = error.message + ".";
  }
});
const answer = () => {
  command("answer", byId("answer-text").value);
};
byId("answer-send").addEventListener("click", answer);
byId("answer-text").addEventListener("keydown", (event) => {
  if (event.key === "Enter") {
    event.preventDefault();
    answer();
  }
});
byId("go-on").addEventListener("click", async () => {
  try {
    if (await begin({ resume: true, folder: byId("sweep-folder")?.value ?? "", book: slug, name: experiment }))
      byId("waiting").hidden = true;
  } catch (error) {
    trouble(error.message);
  }
});

// Readings

function showRows() {
  if (here.readings && !rows.size) return; // they are being loaded
  const list = ordered(),
    axis = chosenAxis("axis"),
    target = status?.running && status.step ? status.step : proposal;
  const across = acrossOf(axis, bench);
  chart.show({
    label:
      `Speed against ` +
      `${axis === "kn" ? "Knudsen number" : axis === "path" ? "mean free path" : "pressure"}, ${list.length} ` +
      `readings so far; the latest are in the table below`,
    x: across,
    y: { title: `speed (${unitOf("speed")})` },
    series: seriesOf(list, bench, axis, { fresh }),
    empty: "The first reading will appear here.",
    marks: target?.pressure_pa ? [{ x: across.of(target.pressure_pa), tone: "blue", dash: true, words: "next" }] : [],
  });
  fillTable(byId("readings").tBodies[0], list.slice(-12).reverse(), ways);
}
let traced = 0,
  tracing = 0,
  drawnTrace = null,
  traceTools = null;
// The drawing changes with each trace; the button that opens it stays and keeps the focus.
function showDrawn(...parts) {
  if (!drawnTrace) {
    drawnTrace = make("div");
    byId("trace").replaceChildren(drawnTrace);
    const find = () => drawnTrace.querySelector("svg");
    traceTools = openSvg(drawnTrace, find, () => find()?.getAttribute("aria-label") ?? "The last trace");
  }
  drawnTrace.replaceChildren(...parts);
  traceTools.name();
}
function showTrace() {
  clearTimeout(tracing);
  tracing = setTimeout(fetchTrace, 120);
}
async function fetchTrace() {
  const last = ordered()
    .filter((row) => row.trace)
    .at(-1);
  if (!last || last.n === traced) return;
  traced = last.n;
  try {
    const found = await ask(`/api/trace/${at}/${last.n}`);
    if (!found.whole) return;
    showDrawn(
      drawTrace(
        found,
        found.turns
          ? `Three turns from the middle of the trace of reading ${last.n}`
          : `The whole trace of reading ${last.n}`,
      ),
      make(
        "p",
        { class: "soft small" },
        found.turns
          ? `Reading ${last.n}: three turns, ${number(found.turns_seconds, 3)} s, of ${number(found.seconds, 3)} s; ` +
              `${speedText(last.speed_rad_s, last.speed_u_rad_s)} ${unitOf("speed")}` +
              (last.speed_flags ? "; " + last.speed_flags : "")
          : `Reading ${last.n}: the whole of ${number(found.seconds, 3)} s` +
              (last.speed_flags ? "; " + last.speed_flags : ""),
      ),
    );
  } catch {
    traced = 0;
  }
}
let asking = 0;
// No pressure below the lowest that the pump reached is requested, unless the person states that the pump reaches
// lower.
const lowest = byId("next-lowest");
lowest.value = remembered("lowest-" + at, "");
lowest.addEventListener("change", () => {
  remember("lowest-" + at, lowest.value.trim());
  askNext();
});
async function askNext() {
  // A running sweep states its next step itself.
  if (status?.running) return;
  clearTimeout(asking);
  asking = setTimeout(async () => {
    const typed = lowest.value.trim(),
      stated = typed && !/[a-z]/i.test(typed) ? `${typed} ${unitOf("pressure")}` : typed;
    try {
      const told = await ask(`/api/next/${at}?` + new URLSearchParams(stated ? { lowest: stated } : {}));
      proposal = told.pressure_pa ? told : (told.sentence ?? null);
      byId("next-lowest-problem").textContent = "";
    } catch (error) {
      proposal = null;
      if (error.field === "lowest") byId("next-lowest-problem").textContent = error.message + ".";
    }
    showSteer();
    showRows();
  }, 150);
}

// Typed

const hand = byId("hand");
if (hand) {
  const first = byId("hand-pressure"),
    draft = keepDraft(hand, "hand-" + at);
  const entry = () =>
    crypto.randomUUID?.() ?? [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16)).join("");
  let key = entry(),
    sending = false,
    sure = "",
    lastSaid = "";
  const labels = (select, label, words) => {
    const chosen = byId(select)?.selectedOptions[0];
    if (chosen) byId(label).textContent = `${words(chosen.value)}, ${chosen.dataset.unitOf}`;
  };
  const showLabels = () => {
    labels("hand-pressure_as", "hand-pressure-label", (value) => (value === "gauge" ? "Gauge" : "Pressure"));
    labels("hand-speed_as", "hand-speed-label", (value) => (value === "speed" ? "Speed" : "Time of one turn"));
  };
  // Enter stores from every field, from a choice as well.
  hand.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && event.target instanceof HTMLSelectElement) {
      event.preventDefault();
      hand.requestSubmit();
    }
  });
  for (const name of ["hand-pressure_as", "hand-speed_as"]) byId(name)?.addEventListener("change", showLabels);
  showLabels();
  hand.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (sending) return;
    sending = true;
    clearProblems(hand);
    try {
      const body = { ...Object.fromEntries(new FormData(hand)), key },
        said = JSON.stringify(body);
      lastSaid = said;
      const told = await ask("/api/readings/" + at, { ...body, sure: sure === said });
      key = entry();
      byId("hand-stored").textContent = `Reading ${told.reading} is stored.`;
      for (const name of ["hand-pressure", "hand-speed", "hand-note"]) byId(name).value = "";
      draft.save();
      first.focus();
    } catch (error) {
      byId("hand-stored").textContent = "";
      if (error.doubt) sure = lastSaid;
      showProblem(hand, "hand", error);
    }
    sending = false;
  });
  const elsewhere =
    document.activeElement instanceof HTMLInputElement || document.activeElement instanceof HTMLSelectElement;
  if (!here.sweep.running && !location.hash && !elsewhere) first.focus({ preventScroll: true });
}

// A lamp that is off stays off for the next reading; the button states it.
if (hand) {
  const lamp = byId("hand-lamp"),
    button = byId("hand-store");
  const show = () => {
    button.textContent = lamp.value === "on" ? "Store" : `Store, lamp ${lamp.value}`;
  };
  lamp.addEventListener("change", show);
  show();
  quickMarks();
}
if (here.form) dropZone(here, here.form.speed ? makeSheet(here) : { add() {} });

// What happened

const seen = new Set();
let lastRun = null;
function newRun(run) {
  if (run !== lastRun) {
    seen.clear();
    refuse("");
    lastRun = run;
  }
} // each counts its events from one
function happened(events) {
  const list = byId("events");
  for (const event of events) {
    if (seen.has(event.number) || !event.text) continue;
    seen.add(event.number);
    const words = " " + inChosenUnits(event.text);
    // Of a step and its phases, which have the same words, one line in a row is enough.
    if (list.firstChild?.lastChild.textContent === words) continue;
    list.prepend(
      make(
        "li",
        { class: "event-" + event.what },
        make("time", { datetime: event.time, class: "soft" }, /T(\d\d:\d\d:\d\d)/.exec(event.time)?.[1] ?? ""),
        words,
      ),
    );
    if (event.what === "stored") say(event.text + " stored");
  }
  while (list.children.length > 60) list.lastChild.remove();
}

onAxis("axis", showRows);
onUnits(() => {
  showNow();
  showSteer();
  showRows();
  traced = 0;
  showTrace();
});
const through = runPanel({ slug, experiment, give });
let lastStep = "";
follow(slug, experiment, {
  bench(found) {
    bench = found;
  },
  rows(all, { fresh: added, whole, changed }) {
    rows = all;
    if (!whole && added.length && added.length < 4) {
      const recent = added.filter((row) => Date.now() - Date.parse(row.made_at) < 20000);
      if (recent.length) fresh = new Set(recent.map((row) => row.n));
      // Time at which each one appeared here, to measure the delay of a page.
      for (const row of added) document.body.dataset["seen" + row.n] = String(Date.now() - Date.parse(row.made_at));
    }
    showNow();
    showRows();
    showTrace();
    through.readings(ordered());
    if (whole || changed.length) askNext();
  },
  missing: notLoaded,
  status(told) {
    newRun(told.run);
    const ended = status?.running && !told.running;
    status = told;
    through.status(told);
    this.problem = told.problem ?? ""; // it stays until a message of the sweep replaces it
    trouble(this.troubled || this.problem);
    showNow();
    showSteer();
    const step = `${told.step?.number}${told.running}`;
    if (step !== lastStep) {
      lastStep = step;
      refuse("");
      showRows();
    }
    if (ended) {
      byId("waiting").hidden = told.phase === "finished" || told.done >= told.total; // from here it can be resumed
      byId("waiting-text").textContent = `The sweep was interrupted: ${told.done} of ${told.total} steps are done.`;
      say("The sweep has ended: " + (WORDS[told.phase] ?? told.phase));
      askNext();
    }
  },
  run(told) {
    newRun(told.run);
    through.rows(told);
  },
  events(told) {
    newRun(told.run);
    happened(told.events);
  },
});
showNow();
showSteer();
showRows();
