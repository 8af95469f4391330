// One gesture beside a typed reading: its direction and its conditions, each a button that fills fields of the form.
import { byId } from "/static/common.js";

const lamp = byId("hand-lamp"),
  face = byId("hand-leading_face"),
  speed = byId("hand-speed"),
  envelope = byId("hand-envelope"),
  note = byId("hand-note");

function choose(field, value) {
  field.value = value;
  field.dispatchEvent(new Event("change", { bubbles: true }));
}

// Fields that each button sets; the focus then goes to the next field to fill.
const GESTURES = {
  bright: () => [choose(face, "bright"), speed],
  dark: () => [choose(face, "dark"), speed],
  still: () => [choose(face, ""), (speed.value = "0"), speed],
  off: () => [choose(lamp, "off"), speed],
  chilled: () => [choose(lamp, "off"), envelope ?? note],
  usual: () => [choose(lamp, "on"), choose(face, ""), envelope && (envelope.value = ""), speed],
};

function show() {
  for (const button of byId("quick").querySelectorAll("button")) {
    const pressed = { bright: face.value === "bright", dark: face.value === "dark", off: lamp.value === "off" };
    if (button.dataset.quick in pressed) button.setAttribute("aria-pressed", pressed[button.dataset.quick]);
  }
}

export function quickMarks() {
  const place = byId("quick");
  if (!place) return;
  place.addEventListener("click", (event) => {
    const gesture = GESTURES[event.target.closest("button")?.dataset.quick];
    if (!gesture) return;
    const last = gesture().at(-1);
    show();
    last.focus();
  });
  for (const field of [lamp, face]) field.addEventListener("change", show);
  show();
}
