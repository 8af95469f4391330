// A run through a change: prepared, drawn live with its sign, and marked with one button.
import { Chart } from "/static/chart.js";
import {
  ask,
  byId,
  clearProblems,
  inChosenUnits,
  inUnit,
  keepDraft,
  make,
  number,
  onUnits,
  pathOf,
  say,
  showProblem,
  unitOf,
} from "/static/common.js";
import { confirmed, sayConnected } from "/static/begin-sweep.js";

const ZERO_C = 273.15,
  MOST_POINTS = 700,
  FEW = 60;
// Columns of a row that are drawn: time, speed, envelope, lamp, pressure, note.
const TIME = 0,
  SPEED = 1,
  ENVELOPE = 2,
  NOTE = 5;

// Every row if there are few, else evenly spaced ones: a screen has no more columns.
function thinned(rows) {
  const step = Math.max(1, Math.ceil(rows.length / MOST_POINTS));
  return rows.filter((row, index) => index % step === 0 || index === rows.length - 1);
}
const withUnit = (text) => (text && !/[a-z°]/i.test(text) ? `${text} degC` : text);

// give(name, text): send a command to the recorder of the sweep that is shown.
export function runPanel({ slug, experiment, give }) {
  const at = pathOf(slug, experiment),
    speeds = new Chart(byId("run-speeds"), { title: "Speed against time in the run" }),
    envelopes = new Chart(byId("run-envelopes"), { title: "Temperature of the envelope in the run" });
  let rows = [],
    of = "",
    recorder = "",
    status = null,
    shown = 0, // number of the stored reading that is drawn; zero while it is a live one
    told = 0;

  const running = () => Boolean(status?.running && status.step?.kind === "run");
  const began = () => running() && status.phase === "run";

  // Drawing

  function draw() {
    byId("through-drawing").hidden = !rows.length;
    if (!rows.length) return;
    const end = rows.at(-1)[TIME],
      minutes = end > 600,
      scale = minutes ? 60 : 1,
      across = {
        linear: true,
        title: minutes ? "time (min)" : "time (s)",
        range: [0, Math.max(end, 1) / scale],
      };
    const known = rows.filter((row) => row[SPEED] !== null),
      line = thinned(known).map((row) => [row[TIME] / scale, inUnit(row[SPEED], "speed")]);
    const marks = rows
      .filter((row) => row[NOTE])
      .map((row, index) => ({
        x: row[TIME] / scale || 1e-9,
        words: inChosenUnits(row[NOTE]),
        row: index % 3,
        tone: row[NOTE].startsWith("lamp") ? "gold" : row[NOTE].startsWith("envelope") ? "blue" : "plum",
        dash: true,
      }));
    const turning = known.filter((row) => row[SPEED] !== 0),
      turns = turning.filter((row, index) => index && row[SPEED] * turning[index - 1][SPEED] < 0).length;
    speeds.show({
      label:
        `Speed with its sign against time, ${known.length} moments of ${number(end, 3)} s; ` +
        `now ${known.length ? number(inUnit(known.at(-1)[SPEED], "speed"), 3) + " " + unitOf("speed") : "not known"}` +
        `${turns ? `; it passed zero ${turns === 1 ? "once" : turns + " times"}` : ""}`,
      x: across,
      y: { title: `speed (${unitOf("speed")}), + bright face leads` },
      height: 260,
      series:
        known.length <= FEW
          ? [
              {
                name: "",
                shape: "round",
                tone: "blue",
                points: known.map((row) => ({ x: row[TIME] / scale, y: inUnit(row[SPEED], "speed") })),
              },
            ]
          : [],
      lines: [
        // no line between a few typed speeds: the speed there is unknown
        ...(known.length > FEW ? [{ tone: "blue", wide: true, points: line }] : []),
        {
          tone: "slate",
          dash: "dot",
          points: [
            [0, 0],
            [end / scale, 0],
          ],
        },
      ],
      marks,
      empty: "The first speed will appear here.",
    });
    const warm = thinned(rows.filter((row) => row[ENVELOPE] !== null)).map((row) => [
      row[TIME] / scale,
      row[ENVELOPE] - ZERO_C,
    ]);
    byId("run-envelopes").hidden = !warm.length;
    if (warm.length)
      envelopes.show({
        label: `Temperature of the envelope against time, ${number(warm[0][1], 3)} to ${number(warm.at(-1)[1], 3)} °C`,
        x: across,
        y: { title: "envelope (°C)" },
        height: 190,
        series: [],
        lines: [{ tone: "rust", wide: true, points: warm }],
        marks: marks.map((mark) => ({ ...mark, words: "" })),
      });
    byId("run-marks").replaceChildren(
      ...rows
        .filter((row) => row[NOTE])
        .map((row) => make("li", {}, `${inChosenUnits(row[NOTE])}, at ${number(row[TIME], 4)} s`)),
    );
    const reading = shown || (running() ? null : status?.last_reading);
    byId("run-drawing-title").textContent = reading ? `The run of reading ${reading}` : "The run";
  }

  // State and gestures

  function show() {
    const live = running();
    // The focus is kept when the buttons of a run disappear at its end.
    const held = document.activeElement;
    if (!began() && byId("through-live").contains(held) && held.matches("button")) byId("through-title").focus();
    if (!live && byId("through-live").contains(held)) byId("through-title").focus();
    byId("through-live").hidden = !live;
    byId("run-place")?.toggleAttribute("hidden", Boolean(status?.running));
    if (!live) return;
    const last = rows.at(-1),
      words = !began()
        ? "Getting ready: pressure and lamp as at the start"
        : `${status.message}${last && last[NOTE] === status.message ? ", noted" : ""}`;
    if (byId("through-state").textContent !== words) byId("through-state").textContent = words;
    byId("run-lamp").textContent = status.lamp === "on" ? "Lamp off now" : "Lamp on now";
    for (const id of ["run-lamp", "run-chilled", "run-changed", "run-end"]) byId(id).disabled = !began();
    byId("run-speed").hidden = !status.step.run?.typed;
  }
  async function gesture(name, text, done) {
    try {
      await give(name, text);
      byId("run-live-problem").textContent = "";
      done?.();
    } catch (error) {
      byId("run-live-problem").textContent = error.message + ".";
    }
  }
  byId("run-lamp").addEventListener("click", () => gesture("lamp", status.lamp === "on" ? "off" : "on"));
  byId("run-chilled").addEventListener("click", () => gesture("envelope", withUnit(byId("run-envelope-now").value)));
  byId("run-changed").addEventListener("click", () => gesture("changed", byId("run-other-now").value));
  byId("run-end").addEventListener("click", () => gesture("end", ""));
  for (const [input, button] of [
    ["run-envelope-now", "run-chilled"],
    ["run-other-now", "run-changed"],
  ])
    byId(input).addEventListener("keydown", (event) => {
      if (event.key === "Enter") byId(button).click();
    });
  byId("run-speed").addEventListener("submit", (event) => {
    event.preventDefault();
    gesture("speed", byId("run-speed-now").value, () => {
      byId("run-speed-now").value = "";
      byId("run-speed-now").focus();
    });
  });

  // The form

  const form = byId("run");
  if (form) {
    sayConnected("run-folder");
    const draft = keepDraft(form, "run-" + at);
    if (draft.restored) byId("run-place").open = true; // a half-filled form is seen, not only kept
    const rowOf = (name) => byId("run-" + name).closest(".field");
    const showFields = () => {
      const what = byId("run-what").value,
        wires = byId("run-folder").selectedOptions[0]?.dataset.wires.split(", ") ?? [],
        chills = what === "reversal" || what === "envelope",
        target = Number.parseFloat(byId("run-envelope").value.replace("−", "-"));
      rowOf("when").hidden = what === "mine";
      rowOf("envelope").hidden = !chills;
      rowOf("other").hidden = what !== "other";
      rowOf("envelope_first").hidden = wires.includes("thermometer");
      const from = byId("run-speed_from");
      from.options[0].disabled = !wires.includes("tachometer");
      if (from.options[0].disabled) from.value = "typed";
      byId("run-speed_from-help").textContent = from.options[0].disabled
        ? "This bench has no connected tachometer."
        : "";
      const meets = {
        all: true,
        lamp: true,
        cold: what === "mine" || what === "other" || (chills && !(target > 15)),
        warm: what === "mine" || what === "other" || (chills && target > 30),
        hand: !wires.includes("thermostat") && (what === "mine" || (chills && !(target > 15))),
      };
      for (const item of byId("run-cautions").querySelectorAll("[data-of]")) item.hidden = !meets[item.dataset.of];
    };
    form.addEventListener("change", showFields);
    form.addEventListener("input", showFields);
    showFields();
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      clearProblems(form);
      const button = form.querySelector("button.strong");
      button.disabled = true;
      try {
        const fields = Object.fromEntries(new FormData(form));
        for (const name of ["envelope", "envelope_first"]) fields[name] = withUnit(fields[name].trim());
        const ready = await ask("/api/runs", { ...fields, book: slug, name: experiment });
        const at = `/api/sweeps/${encodeURIComponent(ready.id)}/`;
        if (await confirmed(ready)) {
          await ask(at + "start", {});
          draft.forget();
          byId("through-title").focus(); // the form goes while it runs
          byId("through-title").scrollIntoView();
        } else await ask(at + "drop", {});
      } catch (error) {
        showProblem(form, "run", error);
      }
      button.disabled = false;
    });
  }
  onUnits(draw);
  show();

  return {
    status(message) {
      const ended = status?.running && !message.running;
      status = message;
      show();
      if (ended) draw();
    },
    rows(message) {
      if (message.first === 0 && (message.of !== of || message.run !== recorder)) {
        told = 0;
        rows = [];
      }
      if (message.first > rows.length) return; // rows between are missing: they come whole when the line is new
      of = message.of;
      recorder = message.run;
      rows = [...rows.slice(0, message.first), ...message.rows];
      shown = 0;
      const noted = rows.filter((row) => row[NOTE]);
      if (noted.length > told) say(`${noted.at(-1)[NOTE]}, at ${number(noted.at(-1)[TIME], 3)} s`);
      told = noted.length;
      draw();
      show();
    },
    // Readings of the book: without a live run, the last one among them is drawn.
    async readings(list) {
      const last = list.filter((row) => row.speed_method === "run").at(-1);
      if (!last || last.n === shown || rows.length) return;
      try {
        const found = await ask(`/api/runs/${at}/${last.n}`);
        if (rows.length) return;
        rows = found.rows;
        shown = last.n;
        draw();
      } catch {
        // It stands in the table with its reason.
      }
    },
  };
}
