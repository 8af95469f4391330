// Prepare a sweep, show what will move and the cautions, and begin only on a person's confirmation.
import {
  ask,
  byId,
  clearProblems,
  dataOf,
  inChosenUnits,
  keepDraft,
  make,
  pathOf,
  showProblem,
} from "/static/common.js";

const here = dataOf("data");

// Say beside a choice of benches which instruments of the chosen one are connected.
export function sayConnected(id) {
  const select = byId(id),
    show = () => {
      const wires = select.selectedOptions[0]?.dataset.wires;
      byId(id + "-help").textContent = wires
        ? `Connected: ${wires}.`
        : "No instrument is connected: you are asked to set everything by hand.";
    };
  select.addEventListener("change", show);
  show();
}
export function confirmed(ready) {
  const dialog = byId("caution");
  byId("caution-moves").replaceChildren(
    make(
      "p",
      {},
      ready.resumed
        ? `The sweep goes on: ${ready.done} of ${ready.steps || "its"} steps are done.`
        : ready.run
          ? `A run: ${ready.run}.`
          : ready.steps
          ? `${ready.steps} step${ready.steps === 1 ? "" : "s"}.`
          : "Its pressures are chosen during the sweep.",
    ),
    ...(ready.moves.length
      ? ready.moves.map((text) => make("p", { class: "note" }, inChosenUnits(text)))
      : [make("p", { class: "note" }, "No instrument is connected: the page asks you to set everything by hand.")]),
  );
  byId("caution-list").replaceChildren(...ready.cautions.map((text) => make("li", {}, text)));
  dialog.returnValue = "";
  dialog.showModal();
  // Shown from its beginning, even if it is longer than the screen.
  byId("caution-yes").focus({ preventScroll: true });
  dialog.scrollTop = 0;
  return new Promise((done) =>
    dialog.addEventListener("close", () => done(dialog.returnValue === "yes"), { once: true }),
  );
}
export async function begin(body) {
  const ready = await ask("/api/sweeps", body);
  if (await confirmed(ready)) {
    await ask(`/api/sweeps/${encodeURIComponent(ready.id)}/start`, {});
    if (!here.slug) location.href = "/bench/" + pathOf(ready.slug, ready.experiment);
    return ready;
  }
  await ask(`/api/sweeps/${encodeURIComponent(ready.id)}/drop`, {});
  return null;
}
const form = byId("sweep");
if (form) {
  const book = byId("sweep-book"),
    folder = byId("sweep-folder"),
    name = byId("sweep-name"),
    draft = keepDraft(form, "sweep-" + (here.slug ? pathOf(here.slug, here.experiment) : ""));
  sayConnected("sweep-folder");
  if (draft.restored && form.closest("details")) form.closest("details").open = true;
  if (book) {
    const row = byId("sweep-new_book").closest(".field"),
      show = () => {
        row.hidden = book.value !== "";
      };
    book.addEventListener("change", show);
    show();
    const suggest = () => {
      // not in a field that has the focus: it would precede the text typed there
      if (!name.dataset.typed && document.activeElement !== name) name.value = folder.value.split("~").at(-1);
    };
    // Typed before this script loaded, or kept from before; not if it equals the folder's suggestion.
    if (name.value && name.value !== folder.value.split("~").at(-1)) name.dataset.typed = "yes";
    name.addEventListener("input", () => {
      name.dataset.typed = "yes";
    });
    folder.addEventListener("change", suggest);
    suggest();
  }
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    clearProblems(form);
    const fixed = here.slug ? { book: here.slug, name: here.experiment } : {},
      button = form.querySelector("button");
    button.disabled = true;
    try {
      if (await begin({ ...Object.fromEntries(new FormData(form)), ...fixed })) draft.forget();
    } catch (error) {
      showProblem(form, "sweep", error);
    }
    button.disabled = false;
  });
}
