// Every figure can be opened large and saved: a button below it, a dialog, self-contained PNG and SVG files.
import { make } from "/static/common.js";

const NS = "http://www.w3.org/2000/svg";
// Style of an element of a drawing from the style sheet, written into the saved file.
const KEPT = [
  "fill",
  "stroke",
  "stroke-width",
  "stroke-dasharray",
  "stroke-linejoin",
  "opacity",
  "paint-order",
  "font-family",
  "font-size",
  "font-weight",
  "text-anchor",
  "vector-effect",
];
let dialog = null,
  shown = null;

function standalone(source, title, legend) {
  const svg = source.cloneNode(true),
    from = [source, ...source.querySelectorAll("*")],
    to = [svg, ...svg.querySelectorAll("*")];
  from.forEach((one, index) => {
    const style = getComputedStyle(one);
    for (const name of KEPT) {
      const value = style.getPropertyValue(name);
      if (value) to[index].setAttribute(name, value);
    }
    to[index].removeAttribute("class");
  });
  const [x, y, width, height] = svg.getAttribute("viewBox").split(/\s+/).map(Number),
    size = Number(svg.getAttribute("font-size")) || width / 60,
    style = getComputedStyle(document.body);
  const part = (name, attributes, text = "") => {
    const made = document.createElementNS(NS, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    made.textContent = text;
    return made;
  };
  const words = { "font-family": style.fontFamily, fill: style.color, "font-size": size };
  const above = 2.2 * size,
    rows = [];
  // The legend in rows below, as wide as the drawing allows.
  let at = x + size,
    row = 0;
  for (const item of legend) {
    const sign = item.querySelector("svg"),
      long = 3 * size + item.textContent.length * size * 0.56;
    if (at > x + size && at + long > x + width) {
      at = x + size;
      row += 1;
    }
    rows.push({ sign: sign && standalone(sign, "", []), text: item.textContent, at, row });
    at += long;
  }
  const below = rows.length ? (row + 1.6) * 1.5 * size : 0;
  const box = [x, y - above, width, height + above + below];
  svg.setAttribute("viewBox", box.join(" "));
  svg.setAttribute("width", width);
  svg.setAttribute("height", box[3]);
  svg.setAttribute("xmlns", NS);
  if (!title) return svg;
  svg.prepend(
    part("title", {}, title),
    part("rect", { x, y: box[1], width, height: box[3], fill: style.getPropertyValue("--paper") }),
    part("text", { ...words, x: x + 0.3 * size, y: y - 0.8 * size, "font-weight": 600 }, title),
  );
  for (const { sign, text, at: left, row: line } of rows) {
    const base = y + height + (line + 1) * 1.5 * size;
    if (sign) {
      const around = part("svg", { x: left, y: base - 0.8 * size, width: 1.8 * size, height: size });
      around.setAttribute("viewBox", "0 0 24 14");
      around.append(...sign.children);
      svg.append(around);
    }
    svg.append(part("text", { ...words, x: left + 2.3 * size, y: base, "font-size": 0.95 * size }, text));
  }
  return svg;
}
const textOf = (svg) => '<?xml version="1.0" encoding="UTF-8"?>\n' + new XMLSerializer().serializeToString(svg);

function save(blob, name) {
  const link = make("a", { href: URL.createObjectURL(blob), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
function saveSvg() {
  save(new Blob([textOf(fileOf())], { type: "image/svg+xml" }), shown.name + ".svg");
}
async function savePng() {
  const svg = fileOf(),
    image = new Image(),
    scale = Math.max(2, 1920 / Number(svg.getAttribute("width")));
  image.src = URL.createObjectURL(new Blob([textOf(svg)], { type: "image/svg+xml" }));
  await image.decode();
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(scale * Number(svg.getAttribute("width")));
  canvas.height = Math.round(scale * Number(svg.getAttribute("height")));
  canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
  URL.revokeObjectURL(image.src);
  canvas.toBlob((blob) => save(blob, shown.name + ".png"), "image/png");
}
function fileOf() {
  const place = dialog.querySelector(".largeplace");
  return standalone(place.querySelector("svg"), shown.title, [...place.querySelectorAll(".legend li")]);
}

function theDialog() {
  if (dialog) return dialog;
  const close = make("button", { type: "button", class: "strong", onclick: () => dialog.close() }, "Close");
  dialog = make(
    "dialog",
    { class: "large", "aria-labelledby": "large-title" },
    make("h2", { id: "large-title" }),
    make("div", { class: "largeplace chart", tabindex: "0", role: "region", "aria-label": "The figure, large" }),
    make(
      "p",
      { class: "row" },
      make("button", { type: "button", class: "savepng", onclick: savePng }, "Save as PNG"),
      make("button", { type: "button", class: "savesvg", onclick: saveSvg }, "Save as SVG"),
      close,
    ),
  );
  dialog.addEventListener("close", () => {
    shown?.stop?.();
    dialog.querySelector(".largeplace").replaceChildren();
    // Its row may have been stored and removed.
    if (shown) (shown.button.isConnected ? shown.button : document.getElementById("main")).focus();
    shown = null;
  });
  document.body.append(dialog);
  return dialog;
}
const plainName = (text) =>
  text
    .toLowerCase()
    .replace(/[^a-z0-9]+/g, "-")
    .replace(/^-|-$/g, "")
    .slice(0, 80) || "figure";

// place: the element that holds the figure; draw(target): draws it large there, and may return a function that ends it;
// title(): its title; files: whether PNG and SVG are made here, rather than by links of the page.
export function figureTools(place, { draw, title, files = true }) {
  const button = make(
    "button",
    {
      type: "button",
      class: "link",
      onclick: () => {
        const name = title();
        shown = { title: name, name: plainName(`${document.title.split(" · ")[0]} ${name}`), button };
        theDialog();
        document.getElementById("large-title").textContent = name;
        for (const one of dialog.querySelectorAll(".savepng, .savesvg")) one.hidden = !files;
        dialog.showModal();
        shown.stop = draw(dialog.querySelector(".largeplace"));
      },
    },
    files ? "Open large, save" : "Open large",
    make("span", { class: "unseen" }),
  );
  const row = make("p", { class: "figuretools small" }, button);
  place.after(row);
  const name = () => {
    button.lastChild.textContent = ": " + title();
  };
  name();
  return { row, name };
}
// Title of a figure: the heading above it.
export function headingOf(place) {
  let one = place;
  while (one && one !== document.body) {
    let before = one.previousElementSibling;
    while (before) {
      const found = before.matches("h1, h2, h3") ? before : [...before.querySelectorAll("h2, h3")].at(-1);
      if (found) return found.textContent.trim();
      before = before.previousElementSibling;
    }
    one = one.parentElement;
  }
  return "figure";
}
// A drawing as it stands on the page, copied; after: the element above the button; find(): the drawing.
export function openSvg(after, find, title) {
  return figureTools(after, {
    title,
    draw(target) {
      const copy = find().cloneNode(true);
      copy.removeAttribute("width");
      copy.removeAttribute("height");
      for (const one of [copy, ...copy.querySelectorAll("[id]")]) one.removeAttribute("id");
      copy.classList.add("copied");
      const place = make("div", { class: find().parentElement?.className ?? "" });
      place.append(copy);
      target.replaceChildren(place);
    },
  });
}
