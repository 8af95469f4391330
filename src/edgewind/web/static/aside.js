// Set a reading aside, with a reason, and take that back: each is a further row of the book.
import { about, isExcluded } from "/static/readings.js";
import { ask, byId, clearProblems, make, pathOf, say, showProblem } from "/static/common.js";

export function asideButton(slug, experiment) {
  const dialog = byId("why"),
    form = byId("why-form");
  let row = null;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    clearProblems(form);
    const undo = isExcluded(row);
    try {
      await ask("/api/exclude/" + pathOf(slug, experiment), { reading: row.n, why: byId("why-text").value, undo });
      dialog.close();
      // The row may have been drawn anew meanwhile: the cursor goes to its button, not to the old one.
      document.querySelector(`#readings tr[data-n="${row.n}"] button`)?.focus();
      say(`Reading ${row.n} is ${undo ? "in use again" : "set aside"}.`);
    } catch (error) {
      error.field = "text";
      showProblem(form, "why", error);
    }
  });
  return (of) =>
    make(
      "button",
      {
        type: "button",
        class: "link",
        "aria-label": isExcluded(of) ? `Use reading ${of.n} again` : `Set reading ${of.n} aside`,
        onclick: () => {
          row = of;
          clearProblems(form);
          byId("why-title").textContent = isExcluded(row) ? "Use a reading again" : "Set a reading aside";
          byId("why-what").textContent = about(row);
          byId("why-label").textContent = isExcluded(row)
            ? "Why it may be used after all"
            : "Why it should not be used";
          byId("why-yes").textContent = isExcluded(row) ? "Use it again" : "Set aside";
          byId("why-text").value = "";
          dialog.showModal();
          byId("why-text").focus();
        },
      },
      isExcluded(of) ? "use again" : "set aside",
    );
}
