// Common to all pages: stored units and colour scheme, numbers as text, requests to the server, dialogs, live rows.

export const byId = (id) => document.getElementById(id);
export const dataOf = (id) => {
  const found = byId(id);
  return found ? JSON.parse(found.textContent) : null;
};
const SIZES = dataOf("units");
const KINDS = { pressure: "pressure", speed: "angular speed" };
const listeners = new Set();

export function remembered(name, fallback) {
  try {
    return localStorage.getItem("edgewind-" + name) ?? fallback;
  } catch {
    return fallback;
  }
}
export function remember(name, value) {
  try {
    localStorage.setItem("edgewind-" + name, value);
  } catch {
    /* nothing is kept then */
  }
}

// Units

// Those chosen at the side last; before any choice those that the bench of this page states.
const units = {},
  stated = dataOf("data")?.bench?.units ?? {};
for (const kind of Object.keys(KINDS)) {
  const known = Object.keys(SIZES[KINDS[kind]]);
  const kept = remembered("unit-" + kind, stated[kind] ?? known[0]);
  units[kind] = known.includes(kept) ? kept : known[0];
}
export const unitOf = (kind) => units[kind];
export const inUnit = (value, kind) => value / SIZES[KINDS[kind]][units[kind]];
export function onUnits(listener) {
  listeners.add(listener);
}
function showUnits() {
  for (const place of document.querySelectorAll("[data-unit]")) place.textContent = units[place.dataset.unit];
  for (const listener of listeners) listener();
}
for (const kind of Object.keys(KINDS)) {
  const select = byId("unit-" + kind);
  select.value = units[kind];
  select.addEventListener("change", () => {
    units[kind] = select.value;
    remember("unit-" + kind, select.value);
    showUnits();
  });
}
const theme = byId("theme");
theme.value = remembered("theme", "");
theme.addEventListener("change", () => {
  remember("theme", theme.value);
  if (theme.value) document.documentElement.dataset.theme = theme.value;
  else delete document.documentElement.dataset.theme;
});
window.addEventListener("storage", (event) => {
  if (event.key === "edgewind-theme") {
    theme.value = event.newValue ?? "";
    if (theme.value) document.documentElement.dataset.theme = theme.value;
    else delete document.documentElement.dataset.theme;
  }
  for (const kind of Object.keys(KINDS)) {
    if (event.key === "edgewind-unit-" + kind && event.newValue in SIZES[KINDS[kind]]) {
      units[kind] = byId("unit-" + kind).value = event.newValue;
      showUnits();
    }
  }
});
document.querySelector("form.wear").addEventListener("submit", (event) => event.preventDefault());
for (const place of document.querySelectorAll("[data-unit]")) place.textContent = units[place.dataset.unit];

// Numbers

const SUPER = { "-": "⁻", 0: "⁰", 1: "¹", 2: "²", 3: "³", 4: "⁴", 5: "⁵", 6: "⁶", 7: "⁷", 8: "⁸", 9: "⁹" };
export const power = (exponent) => "10" + [...String(exponent)].map((sign) => SUPER[sign]).join("");
const minus = (text) => text.replace("-", "−");
const exponentOf = (value) => Number(value.toExponential().split("e")[1]);
const tenTo = (exponent) => Number("1e" + exponent); // 10 ** exponent may miss its last digit
// Rounded as Python rounds, and so the report: to the even digit where the value lies exactly between two.
function rounded(value, digits) {
  const [exact, exponent] = value.toExponential(digits + 50).split("e"),
    cut = exact.indexOf(".") + digits,
    kept = exact.slice(0, cut).replace(/\.$/, "");
  const even = /^50*$/.test(exact.slice(cut)) && "02468".includes(kept.at(-1));
  return even ? kept + "e" + exponent : value.toExponential(digits - 1);
}
function fixed(value, decimals) {
  const digits = value === 0 ? 0 : exponentOf(value) + 1 + decimals;
  return (digits > 0 ? Number(rounded(value, digits)) : value).toFixed(decimals);
}
const whole = (value) => (Math.abs(value) === 0.5 ? 0 : Number(fixed(value, 0)));
// A number as `edgewind.formatting.format_number` writes it, final zeros kept, exponents raised as in print.
export function number(value, digits = 3) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  if (value === 0) return "0";
  const text = rounded(value, digits),
    [mantissa, raised] = text.split("e"),
    exponent = Number(raised);
  if (exponent >= -3 && exponent < 6) return minus(Number(text).toFixed(Math.max(digits - 1 - exponent, 0)));
  return minus(mantissa) + " × " + power(exponent);
}
// A value with its standard uncertainty in brackets, in units of the last digit, as `format_measured` writes it; three
// digits of a value without one.
export function measured(value, u) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  if (!u || !Number.isFinite(u)) return number(value, 3);
  const exponent = exponentOf(u);
  const decimals = (u / tenTo(exponent) < 2.95 ? 1 : 0) - exponent;
  const size = Math.abs(value);
  if (size >= 1e5 || (size < 1e-3 && u < 1e-3)) {
    const raised = exponentOf(Math.max(size, u));
    return measured(value / tenTo(raised), u / tenTo(raised)) + " × " + power(raised);
  }
  if (decimals <= 0) {
    const step = tenTo(-decimals);
    return minus(String(whole(value / step) * step)) + "(" + whole(u / step) * step + ")";
  }
  return minus(fixed(value, decimals)) + "(" + whole(u * tenTo(decimals)) + ")";
}
export const pressureText = (value, u) =>
  measured(value === null ? null : inUnit(value, "pressure"), u ? inUnit(u, "pressure") : 0);
