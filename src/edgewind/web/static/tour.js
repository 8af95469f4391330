// A tour of five steps with an invented example: on first opening, left at any step, found again beside the units.
import { ask, byId, make, remember, remembered } from "/static/common.js";

const STEPS = [
  {
    page: "books",
    title: "A tour in five steps",
    text:
      "Edgewind finds out why a rotor of thin vanes turns in thin gas, and at which pressure it turns fastest. " +
      "The tour goes through the pages with an example that is invented: nothing in it was measured.",
    next: "Copy the invented example here and begin",
    show: "#begin-link",
  },
  {
    page: "bench",
    title: "At the bench",
    text:
      "Readings come in here: typed, dropped as files (traces, sound, clips, a sheet), or recorded by a sweep. What " +
      "cannot be used says why; a likely mistake is questioned first. Nothing that was stored is ever changed.",
    show: ".hand",
  },
  {
    page: "question",
    title: "The question",
    text:
      "The answer from the readings: the pressure at which it turns fastest with its interval, and each mechanism by " +
      "the evidence for and against it. The report holds all of it, with figures and data.",
    show: "#answer",
  },
  {
    page: "question",
    title: "What if",
    text:
      "Move a slider: both optima change at once; the two sliders with the greatest effect come first. Below, the " +
      "envelope is chilled in the dark: the direction in which the rotor then turns distinguishes the mechanisms.",
    show: ".whatif",
  },
  {
    page: "gas",
    title: "The gas itself",
    text:
      "What the gas does round the vanes, from thin to dense, computed from the motion of its molecules. That was " +
      "the tour: now begin an experiment of your own, by a form with a drawing.",
    next: "End the tour",
    show: ".gaspicture",
  },
];
const parts = location.pathname.split("/"),
  here = parts[1] || "books";
let state = null;
try {
  state = JSON.parse(remembered("tour", "null"));
} catch {
  state = null;
}
const keep = (found) => {
  state = found;
  remember("tour", JSON.stringify(found));
};
const addressOf = (step) => {
  const { page } = STEPS[step];
  return page === "books" || page === "gas" || !state.at ? `/${page}` : `/${page}/${state.at}`;
};
const isHere = (step) => addressOf(step) === location.pathname.replace(/\/$/, "") || (step === 0 && here === "books");

function leave() {
  keep({ step: -1, at: state?.at ?? "" });
  document.querySelector(".toured")?.classList.remove("toured");
  byId("tour").hidden = true;
  byId("tour-again").focus();
}
function go(step) {
  keep({ ...state, step, moved: true });
  if (isHere(step)) show(true);
  else location.assign(addressOf(step));
}
async function begin() {
  try {
    const told = await ask("/api/tour", {});
    keep({ step: 1, at: encodeURIComponent(told.slug) + "/" + encodeURIComponent(told.experiment) });
  } catch (error) {
    // Pages that show only one book accept no example: the tour uses them as they are.
    byId("tour-problem").textContent = `${error.message}. The tour goes on without the example.`;
    keep({ step: 1, at: "" });
    byId("tour-next").textContent = "Go on";
    byId("tour-next").onclick = () => go(1);
    return;
  }
  go(1);
}
function show(focused) {
  const place = byId("tour"),
    { step } = state,
    one = STEPS[step],
    last = step === STEPS.length - 1;
  document.querySelector(".toured")?.classList.remove("toured");
  place.hidden = false;
  const title = make("h2", { id: "tour-title", tabindex: "-1" }, one.title),
    count = make("p", { class: "kicker" }, `Tour, step ${step + 1} of ${STEPS.length}`),
    away = make("button", { type: "button", class: "quiet", onclick: leave }, "Leave the tour");
  if (!isHere(step)) {
    place.replaceChildren(
      count,
      title,
      make(
        "p",
        { class: "row" },
        make("button", { type: "button", class: "strong", onclick: () => go(step) }, "Continue the tour"),
        away,
      ),
    );
    return;
  }
  const next = make(
    "button",
    { type: "button", class: "strong", id: "tour-next" },
    one.next ?? `Next: ${STEPS[step + 1].title}`,
  );
  next.onclick = step === 0 ? begin : last ? leave : () => go(step + 1);
  place.replaceChildren(
    count,
    title,
    make("p", {}, one.text),
    make(
      "p",
      { class: "row" },
      next,
      last ? make("a", { class: "button", href: "/begin", onclick: leave }, "Begin an experiment") : null,
      step ? make("button", { type: "button", class: "quiet", onclick: () => go(step - 1) }, "Back") : null,
      last ? null : away,
    ),
    make("p", { class: "problem", id: "tour-problem", role: "alert" }),
  );
  const shown = document.querySelector(one.show);
  shown?.classList.add("toured");
  if (!focused) return;
  shown?.scrollIntoView({ block: step > 1 ? "start" : "nearest" });
  title.focus({ preventScroll: true });
}
byId("tour").addEventListener("keydown", (event) => {
  if (event.key === "Escape") leave();
});
byId("tour-again").addEventListener("click", () => {
  keep({ step: 0, at: state?.at ?? "" });
  go(0);
});
if (state === null && here === "books" && parts.length < 3) {
  keep({ step: 0, at: "" });
  show(false);
} else if (state && state.step >= 0) {
  const moved = state.moved;
  keep({ step: state.step, at: state.at });
  // After the page has placed its own initial focus.
  setTimeout(() => show(Boolean(moved)), 0);
}
