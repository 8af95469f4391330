// Begin an experiment: fields and text of one bench, a drawing to scale, the predicted curve, and what decides it.
import { Chart } from "/static/chart.js";
import { openSvg } from "/static/figure.js";
import {
  ask,
  byId,
  clearProblems,
  dataOf,
  inUnit,
  keepDraft,
  make,
  number,
  onUnits,
  pathOf,
  pressureText,
  showProblem,
  speedText,
  unitOf,
} from "/static/common.js";

const { faces, template } = dataOf("data"),
  form = byId("begin"),
  text = byId("begin-bench");
const inputs = [...form.querySelectorAll("[data-field]")],
  known = [...form.querySelectorAll("[data-known]")];
const idOf = (key) => "begin-" + key.replace(".", "-");
const curve = new Chart(byId("begin-curve"), { title: "The curve predicted" });
openSvg(
  byId("drawing").parentElement,
  () => byId("drawing"),
  () => "The rotor from above and from the side",
);
let outlook = null,
  before = [],
  resting = 0,
  deciding = 0;

const draft = keepDraft(form, "begin");
if (!draft.restored) {
  for (const [kind, name] of [
    ["pressure", "pressure_unit"],
    ["speed", "speed_unit"],
  ]) {
    const select = byId("begin-" + name);
    if ([...select.options].some((option) => option.value === unitOf(kind))) select.value = unitOf(kind);
  }
}
const book = byId("begin-book"),
  bookRow = byId("begin-new_book").closest(".field");
const showBook = () => {
  bookRow.hidden = book.value !== "";
};
book.addEventListener("change", showBook);
showBook();

// The uncertainty of a quantity: the part of its text after +/-; the rest of the text stays.
const STEPS = ["exactly", "0.5 %", "1 %", "2 %", "5 %", "10 %", "20 %", "50 %", "hardly"];
const PARTS =
  /^\s*([+-]?[\d.]+(?:e[+-]?\d+)?)(?:\((\d+)\))?\s*(?:(?:\+\/-|\u00b1)\s*([\d.]+(?:e[+-]?\d+)?)\s*(%)?)?\s*(.*)$/i;
function knownOf(value) {
  const found = PARTS.exec(value);
  if (!found) return null;
  const size = Math.abs(Number(found[1])),
    decimals = (/\.(\d+)/.exec(found[1]) ?? ["", ""])[1].length;
  let u = 0;
  if (found[2]) u = Number(found[2]) * 10 ** -decimals;
  if (found[3]) u = found[4] ? (size * Number(found[3])) / 100 : Number(found[3]);
  return { number: found[1], unit: found[5], relative: size ? u / size : 0 };
}
const RELATIVE = [0, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1];
function showKnown(range) {
  const input = byId(idOf(range.dataset.known)),
    out = byId(range.id + "-out"),
    found = knownOf(input.value);
  range.disabled = !found;
  if (!found) {
    out.textContent = input.value ? "" : "unknown";
    return;
  }
  const step = found.relative === 0 ? 0 : RELATIVE.findIndex((one) => one >= found.relative * 0.999);
  range.value = step < 0 ? 8 : step;
  out.textContent =
    found.relative === 0 ? "not stated" : "\u00b1 " + number(100 * found.relative, 2) + " %";
  range.setAttribute("aria-valuetext", out.textContent);
}
for (const range of known) {
  range.addEventListener("input", () => {
    const input = byId(idOf(range.dataset.known)),
      found = knownOf(input.value);
    if (!found) return;
    const step = Number(range.value),
      part = step === 0 ? "" : ` +/- ${step === 8 ? "100 %" : STEPS[step]}`;
    input.value = `${found.number}${part}${found.unit ? " " + found.unit : ""}`;
    showKnown(range);
    change({ [range.dataset.known]: input.value });
  });
}

// The text is the record: a field writes its line, and the text writes the fields.
let waiting = 0,
  pending = {},
  pendingGauge = "",
  writing = null,
  again = false;
