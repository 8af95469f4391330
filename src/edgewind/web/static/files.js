// Files dropped on the page: traces, sound, clips, tables, folders, archives. Read at once, shown with the values found
// and guessed, and stored with the raw file once a pressure is entered.
import {
  ask,
  byId,
  clearProblems,
  keepDraft,
  make,
  number,
  pathOf,
  say,
  showProblem,
  speedText,
  unitOf,
} from "/static/common.js";
import { openSvg } from "/static/figure.js";

const MOST = 256e6;
const SVG = "http://www.w3.org/2000/svg";

export function drawTrace(found, label) {
  const svg = document.createElementNS(SVG, "svg"),
    line = document.createElementNS(SVG, "path");
  svg.setAttribute("viewBox", `0 -4 ${found.width} ${found.height + 8}`);
  svg.setAttribute("preserveAspectRatio", "none");
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", label);
  line.setAttribute("d", found.turns || found.whole);
  svg.append(line);
  return svg;
}
// The mean frame of a clip, with the patches whose brightness was followed drawn at their places.
export function drawClip(picture, label) {
  const part = (name, attributes) => {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    return made;
  };
  const [x, y, width, height] = picture.box,
    svg = part("svg", { viewBox: picture.box.join(" "), role: "img", "aria-label": label, class: "clip" });
  svg.append(part("image", { href: picture.png, x, y, width, height, preserveAspectRatio: "none" }));
  for (const d of picture.lines) svg.append(part("path", { d, class: "patch thin" }));
  for (const d of picture.rings) svg.append(part("path", { d: d + "Z", class: "patch" }));
  return svg;
}
// Every dropped file, those in folders included.
async function filesOf(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (!entries.length) return [...transfer.files];
  const found = [];
  async function walk(entry) {
    if (entry.isFile) found.push(await new Promise((done, failed) => entry.file(done, failed)));
    else {
      const reader = entry.createReader();
      for (;;) {
        const part = await new Promise((done, failed) => reader.readEntries(done, failed));
        if (!part.length) break;
        for (const one of part) await walk(one);
      }
    }
  }
  for (const entry of entries) await walk(entry);
  return found.filter((file) => !file.name.startsWith("."));
}
const baseName = (name) => name.split(/[\\/]/).at(-1);

