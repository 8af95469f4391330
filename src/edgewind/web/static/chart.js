// A chart on a logarithmic or a linear axis, drawn as SVG; shapes distinguish the series as well as colours do.
import { number, power } from "/static/common.js";
import { figureTools, headingOf } from "/static/figure.js";

const NS = "http://www.w3.org/2000/svg";
const el = (name, attributes = {}, ...children) => {
  const made = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes))
    if (value !== null && value !== undefined) made.setAttribute(key, value);
  made.append(...children);
  return made;
};
const text = (x, y, words, attributes = {}) => {
  const made = el("text", { x, y, ...attributes });
  made.textContent = words;
  return made;
};

export function shapePath(shape, x, y, r) {
  switch (shape) {
    case "up":
      return `M${x} ${y - 1.2 * r}L${x + 1.1 * r} ${y + 0.8 * r}H${x - 1.1 * r}Z`;
    case "down":
      return `M${x} ${y + 1.2 * r}L${x + 1.1 * r} ${y - 0.8 * r}H${x - 1.1 * r}Z`;
    case "square":
      return `M${x - 0.9 * r} ${y - 0.9 * r}h${1.8 * r}v${1.8 * r}h${-1.8 * r}Z`;
    case "rhomb":
      return `M${x} ${y - 1.3 * r}L${x + 1.3 * r} ${y}L${x} ${y + 1.3 * r}L${x - 1.3 * r} ${y}Z`;
    case "cross":
      return `M${x - r} ${y - r}L${x + r} ${y + r}M${x + r} ${y - r}L${x - r} ${y + r}`;
    default:
      return `M${x - r} ${y}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0Z`;
  }
}

function linearTicks(low, high, most) {
  const rough = (high - low) / most,
    base = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((factor) => factor * base).find((one) => one >= rough);
  const found = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k++) found.push(k * step);
  return found;
}
function logTicks(low, high) {
  const decades = Math.log10(high / low),
    found = [];
  for (let e = Math.floor(Math.log10(low)); e <= Math.ceil(Math.log10(high)); e++) {
    for (let m = 1; m < 10; m++) {
      const value = m * 10 ** e;
      if (value >= low * 0.999 && value <= high * 1.001)
        found.push({
          value,
          major: m === 1,
          named: m === 1 || (decades < 2.3 && (m === 2 || m === 5)) || decades < 0.8,
        });
    }
  }
  return found;
}
function tickName(value) {
  const size = Math.abs(value);
  if (size >= 1e5 || (size > 0 && size < 1e-3)) {
    const exponent = Math.floor(Math.log10(size) + 1e-9),
      mantissa = Math.round((value / 10 ** exponent) * 100) / 100;
    return (mantissa === 1 ? "" : String(mantissa).replace("-", "−") + "×") + power(exponent);
  }
  return String(Number(value.toPrecision(6))).replace("-", "−");
}