function change(changes, gauge = "") {
  clearTimeout(resting);
  document.body.dataset.begin = "moving";
  pending = { ...pending, ...changes };
  pendingGauge = gauge || pendingGauge;
  clearTimeout(waiting);
  waiting = setTimeout(write, 200);
}
// One request at a time: a change made before the answer arrives is sent with the next request; none is dropped.
// Resolves to the error of the last one, or null.
function write() {
  clearTimeout(waiting);
  again = true;
  writing ??= (async () => {
    let error = null;
    while (again) {
      again = false;
      error = await writeOnce();
    }
    writing = null;
    return error;
  })();
  return writing;
}
async function writeOnce() {
  const changes = pending,
    gauge = pendingGauge,
    old = text.value;
  pending = {};
  pendingGauge = "";
  let told;
  try {
    told = await ask("/api/bench-form", { bench: old, changes, gauge });
  } catch (error) {
    pending = { ...changes, ...pending };
    pendingGauge ||= gauge;
    if (error.status === 0) {
      byId("begin-problem").textContent = error.message + ".";
      return error;
    }
    const field = error.field && byId(idOf(error.field)) ? idOf(error.field) : "begin-bench";
    byId(field + "-problem").textContent = error.message + ".";
    byId(field).setAttribute("aria-invalid", "true");
    document.body.dataset.begin = "refused";
    return error;
  }
  if (text.value !== old) {
    // The text changed meanwhile: the fields are written into the new text.
    pending = { ...changes, ...pending };
    pendingGauge ||= gauge;
    again = true;
    return null;
  }
  if (told.bench !== old) {
    before.push(old);
    text.value = told.bench;
    draft.save();
  }
  byId("undo").disabled = !before.length;
  // Only errors of the bench are cleared: a reason beside the name stays until the name is sent again.
  for (const input of [...inputs, text]) {
    byId(input.id + "-problem").textContent = "";
    input.removeAttribute("aria-invalid");
  }
  for (const input of inputs) {
    const field = input.dataset.field;
    if (!(field in pending) && (document.activeElement !== input || gauge || !(field in changes)))
      input.value = told.fields[input.dataset.field] ?? "";
  }
  for (const range of known) showKnown(range);
  if (told.refused) {
    const id = byId(idOf(told.refused.field)) ? idOf(told.refused.field) : "begin-bench";
    byId(id + "-problem").textContent = told.refused.problem + (told.refused.fix ? "; " + told.refused.fix : "") + ".";
    byId(id).setAttribute("aria-invalid", "true");
    document.body.dataset.begin = "refused";
    return null;
  }
  outlook = told.outlook;
  show();
  if (Object.keys(pending).length || pendingGauge || again) return null;
  document.body.dataset.begin = "settled";
  decide();
  return null;
}
for (const input of inputs) {
  const take = () => {
    change({ [input.dataset.field]: input.value });
    const range = byId(input.id + "-known");
    if (range) showKnown(range);
  };
  input.addEventListener(input instanceof HTMLSelectElement ? "change" : "input", take);
}
text.addEventListener("input", () => {
  pending = {};
  change({});
});
byId("undo").addEventListener("click", () => {
  text.value = before.pop() ?? text.value;
  pending = {};
  draft.save();
  write();
});
byId("anew").addEventListener("click", () => {
  before.push(text.value);
  text.value = template;
  pending = {};
  draft.save();
  write();
});
for (const side of ["dark", "bright"]) {
  byId("preset-" + side).addEventListener("change", (event) => {
    const face = faces[event.target.value];
    byId(`preset-${side}-source`).textContent = face ? face.source + "." : "";
    if (face)
      change({ [`rotor.${side}_absorptance`]: face.absorptance, [`rotor.${side}_emissivity`]: face.emissivity });
  });
}
byId("preset-gauge").addEventListener("change", (event) => {
  if (event.target.value) change({}, event.target.value);
});

// The drawing