export const speedText = (value, u) =>
  measured(value === null ? null : inUnit(value, "speed"), u ? inUnit(u, "speed") : 0);

// Sentences of a study are written in Pa and rad/s; the page converts them to the chosen units and keeps the number of
// digits.
const RAISED = { "⁻": "-", "⁰": 0, "¹": 1, "²": 2, "³": 3, "⁴": 4, "⁵": 5, "⁶": 6, "⁷": 7, "⁸": 8, "⁹": 9 };
const NUMBER = "\\d+(?:\\.\\d+)?(?:\\s?×\\s?10[⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+)?";
const SENTENCES = {
  pressure: new RegExp(
    `(${NUMBER})(?:( to | and |, )(${NUMBER}))?[ \u00a0]Pa(?![\\w·²]| m[³²^])` +
      `(?: \\((${NUMBER}(?: to ${NUMBER})?) mTorr\\))?`,
    "g",
  ),
  speed: new RegExp(`(${NUMBER})(?:( to | and |, )(${NUMBER}))?[ \u00a0]rad/s(?!²)`, "g"),
};
const SI_NAME = { pressure: "Pa", speed: "rad/s" };
function reread(words) {
  const [mantissa, exponent = ""] = words.split(/\s?×\s?10/);
  const digits = mantissa.replace(".", "").replace(/^0+/, "").length || 1;
  return { value: Number(mantissa) * 10 ** Number([...exponent].map((sign) => RAISED[sign]).join("") || 0), digits };
}
export function inChosenUnits(text) {
  // A hyphen before a number is a minus sign.
  let said = (text ?? "").replace(/(^|[\s(])-(?=\d)/g, "$1−");
  for (const kind of Object.keys(SENTENCES)) {
    if (units[kind] === SI_NAME[kind]) continue;
    said = said.replace(SENTENCES[kind], (whole, first, between, second, inTorr) => {
      // What the sentence itself gives in that unit is not rounded a second time.
      if (units[kind] === "mTorr" && typeof inTorr === "string") return `${inTorr} mTorr`;
      const one = (words) => {
        const { value, digits } = reread(words);
        return number(inUnit(value, kind), Math.max(digits, 2));
      };
      return `${one(first)}${second === undefined ? "" : between + one(second)} ${units[kind]}`;
    });
  }
  return said;
}

// Elements

export function make(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "class") made.className = value;
    else if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value !== false && value !== null && value !== undefined)
      made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}
export function say(text) {
  byId("said").textContent = "";
  requestAnimationFrame(() => {
    byId("said").textContent = text;
  });
}
export function trouble(text) {
  const place = byId("trouble");
  place.hidden = !text;
  if (place.textContent !== text) place.textContent = text;
}

// Asking the server

export class Refused extends Error {
  constructor(status, told) {
    super(told.problem + (told.fix ? "; " + told.fix : ""));
    this.status = status;
    this.field = told.field ?? null;
    this.line = told.line ?? null;
    this.doubt = Boolean(told.doubt);
  }
}
export async function ask(address, body) {
  const options =
    body === undefined
      ? {}
      : {
          method: "POST",
          headers: { "content-type": "application/json" },
          body: JSON.stringify(body),
        };
  let answer;
  try {
    answer = await fetch(address, options);
  } catch {
    throw new Refused(0, {
      problem: "The server does not answer",
      fix: "what was sent may not be stored: check that the server runs, then send it again",
    });
  }
  let told;
  try {
    told = await answer.json();
  } catch {
    told = { problem: (await answer.text?.().catch(() => "")) || "the server answered with " + answer.status };
  }
  if (!answer.ok) throw new Refused(answer.status, told);
  return told;
}
// Long jobs: start one, follow its progress, and fetch its result or error at the end. The longer a job has lasted,
// the less often it is polled, so that the wait stays short relative to the job.
export async function ordered(kind, body, tell) {
  let job = await ask("/api/" + kind, body),
    wait = 100;
  while (job.state === "waiting" || job.state === "running") {
    tell?.(job);
    await new Promise((done) => setTimeout(done, wait));
    wait = Math.min(1.25 * wait, 600);
    job = await ask(`/api/${kind}/${job.id}`);
  }
  return job;
}
export const cancel = (kind, job) => ask(`/api/${kind}/${job.id}/cancel`, {});
export const progressOf = (job) => job.what[0].toUpperCase() + job.what.slice(1);
export function showProgress(bar, job) {
  if (job.total > 1) {
    bar.max = job.total;
    bar.value = job.done;
  } else bar.removeAttribute("value");
}
export const pathOf = (slug, experiment) => encodeURIComponent(slug) + "/" + encodeURIComponent(experiment);