// experiment: {slug, experiment, form}; sheet: takes rows of tables; known rows by the name of their trace go to it.
export function dropZone(here, sheet) {
  const at = pathOf(here.slug, here.experiment),
    zone = byId("drop"),
    list = byId("dropped"),
    form = here.form;
  const byName = new Map();
  let queue = Promise.resolve(),
    waiting = 0;

  const state = () => {
    byId("drop-state").textContent = waiting ? `Reading ${waiting} file${waiting === 1 ? "" : "s"}…` : "";
  };
  function take(files) {
    for (const file of files) {
      waiting += 1;
      queue = queue
        .then(() => send(file))
        .catch((error) => refused(file.name, error.message))
        .finally(() => {
          waiting -= 1;
          state();
        });
    }
    state();
  }
  async function send(file) {
    if (file.size > MOST) {
      refused(
        file.name,
        `the file is too large (${number(file.size / 1e6, 4)} MB; limit ${MOST / 1e6} MB); shorten the recording`,
      );
      return;
    }
    let answer;
    try {
      answer = await fetch(`/api/files/${at}?` + new URLSearchParams({ name: file.name }), {
        method: "POST",
        body: file,
      });
    } catch {
      refused(file.name, "The server does not answer; drop the file again when it runs");
      return;
    }
    const told = await answer.json();
    if (!answer.ok) {
      refused(file.name, told.problem + (told.fix ? "; " + told.fix : ""));
      return;
    }
    // Tables first: a row of a table may name a trace.
    for (const one of told.files.filter((one) => one.kind === "table")) table(one);
    for (const one of told.files) {
      if (one.kind === "trace") trace(one);
      if (one.kind === "refused") refused(one.name, one.problem);
    }
  }
  function refused(name, why) {
    list.prepend(
      make("li", { class: "drop refused" }, make("strong", {}, name), make("p", { class: "problem" }, why + ".")),
    );
    say(`${name} is refused.`);
  }
  function table(one) {
    const alone = one.rows.filter((row) => !row.trace);
    for (const row of one.rows) if (row.trace) byName.set(baseName(row.trace), row);
    if (alone.length) sheet.add(alone);
    for (const entry of list.querySelectorAll("li[data-name]")) fill(entry, byName.get(entry.dataset.name));
    const notes = [
      `${one.rows.length} row${one.rows.length === 1 ? "" : "s"} read` +
        (alone.length ? ": they are in the sheet below and not yet stored" : ""),
      ...one.guessed,
      ...(one.left_out.length ? ["left out: " + one.left_out.join(", ")] : []),
    ];
    list.prepend(
      make(
        "li",
        { class: "drop" },
        make("strong", {}, one.name),
        ...notes.map((text) => make("p", { class: "small" }, text + ".")),
      ),
    );
  }
  function fill(entry, row) {
    if (!row) return;
    for (const [name, text] of Object.entries(row)) {
      const input = entry.querySelector(`[name="${name}"]`);
      if (!input || input.dataset.chosen) continue;
      if (!input.value || input instanceof HTMLSelectElement) input.value = text;
    }
    entry.querySelector(".guess").textContent = "Filled in from the table that was dropped with it.";
  }
  let count = 0;
  function trace(one) {
    const key = "drop-" + ++count,
      box = make("form", { class: "handform", novalidate: true });
    const field = (name, label, input) =>
      make(
        "p",
        { class: "field" },
        make("label", { for: `${key}-${name}` }, label),
        input,
        make("span", { class: "problem", id: `${key}-${name}-problem`, role: "alert" }),
      );
    const input = (name, more = {}) =>
      make("input", {
        id: `${key}-${name}`,
        name,
        autocomplete: "off",
        "aria-describedby": `${key}-${name}-problem`,
        ...more,
      });
    const choice = (name, options) =>
      make(
        "select",
        { id: `${key}-${name}`, name },
        ...options.map(([value, words]) => make("option", { value }, words)),
      );
    const titles = form.pressures;
    const as =
      titles.length > 1
        ? choice(
            "pressure_as",
            titles.map((title) => [
              title,
              title === "gauge" ? `volts of the gauge, ${form.units.gauge}` : `pressure shown, ${form.units.pressure}`,
            ]),
          )
        : null;
    if (as) as.setAttribute("aria-label", "What is typed for the pressure of " + one.name);
    const faces = choice("leading_face", [
      ["", "not noted"],
      ["bright", "bright face leads"],
      ["dark", "dark face leads"],
      ["not observed", "not observed"],
    ]);
    if (one.leading_face) faces.value = one.leading_face;
    box.append(
      field(
        "pressure",
        titles.length > 1
          ? "Gauge or pressure"
          : titles[0] === "gauge"
            ? `Gauge, ${form.units.gauge}`
            : `Pressure, ${form.units.pressure}`,
        input("pressure", { inputmode: "decimal" }),
      ),
      ...(as
        ? [make("p", { class: "field" }, make("span", { class: "label", "aria-hidden": "true" }, "\u00a0"), as)]
        : []),
      field("leading_face", "Direction", faces),
      field(
        "lamp",
        "Lamp",
        choice("lamp", [
          ["on", "on"],
          ["off", "off"],
        ]),
      ),
      field("sweep", "Sweep", input("sweep")),
      field("note", "Note", input("note")),
      make(
        "p",
        { class: "row wide" },
        make("button", { class: "strong" }, "Store"),
        make("button", { type: "button", class: "quiet", onclick: () => leave() }, "Leave it out"),
        make("span", { class: "problem", id: `${key}-problem`, role: "alert" }),
      ),
    );
    const flags = one.flags.map((flag) =>
      make("li", {}, make("strong", {}, flag), ": " + (here.flags[flag] ?? "see the page on reading a trace")),
    );
    const guessed = [];
    if (one.flags.includes("channel-assumed"))
      guessed.push(["channel", one.channel, `The channel '${one.channel}' was guessed`]);
    if (one.flags.includes("time-assumed"))
      guessed.push([
        "interval",
        `${number(1e3 * one.interval_s, 6)} ms`,
        `The interval between samples, ${number(1e3 * one.interval_s, 6)} ms, was guessed`,
      ]);
    const entry = make(
      "li",
      { class: "drop", "data-name": baseName(one.name) },
      make(
        "p",
        { class: "row" },
        make("strong", {}, one.name),
        make(
          "span",
          { class: "large" },
          one.speed_rad_s === null
            ? "no speed found"
            : `${speedText(one.speed_rad_s, one.speed_u_rad_s)} ${unitOf("speed")}`,
        ),
      ),
      one.picture
        ? make(
            "figure",
            { class: "clipplace" },
            drawClip(one.picture, `The mean picture of ${one.name}, with the patches that were followed`),
            make("figcaption", { class: "soft small" }, "Where the rotor was found: patches round its axis."),
          )
        : null,
      drawTrace(one, `${one.turns ? "Three turns of" : "The whole of"} ${one.name}`),
      make(
        "p",
        { class: "soft small" },
        `${one.turns ? `Three turns, ${number(one.turns_seconds, 3)} s, of` : "The whole of"} ` +
          `${number(one.seconds, 3)} s; ${one.samples} samples every ${number(1e3 * one.interval_s, 4)} ` +
          `ms${one.channel ? `; channel ${one.channel}` : ""}.`,
      ),
      flags.length ? make("ul", { class: "flags small" }, ...flags) : null,
      ...one.notes.map((text) => make("p", { class: "soft small" }, text)),
      ...guessed.map(([name, value, words]) =>
        make(
          "p",
          { class: "note row" },
          words + ".",
          make(
            "button",
            { type: "button", class: "quiet", onclick: (event) => stateKey(event.target, name, value) },
            `State it: ${name} = ${value}`,
          ),
        ),
      ),
      make("p", { class: "guess small", role: "status" }),
      box,
    );
    const leave = () => {
      draft.forget();
      fetch("/api/files/" + one.id, { method: "DELETE" });
      entry.remove();
    };
    let sure = "";
    box.addEventListener("submit", async (event) => {
      event.preventDefault();
      clearProblems(box);
      const body = { ...Object.fromEntries(new FormData(box)), drop: one.id, key: one.id },
        said = JSON.stringify(body);
      try {
        const told = await ask("/api/readings/" + at, { ...body, sure: sure === said });
        draft.forget();
        entry.replaceChildren(
          make(
            "p",
            { role: "status" },
            make("strong", {}, one.name),
            ` is stored as reading ${told.reading}, with the file itself.`,
          ),
        );
        byId("drop-files").focus();
      } catch (error) {
        if (error.doubt) sure = said;
        showProblem(box, key, error);
      }
    });
    // Text typed beside a file is kept with it: after a reload the file must be dropped again, but nothing typed again.
    const draft = keepDraft(box, `drop-${at}-${one.name}-${one.samples}-${one.speed_rad_s}`);
    box.addEventListener("change", (event) => {
      event.target.dataset.chosen = "yes";
    });
    list.prepend(entry);
    for (const drawing of entry.querySelectorAll("svg"))
      openSvg(
        drawing,
        () => drawing,
        () => drawing.getAttribute("aria-label"),
      );
    if (draft.restored)
      entry.querySelector(".guess").textContent = "Filled in with the text that you typed for this file before.";
    fill(entry, byName.get(baseName(one.name)));
    say(`${one.name} is read.`);
  }
  async function stateKey(button, key, value) {
    try {
      await ask("/api/state-key/" + at, { key, value });
      button.replaceWith(make("strong", {}, "Stated in bench.toml; drop the file again to use it."));
    } catch (error) {
      button.after(make("span", { class: "problem" }, error.message + "."));
    }
  }
  for (const id of ["drop-files", "drop-folder", "drop-clip"]) {
    byId(id)?.addEventListener("change", (event) => {
      take([...event.target.files]);
      event.target.value = "";
    });
  }
  const over = (event) => {
    if ([...event.dataTransfer.types].includes("Files")) {
      event.preventDefault();
      zone.classList.add("over");
    }
  };
  zone.addEventListener("dragenter", over);
  zone.addEventListener("dragover", over);
  zone.addEventListener("dragleave", () => zone.classList.remove("over"));
  zone.addEventListener("drop", async (event) => {
    event.preventDefault();
    zone.classList.remove("over");
    take(await filesOf(event.dataTransfer));
  });
  // A file dropped outside the field must not replace the page.
  for (const name of ["dragover", "drop"])
    window.addEventListener(name, (event) => {
      if ([...(event.dataTransfer?.types ?? [])].includes("Files")) event.preventDefault();
    });
}
