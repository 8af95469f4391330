// The gas itself: a picture at the Knudsen number of the slider; stills and a film to keep.
import {
  ask,
  byId,
  clearProblems,
  cancel,
  make,
  number,
  ordered,
  progressOf,
  Refused,
  remember,
  remembered,
  showProgress,
} from "/static/common.js";
import { figureTools } from "/static/figure.js";

const slider = byId("gas-kn"),
  picture = byId("gas-picture");
let state = null,
  wanted = 0,
  drawn = 0,
  drawing = false,
  film = null,
  wish = 0.3;
const ways = () => ({
  shape: byId("gas-shape").value,
  drive: byId("gas-drive").value,
  quantity: byId("gas-quantity").value,
  mark: byId("gas-mark").value.trim(),
});
const problemAt = (field) =>
  ({ seconds: byId("film-seconds-problem"), mark: byId("gas-mark-problem") })[field] ?? byId("film-problem");
// On a phone the picture is as high as the screen, and its words as large as those beside it.
const narrow = matchMedia("(max-width: 34rem)");
const dark = () => getComputedStyle(document.documentElement).colorScheme === "dark";
const ends = () => [state.solved[0], state.solved.at(-1)];
// The pressure grows from left to right, as in the curve on the picture.
const knudsen = () => {
  const [low, high] = ends();
  return high * (low / high) ** (slider.value / 1000);
};
function place() {
  const [low, high] = ends();
  slider.disabled = high === low;
  slider.value =
    high === low ? 500 : Math.round(1000 * Math.min(Math.max(Math.log(wish / high) / Math.log(low / high), 0), 1));
  label();
}
function label() {
  byId("gas-kn-out").textContent = number(knudsen(), 2);
  slider.setAttribute("aria-valuetext", "Knudsen number " + number(knudsen(), 2));
  links();
}
function links() {
  const query = new URLSearchParams({
    ...ways(),
    knudsen: knudsen(),
    size: byId("gas-size").value,
    theme: byId("gas-theme").value,
  });
  byId("gas-png").href = "/gas/still?" + query + "&kind=png";
  byId("gas-svg").href = "/gas/still?" + query + "&kind=svg";
}
async function draw() {
  wanted += 1;
  if (drawing || !state?.solved.length) return;
  drawing = true;
  while (drawn !== wanted) {
    drawn = wanted;
    const query = new URLSearchParams({
      ...ways(),
      knudsen: knudsen(),
      theme: dark() ? "dark" : "light",
      size: narrow.matches ? "vertical" : "page",
    });
    try {
      const start = performance.now(),
        answer = await fetch("/api/gas/picture?" + query);
      if (!answer.ok) throw new Refused(answer.status, await answer.json());
      const old = picture.src,
        words = decodeURIComponent(answer.headers.get("x-words") ?? "");
      picture.src = URL.createObjectURL(await answer.blob());
      await picture.decode().catch(() => {});
      if (old.startsWith("blob:")) URL.revokeObjectURL(old);
      picture.alt = words;
      byId("gas-words").textContent = words;
      picture.dataset.ms = Math.round(performance.now() - start);
      byId("film-problem").textContent = byId("gas-mark-problem").textContent = "";
    } catch (error) {
      problemAt(error.field).textContent = error.message + ".";
    }
  }
  drawing = false;
}
let turn = 0;
async function look() {
  const mine = ++turn;
  state = null;
  slider.disabled = true;
  for (;;) {
    let told;
    try {
      told = await ask("/api/gas?" + new URLSearchParams(ways()));
    } catch (error) {
      byId("gas-state").textContent = error.message + ".";
      return;
    }
    if (mine !== turn) return;
    const more = !state || told.solved.length !== state.solved.length;
    state = told;
    if (more && told.solved.length) {
      place();
      draw();
    }
    const busy = told.state === "waiting" || told.state === "running",
      bar = byId("gas-progress");
    bar.hidden = !busy;
    bar.max = told.all.length;
    bar.value = told.solved.length;
    byId("gas-state").textContent = busy
      ? `Computed at ${told.solved.length} of ${told.all.length} Knudsen numbers; the results are then stored.`
      : told.state === "done"
        ? ""
        : told.problem + ".";
    if (!busy) return;
    await new Promise((done) => setTimeout(done, 500));
  }
}
slider.addEventListener("input", () => {
  wish = knudsen();
  label();
  draw();
});
// Options that are not computed for a whole rotor cannot be chosen with it.
function limit() {
  const rotor = byId("gas-shape").value === "rotor",
    drive = byId("gas-drive");
  for (const option of drive.options) option.disabled = rotor && "lone" in option.dataset;
  if (drive.selectedOptions[0]?.disabled) drive.value = [...drive.options].find((one) => !one.disabled).value;
}
limit();
for (const id of ["gas-shape", "gas-drive"])
  byId(id).addEventListener("change", () => {
    limit();
    look();
  });
byId("gas-quantity").addEventListener("change", () => {
  links();
  draw();
});
byId("gas-mark").value = remembered("gas-mark", "");
byId("gas-mark").addEventListener("change", () => {
  remember("gas-mark", byId("gas-mark").value.trim());
  links();
  draw();
});
for (const id of ["gas-size", "gas-theme"]) byId(id).addEventListener("change", links);
byId("theme").addEventListener("change", draw);
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
narrow.addEventListener("change", draw);
if (narrow.matches) byId("gas-size").value = "vertical";
byId("gas").addEventListener("submit", (event) => event.preventDefault());
byId("gas-theme").value = dark() ? "dark" : "light";

byId("film").addEventListener("click", async () => {
  clearProblems(document);
  byId("film-ways").hidden = true;
  byId("film-video").hidden = true;
  byId("film").disabled = true;
  const bar = byId("film-progress");
  try {
    const wanted = {
      ...ways(),
      theme: byId("gas-theme").value,
      size: byId("gas-size").value,
      seconds: byId("film-seconds").value,
    };
    film = await ordered(
      "films",
      wanted,
      (job) => {
        film = job;
        byId("film-stop-row").hidden = bar.hidden = false;
        byId("film-state").textContent = progressOf(job) + (job.total > 1 ? `, ${job.done} of ${job.total}.` : ".");
        showProgress(bar, job);
      },
    );
    if (film.state === "done") {
      const made = film.result;
      byId("film-state").textContent =
        `${made.frames} frames of ${made.width} by ${made.height}, ${number(made.bytes / 1e6, 2)} MB.`;
      byId("film-file").href = byId("film-video").src = `/films/${film.id}.mp4`;
      byId("film-ways").hidden = false;
      byId("film-video").hidden = false;
    } else
      byId("film-state").textContent =
        film.state === "cancelled" ? "The film was cancelled. The button above starts it again." : film.problem + ".";
  } catch (error) {
    problemAt(error.field).textContent = error.message + ".";
  }
  bar.hidden = byId("film-stop-row").hidden = true;
  byId("film").disabled = byId("film-stop").disabled = false;
});
byId("film-stop").addEventListener("click", () => {
  byId("film-stop").disabled = true;
  cancel("films", film).catch((error) => {
    byId("film-stop").disabled = false;
    byId("film-problem").textContent = error.message + ".";
  });
});
figureTools(picture.closest("figure"), {
  files: false,
  title: () => "The gas itself",
  draw(target) {
    target.replaceChildren(make("img", { src: picture.src, alt: picture.alt }));
  },
});
look();