const NS = "http://www.w3.org/2000/svg";
function draw(place, ...shapes) {
  place.replaceChildren(
    ...shapes.map(([tag, attributes, words]) => {
      const made = document.createElementNS(NS, tag);
      for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
      if (words) made.textContent = words;
      return made;
    }),
  );
}
const length = (m) => `${number(1e3 * m, 3)} mm`;
function light(x, y, dx, dy) {
  return [0, 1, 2].map((k) => [
    "path",
    { class: "ray", d: `M${x + (dy ? 14 * (k - 1) : 0)} ${y + (dx ? 14 * (k - 1) : 0)}l${dx} ${dy}` },
  ]);
}
function showDrawing(found) {
  const wide = found.chamber_width_m,
    tall = found.chamber_height_m,
    scale = 220 / Math.max(wide, tall),
    middle = 150;
  const w = found.width_m * scale,
    h = found.height_m * scale,
    arm = found.arm_m * scale,
    r = (wide * scale) / 2;
  const above = [
    ["circle", { cx: middle, cy: middle, r, class: "room" }],
    ["circle", { cx: middle, cy: middle, r: 3, class: "axis" }],
  ];
  for (let k = 0; k < found.vanes; k++) {
    const turn = `rotate(${(360 * k) / found.vanes} ${middle} ${middle})`,
      at = middle + arm;
    above.push(["path", { class: "arm", d: `M${middle} ${middle}H${at + w / 2}`, transform: turn }]);
    above.push(["path", { class: "dark", d: `M${at - w / 2} ${middle - 2.2}h${w}`, transform: turn }]);
    above.push(["path", { class: "bright", d: `M${at - w / 2} ${middle + 2.2}h${w}`, transform: turn }]);
  }
  const beam = found.light === "beam";
  above.push(
    ...(beam
      ? light(8, middle, 34, 0)
      : [
          ...light(8, middle, 20, 0),
          ...light(292, middle, -20, 0),
          ...light(middle, 8, 0, 20),
          ...light(middle, 292, 0, -20),
        ]),
  );
  above.push(
    ["path", { class: "rule", d: `M${middle - r} 288h${2 * r}` }],
    ["text", { x: middle, y: 283, "text-anchor": "middle" }, length(wide)],
  );
  draw(byId("above"), ...above);
  const R = (tall * scale) / 2,
    beside = [
      [
        "rect",
        { x: middle - r, y: middle - R, width: 2 * r, height: 2 * R, rx: Math.min(r, R) * 0.35, class: "room" },
      ],
    ];
  beside.push(
    ["path", { class: "arm", d: `M${middle} ${middle}V${middle + R * 0.9}` }],
    ["path", { class: "arm", d: `M${middle - arm} ${middle}H${middle + arm}` }],
  );
  for (const [side, face] of [
    [-1, "darkface"],
    [1, "brightface"],
  ]) {
    const x = middle + side * arm;
    if (found.shape === "disc") beside.push(["ellipse", { cx: x, cy: middle, rx: w / 2, ry: h / 2, class: face }]);
    else if (found.shape === "diamond")
      beside.push([
        "path",
        { class: face, d: `M${x} ${middle - h / 2}l${w / 2} ${h / 2}l${-w / 2} ${h / 2}l${-w / 2} ${-h / 2}Z` },
      ]);
    else beside.push(["rect", { x: x - w / 2, y: middle - h / 2, width: w, height: h, class: face }]);
  }
  beside.push(["text", { x: middle, y: 14, "text-anchor": "middle" }, `${length(tall)} high`]);
  draw(byId("beside"), ...beside);
  byId("drawing").setAttribute(
    "aria-label",
    `To scale: ${found.vanes} vanes, ${length(found.width_m)} wide and ${length(found.height_m)} high, on arms of ` +
      `${length(found.arm_m)} in a room ${length(wide)} wide and ${length(tall)} high`,
  );
  const cold =
    found.envelope_k !== null && Math.abs(found.envelope_k - found.gas_k) > 1
      ? ` The envelope is ${number(Math.abs(found.envelope_k - found.gas_k), 2)} K ` +
        `${found.envelope_k < found.gas_k ? "colder" : "warmer"} than the gas.`
      : "";
  byId("scale-words").textContent =
    `From above and from the side, to one scale; light ${beam ? "from one side" : "from all sides"}.${cold}`;
}
function show() {
  if (!outlook) return;
  showDrawing(outlook.drawing);
  byId("begin-cautions").replaceChildren(...outlook.cautions.map((text) => make("li", {}, text)));
  const told = outlook.predicted;
  if (!told) {
    byId("begin-optima").replaceChildren(make("p", { class: "note" }, outlook.no_prediction));
    return;
  }
  const across = (pa) => inUnit(pa, "pressure"),
    speed = (y) => inUnit(y, "speed"),
    found = told.optimum.found;
  const one = (words, value, more) =>
    make(
      "div",
      {},
      make("span", { class: "soft" }, words),
      make("strong", {}, value),
      make("span", { class: "soft small" }, more),
    );
  byId("begin-optima").replaceChildren(
    one(
      "fastest at",
      found ? `${pressureText(told.optimum.pressure_pa, 0)} ${unitOf("pressure")}` : "none in range",
      found ? `Kn ${number(told.optimum.kn, 2)}` : "",
    ),
    one(
      "greatest speed",
      `${speedText(Math.abs(told.optimum.speed_rad_s), 0)} ${unitOf("speed")}`,
      "as described",
    ),
    one("Knudsen numbers", `${number(told.kn[0], 2)} to ${number(told.kn.at(-1), 2)}`, "over the curve below"),
  );
  curve.show({
    label:
      `Predicted speed against pressure, greatest at ${number(across(told.optimum.pressure_pa), 3)} ` +
      `${unitOf("pressure")}`,
    height: innerHeight < 900 ? 200 : 260,
    x: {
      title: `pressure (${unitOf("pressure")})`,
      range: [across(told.pressure_pa[0]), across(told.pressure_pa.at(-1))].sort((a, b) => a - b),
    },
    y: { title: `speed (${unitOf("speed")})` },
    series: [],
    lines: [
      { tone: "blue", wide: true, points: told.pressure_pa.map((p, k) => [across(p), speed(told.speed_rad_s[k])]) },
    ],
    marks: found ? [{ x: across(told.optimum.pressure_pa), words: "fastest", row: 0 }] : [],
  });
}
function decide() {
  clearTimeout(resting);
  resting = setTimeout(askDeciding, 700);
}
async function askDeciding() {
  const mine = ++deciding;
  let told;
  try {
    told = await ask("/api/bench-decides", { bench: text.value });
  } catch {
    return;
  }
  if (mine !== deciding) return;
  byId("deciding").replaceChildren(
    ...told.deciding.map((one) =>
      make(
        "li",
        {},
        make(
          "a",
          {
            href: "#" + idOf(one.key),
            onclick: (event) => {
              event.preventDefault();
              byId(idOf(one.key)).focus();
            },
          },
          one.label,
        ),
        one.sentence.slice(one.label.length).replaceAll("+/-", "\u00b1") + ".",
      ),
    ),
  );
  if (!told.deciding.length)
    byId("deciding").replaceChildren(
      make(
        "li",
        { class: "soft" },
        "No stated or unknown value changes the prediction by more than 2 %.",
      ),
    );
}
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const refused = Object.keys(pending).length || pendingGauge || writing ? await write() : null;
  clearProblems(form);
  try {
    if (refused) {
      // The text lacks the content of a field: no experiment is begun without it.
      if (refused.status) refused.field = (refused.field ?? "bench").replace(".", "-");
      throw refused;
    }
    const made = await ask("/api/experiments", Object.fromEntries(new FormData(form)));
    draft.forget();
    location.href = "/bench/" + pathOf(made.slug, made.experiment);
  } catch (error) {
    if (error.field === "bench") byId("text-place").open = true;
    showProblem(form, "begin", error);
  }
});
onUnits(show);
write();