// Forms: a reason stands beside its field

export function clearProblems(form) {
  for (const place of form.querySelectorAll(".problem")) place.textContent = "";
  for (const input of form.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
}
export function showProblem(form, prefix, error) {
  const place = error.field ? byId(prefix + "-" + error.field + "-problem") : null;
  const input = error.field ? byId(prefix + "-" + error.field) : null;
  (place ?? byId(prefix + "-problem")).textContent = error.message + ".";
  if (!input) return;
  input.setAttribute("aria-invalid", "true");
  input.focus();
  // Nothing is selected, so that no key destroys typed text; in a long text the cursor goes to the line named.
  if (error.line && input instanceof HTMLTextAreaElement) {
    const before = input.value
        .split("\n")
        .slice(0, error.line - 1)
        .join("\n"),
      at = before.length + (before ? 1 : 0);
    input.setSelectionRange(at, at);
    const height = parseFloat(getComputedStyle(input).lineHeight) || 20;
    input.scrollTop = Math.max(0, (error.line - 4) * height);
  }
}

// Drafts: text typed into a form survives a reload, a closed window and the end of the server

export function keepDraft(form, name) {
  const key = "edgewind-draft-" + name;
  const fields = () => [...form.elements].filter((one) => one.name && one.type !== "file");
  const write = () => {
    const found = {};
    for (const one of fields()) {
      if (one.type === "checkbox" || one.type === "radio") {
        if (one.checked) found[one.name] = one.value;
      } else found[one.name] = one.value;
    }
    try {
      localStorage.setItem(key, JSON.stringify(found));
    } catch {
      /* nothing is kept then */
    }
  };
  let kept = null;
  try {
    kept = JSON.parse(localStorage.getItem(key) ?? "null");
  } catch {
    kept = null;
  }
  if (kept) {
    for (const one of fields()) {
      if (one.type === "checkbox" || one.type === "radio") one.checked = kept[one.name] === one.value;
      else if (
        one.name in kept &&
        (!(one instanceof HTMLSelectElement) || [...one.options].some((option) => option.value === kept[one.name]))
      )
        one.value = kept[one.name];
    }
  }
  form.addEventListener("input", write);
  form.addEventListener("change", write);
  return {
    restored: Boolean(kept),
    save: write,
    forget() {
      try {
        localStorage.removeItem(key);
      } catch {
        /* there was none */
      }
    },
  };
}
for (const dialog of document.querySelectorAll("dialog")) {
  for (const button of dialog.querySelectorAll("[data-close]")) button.addEventListener("click", () => dialog.close());
}

// Live rows: connect, fetch all new rows, reconnect when the connection breaks

export function follow(slug, experiment, hear) {
  const rows = new Map();
  let run = "",
    revision = 0,
    wait = 250,
    heard = Date.now(),
    socket = null,
    ended = false;
  function connect() {
    const scheme = location.protocol === "https:" ? "wss://" : "ws://";
    const line = new WebSocket(
      scheme + location.host + "/live/" + pathOf(slug, experiment) + "?run=" + run + "&revision=" + revision,
    );
    socket = line;
    heard = Date.now(); // a new line is given its time: silence of the one before it does not count
    line.onmessage = (event) => {
      heard = Date.now();
      wait = 250;
      const message = JSON.parse(event.data);
      if (message.kind === "alive") {
        trouble(hear.troubled || hear.problem || "");
        return;
      }
      if (message.kind === "missing") {
        ended = true;
        trouble(message.text);
        hear.missing?.();
        return;
      }
      if (message.kind === "trouble") {
        hear.troubled = message.text;
        trouble(message.text || hear.problem || "");
        return;
      }
      if (message.kind === "rows") {
        trouble(hear.troubled || hear.problem || "");
        if (message.whole) rows.clear();
        const fresh = message.rows.filter((row) => !rows.has(row.n));
        for (const row of message.rows) rows.set(row.n, row);
        run = message.run;
        revision = message.revision;
        if (message.bench) hear.bench?.(message.bench);
        hear.rows?.(rows, { fresh, changed: message.rows, whole: message.whole });
        return;
      }
      hear[message.kind]?.(message);
    };
    line.onclose = () => {
      if (socket !== line || ended) return;
      trouble("No update from the server; values may be out of date. Trying again.");
      setTimeout(connect, wait);
      wait = Math.min(wait * 1.6, 3000);
    };
  }
  connect();
  setInterval(() => {
    if (!ended && socket?.readyState === WebSocket.OPEN && Date.now() - heard > 7000) {
      const stale = socket;
      socket = null;
      stale.close();
      connect();
    }
  }, 1500);
  return rows;
}