// spec: label, x {title, flip, linear}, y {title, zero}, height,
// series [{name, shape, tone, points [{x, y, xu, yu, dim, fresh, n, about}]}],
// lines [{name, tone, dash, width, faint, points [[x, y]]}], bands [{tone, points [[x, low, high]]}],
// marks [{x, low, high, words, tone}], onPick(n)
export class Chart {
  constructor(place, { title = "", tools = true } = {}) {
    this.place = place;
    if (tools)
      this.tools = figureTools(place, {
        title: () => title || headingOf(place),
        draw: (target) => {
          const large = new Chart(target, { tools: false });
          large.show({ ...this.spec, onPick: undefined, height: Math.max(260, 0.8 * target.clientHeight) });
          return () => large.stop();
        },
      });
    this.spec = null;
    this.tip = document.createElement("div");
    this.tip.className = "tip";
    this.tip.hidden = true;
    this.wanted = 0;
    this.width = 0; // for which it was drawn last
    this.measured = 0; // what its place has, as heard: to ask lays the whole page out anew at each drawing
    this.pointer = null; // where the pointer is, while it is on the drawing
    this.svg = this.newDrawing();
    // The drawing changes the height of its container, so that only a change of width requires a new drawing.
    this.watching = new ResizeObserver(([entry]) => {
      this.measured = Math.floor(entry.contentRect.width);
      if (this.widthNow() !== this.width) this.soon();
    });
    this.watching.observe(place);
  }
  widthNow() {
    return Math.max(this.measured || this.place.clientWidth, 240);
  }
  // One permanent element: the next drawing does not remove an element that is pointed at or measured.
  newDrawing() {
    const svg = el("svg", { role: "img", class: "drawing" });
    svg.addEventListener("pointermove", (event) => this.point(event));
    svg.addEventListener("pointerdown", (event) => this.point(event));
    svg.addEventListener("pointerleave", () => {
      this.pointer = null;
      this.tip.hidden = true;
    });
    svg.addEventListener("click", () => {
      if (this.spec.onPick && this.near && !this.tip.hidden) this.spec.onPick(this.near.p.n);
    });
    return svg;
  }
  // Stop drawing: the container is used for something else.
  stop() {
    this.watching.disconnect();
    cancelAnimationFrame(this.wanted);
    this.spec = null;
  }
  show(spec) {
    this.spec = spec;
    this.soon();
  }
  soon() {
    if (this.wanted || !this.spec) return;
    this.wanted = requestAnimationFrame(() => {
      this.wanted = 0;
      this.draw();
    });
  }
  draw() {
    const spec = this.spec,
      width = this.widthNow(),
      narrow = width < 520;
    this.width = width;
    const type = narrow ? 13 : 15;
    const height = spec.height ?? (narrow ? 300 : Math.min(Math.max(width * 0.46, 300), 520));
    const all = spec.series.flatMap((one) => one.points),
      lines = spec.lines ?? [],
      bands = spec.bands ?? [];
    const xs = [
      ...all.map((p) => p.x),
      ...lines.flatMap((l) => l.points.map((p) => p[0])),
      ...bands.flatMap((b) => b.points.map((p) => p[0])),
    ].filter((x) => (spec.x.linear ? Number.isFinite(x) : x > 0));
    this.place.classList.remove("awaited");
    if (this.tools) this.tools.row.hidden = !xs.length;
    if (!xs.length) {
      const empty = document.createElement("p");
      empty.className = "soft empty";
      empty.textContent = spec.empty ?? "Nothing to draw yet.";
      this.place.replaceChildren(empty);
      return;
    }
    let [xLow, xHigh] = spec.x.range ?? [Math.min(...xs), Math.max(...xs)];
    if (!spec.x.range && !spec.x.linear) {
      for (const p of all)
        if (p.x > 0 && p.xu) {
          xLow = Math.min(xLow, p.x * Math.exp(-p.xu / p.x));
          xHigh = Math.max(xHigh, p.x * Math.exp(p.xu / p.x));
        }
      const room = Math.max(0.04 * Math.log(xHigh / xLow), 0.15);
      xLow *= Math.exp(-room);
      xHigh *= Math.exp(room);
    }
    const ys = [
      ...all.flatMap((p) => [p.y - (p.yu || 0), p.y + (p.yu || 0)]),
      ...lines.flatMap((l) => l.points.map((p) => p[1])),
      ...bands.flatMap((b) => b.points.flatMap((p) => [p[1], p[2]])),
    ].filter(Number.isFinite);
    let yLow = Math.min(0, ...ys),
      yHigh = Math.max(0, ...ys);
    if (yHigh === yLow) yHigh = yLow + 1;
    if (yLow < 0) yLow -= 0.06 * (yHigh - yLow);
    yHigh += 0.1 * (yHigh - yLow);
    const yTicks = linearTicks(yLow, yHigh, narrow ? 4 : 6);
    const left = Math.max(...yTicks.map((v) => tickName(v).length)) * type * 0.6 + 12,
      right = 10,
      bottom = type * 3.4,
      top = type * 2.1;
    const flip = spec.x.flip,
      w = width - left - right,
      h = height - top - bottom;
    const X = (x) => {
      const part = spec.x.linear ? (x - xLow) / (xHigh - xLow) : Math.log(x / xLow) / Math.log(xHigh / xLow);
      return left + w * (flip ? 1 - part : part);
    };
    const Y = (y) => top + h * (1 - (y - yLow) / (yHigh - yLow));
    const svg = document.createDocumentFragment();
    for (const value of yTicks) {
      svg.append(
        el("line", { x1: left, x2: width - right, y1: Y(value), y2: Y(value), class: value === 0 ? "axis" : "grid" }),
      );
      svg.append(text(left - 7, Y(value) + type * 0.34, tickName(value), { "text-anchor": "end", class: "tick" }));
    }
    svg.append(text(4, type * 1.05, spec.y.title, { class: "title" }));
    let lastName = -1e9;
    const ticks = (
      spec.x.linear
        ? linearTicks(xLow, xHigh, narrow ? 4 : 8).map((value) => ({ value, major: true, named: true }))
        : logTicks(xLow, xHigh)
    ).sort((a, b) => X(a.value) - X(b.value));
    const takes = (tick) => tickName(tick.value).length * type * 0.6;
    const placed = [];
    for (const tick of [...ticks].sort((a, b) => Number(b.major) - Number(a.major))) {
      if (!tick.named) continue;
      const x = X(tick.value),
        half = takes(tick) / 2 + 5;
      if (x - half < left - 16 || x + half > width + 4 || placed.some(([a, b]) => x + half > a && x - half < b))
        continue;
      placed.push([x - half, x + half]);
      svg.append(text(x, top + h + type * 1.35, tickName(tick.value), { "text-anchor": "middle", class: "tick" }));
    }
    for (const tick of ticks)
      svg.append(
        el("line", {
          x1: X(tick.value),
          x2: X(tick.value),
          y1: top + h,
          y2: top + h + (tick.major ? 6 : 3),
          class: "axis",
        }),
      );
    svg.append(el("line", { x1: left, x2: width - right, y1: top + h, y2: top + h, class: "axis" }));
    svg.append(text(left + w, height - type * 0.55, spec.x.title, { "text-anchor": "end", class: "title" }));
    for (const mark of spec.marks ?? []) {
      if (!(mark.x > xLow && mark.x < xHigh)) continue;
      if (mark.low > 0) {
        const a = X(Math.max(mark.low, xLow)),
          b = X(Math.min(mark.high, xHigh));
        svg.append(
          el("rect", {
            x: Math.min(a, b),
            width: Math.abs(b - a),
            y: top,
            height: h,
            class: "interval tone-" + (mark.tone ?? "gold"),
          }),
        );
      }
      svg.append(
        el("line", {
          x1: X(mark.x),
          x2: X(mark.x),
          y1: top,
          y2: top + h,
          class: "mark tone-" + (mark.tone ?? "gold") + (mark.dash ? " dash" : ""),
        }),
      );
      if (mark.words) {
        // To the right of the line, else to its left, else across it from the right end.
        const x = X(mark.x),
          long = mark.words.length * type * 0.62 + 8,
          right = x + long <= width,
          end = !right;
        const at = right ? x + 6 : x - long > 0 ? x - 6 : width - 3;
        svg.append(
          text(at, top + type * (0.9 + 1.25 * (mark.row ?? 0)), mark.words, {
            "text-anchor": end ? "end" : "start",
            class: "word tone-" + (mark.tone ?? "gold"),
          }),
        );
      }
    }
    for (const band of bands) {
      const upper = band.points.map((p) => `${X(p[0]).toFixed(1)},${Y(p[2]).toFixed(1)}`),
        lower = band.points.map((p) => `${X(p[0]).toFixed(1)},${Y(p[1]).toFixed(1)}`).reverse();
      svg.append(el("polygon", { points: [...upper, ...lower].join(" "), class: "band tone-" + band.tone }));
    }
    for (const line of lines) {
      const path = line.points
        .filter((p) => p[0] >= xLow * 0.999 && p[0] <= xHigh * 1.001 && Number.isFinite(p[1]))
        .map((p) => `${X(p[0]).toFixed(1)} ${Y(p[1]).toFixed(1)}`);
      if (path.length)
        svg.append(
          el("path", {
            d: "M" + path.join("L"),
            class:
              `line ` +
              `tone-${line.tone}${line.dash ? " dash-" + line.dash : ""}` +
              `${line.faint ? " faint" : ""}${line.wide ? " wide" : ""}`,
          }),
        );
    }
    this.targets = [];
    for (const one of spec.series) {
      for (const p of one.points) {
        if (!(spec.x.linear || p.x > 0) || !Number.isFinite(p.y)) continue;
        const x = X(p.x),
          y = Y(p.y),
          group = el("g", {
            class: `point tone-${one.tone}${p.dim ? " dim" : ""}${p.fresh ? " fresh" : ""}`,
            "data-n": p.n,
          });
        if (p.xu) {
          const a = X(p.x * Math.exp(-p.xu / p.x)),
            b = X(p.x * Math.exp(p.xu / p.x));
          group.append(el("line", { x1: a, x2: b, y1: y, y2: y, class: "bar" }));
        }
        if (p.yu) {
          const a = Y(p.y - p.yu),
            b = Y(p.y + p.yu);
          if (a - b > 2) group.append(el("line", { x1: x, x2: x, y1: a, y2: b, class: "bar" }));
        }
        if (p.fresh) group.append(el("circle", { cx: x, cy: y, r: 13, class: "halo" }));
        group.append(
          el("path", { d: shapePath(one.shape, x, y, narrow ? 4.4 : 5.2), class: "shape shape-" + one.shape }),
        );
        svg.append(group);
        this.targets.push({ x, y, p, one });
      }
    }
    for (const [name, value] of Object.entries({
      viewBox: `0 0 ${width} ${height}`,
      width,
      height,
      "font-size": type,
      "aria-label": spec.label,
    }))
      this.svg.setAttribute(name, value);
    this.svg.replaceChildren(svg);
    if (this.svg.parentNode !== this.place) this.place.replaceChildren(this.svg, this.tip);
    this.place.querySelector(":scope > .legend")?.remove();
    const legend = [
      ...spec.series.filter((one) => one.name && one.points.length),
      ...lines.filter((line) => line.name),
    ];
    if (legend.length) {
      const list = document.createElement("ul");
      list.className = "legend";
      for (const one of legend) {
        const item = document.createElement("li"),
          sign = el("svg", { viewBox: "0 0 24 14", width: 24, height: 14, "aria-hidden": "true" });
        if (one.shape)
          sign.append(
            el("path", { d: shapePath(one.shape, 12, 7, 5), class: `shape shape-${one.shape} tone-${one.tone}` }),
          );
        else
          sign.append(
            el("path", {
              d: "M1 7H23",
              class: `line tone-${one.tone}${one.dash ? " dash-" + one.dash : ""}${one.wide ? " wide" : ""}`,
            }),
          );
        item.append(sign, one.name);
        list.append(item);
      }
      this.place.append(list);
    }
    if (this.pointer) this.point(this.pointer);
  }
  point({ clientX, clientY }) {
    this.pointer = { clientX, clientY };
    const width = this.width,
      box = this.svg.getBoundingClientRect(),
      x = ((clientX - box.left) * width) / box.width,
      y = ((clientY - box.top) * width) / box.width;
    let best = null,
      least = 30 * 30;
    for (const target of this.targets) {
      const distance = (target.x - x) ** 2 + (target.y - y) ** 2;
      if (distance < least) {
        least = distance;
        best = target;
      }
    }
    this.near = best;
    if (!best || !best.p.about) {
      this.tip.hidden = true;
      return;
    }
    this.tip.textContent = best.p.about;
    this.tip.hidden = false;
    const scale = box.width / width,
      half = this.tip.offsetWidth / 2;
    this.tip.style.left = Math.min(Math.max(best.x * scale, half + 2), box.width - half - 2) + "px";
    this.tip.style.top = best.y * scale - 12 + "px";
  }
}

export { number };
