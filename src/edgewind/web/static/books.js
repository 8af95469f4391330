// The books: compare, take a folder in, begin an experiment.
import { ask, byId, clearProblems, pathOf, showProblem } from "/static/common.js";

const compare = byId("compare");
const picks = [...document.querySelectorAll("input[name=pick]")];
function ticked() {
  return picks.filter((pick) => pick.checked).map((pick) => pick.value);
}
function refresh() {
  const count = ticked().length;
  compare.disabled = count < 2;
  byId("compare-said").textContent =
    count === 0 ? "Tick two or more." : count === 1 ? "One is ticked; tick another." : count + " are ticked.";
}
for (const pick of picks) pick.addEventListener("change", refresh);
if (compare) {
  refresh();
  compare.addEventListener("click", () => {
    const [first, ...others] = ticked();
    const at = first.indexOf("/");
    location.href =
      "/question/" +
      pathOf(first.slice(0, at), first.slice(at + 1)) +
      "?" +
      new URLSearchParams(others.map((one) => ["with", one]));
  });
}

function bookChoice(prefix) {
  const select = byId(prefix + "-book"),
    row = byId(prefix + "-new_book").closest(".field");
  const show = () => {
    row.hidden = select.value !== "";
  };
  select.addEventListener("change", show);
  show();
}
function send(form, prefix, address, extra, done) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    clearProblems(form);
    try {
      done(await ask(address, { ...Object.fromEntries(new FormData(form)), ...extra() }));
    } catch (error) {
      showProblem(form, prefix, error);
    }
  });
}
bookChoice("take");

let folder = "";
for (const button of document.querySelectorAll("[data-take]")) {
  button.addEventListener("click", () => {
    folder = button.dataset.take;
    byId("take-name").value = button.dataset.name;
    byId("take").showModal();
  });
}
send(
  byId("take-form"),
  "take",
  "/api/take-in",
  () => ({ folder }),
  (made) => {
    location.href = "/books/" + pathOf(made.slug, made.experiment);
  },
);
