"use strict";
// Curves of compared units over each other; of two units the difference beneath.
const overlaidCurves = (() => {
  const NS = "http://www.w3.org/2000/svg";
  const element = (name, attributes, text) => {
    const made = document.createElementNS(NS, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    if (text !== undefined) made.textContent = text;
    return made;
  };
  const DASHES = ["", "8 3", "2 2", "9 3 2 3"];
  const DASH_NAMES = ["solid", "dashed", "dotted", "dashed and dotted"];
  const LEFT = 64, RIGHT = 40, TOP = 22, UPPER = 230, GAP = 46, LOWER = 110, FOOT = 42;
  const PREFIXES = [[1e3, "k"], [1, ""], [1e-3, "m"], [1e-6, "µ"]];
  const COVERAGE = 2;

  const minus = (text) => text.replace("-", "−");
  const plain = (value) => minus(String(Number(value.toPrecision(3))));
  const withUnit = (value, unit) => {
    if (unit !== "Hz" && unit !== "W") return `${plain(value)} ${unit}`;
    const [size, prefix] = PREFIXES.find(([least]) => Math.abs(value) >= least) || PREFIXES[1];
    return `${plain(value / size)} ${prefix}${unit}`;
  };
  const signed = (value, unit) => (value > 0 ? "+" : "") + withUnit(value, unit);

  const scale = (low, high, from, to, log) => {
    const at = (v) => (log ? Math.log10(v) : v);
    const span = at(high) - at(low) || 1;
    return (v) => from + (to - from) * (at(v) - at(low)) / span;
  };
  const logTicks = (low, high, room) => {
    const all = [];
    for (let d = Math.floor(Math.log10(low)); d <= Math.ceil(Math.log10(high)); d += 1) {
      for (const head of room ? [1, 2, 5] : [1]) all.push(head * 10 ** d);
    }
    return all.filter((t) => t >= low * 0.999 && t <= high * 1.001);
  };
  const evenTicks = (low, high) => {
    const rough = (high - low) / 4;
    const decade = 10 ** Math.floor(Math.log10(rough));
    const step = [1, 2, 5, 10].find((s) => s * decade >= rough * 0.9) * decade;
    const ticks = [];
    for (let t = Math.ceil(low / step) * step; t <= high + step * 1e-6; t += step) ticks.push(t);
    return ticks.map((t) => Math.round(t / step) * step).map((t) => Number(t.toPrecision(6)));
  };

  // The second curve at the abscissae of the first; in dB where values are compared as ratios.
  const difference = ([x, y, u], [x2, y2, u2], log) => {
    const points = [];
    x.forEach((at, k) => {
      const after = x2.findIndex((v) => v >= at * (1 - 1e-9));
      if (after < 0 || (after === 0 && x2[0] > at * (1 + 1e-9))) return;
      const i = Math.max(after, 1), j = i - 1;
      if (x2.length < 2) return;
      const share = Math.log(at / x2[j]) / Math.log(x2[i] / x2[j]);
      const mix = (a, b) => a + share * (b - a);
      const known = u[k] !== null && u2[i] !== null && u2[j] !== null;
      if (log) {
        const other = Math.exp(mix(Math.log(y2[j]), Math.log(y2[i])));
        const relative = known ? Math.hypot(u[k] / y[k], mix(u2[j], u2[i]) / other) : null;
        const reach = known ? COVERAGE * 20 / Math.LN10 * relative : null;
        points.push({ x: at, d: 20 * Math.log10(other / y[k]), reach });
      } else {
        const reach = known ? COVERAGE * Math.hypot(u[k], mix(u2[j], u2[i])) : null;
        points.push({ x: at, d: mix(y2[j], y2[i]) - y[k], reach });
      }
    });
    return points;
  };
  const beyond = ({ d, reach }) => reach !== null && Math.abs(d) > reach;

  const finding = (set, units, parts) => {
    const all = Object.entries(parts).flatMap(([output, points]) =>
      points.map((point) => ({ output, ...point })));
    if (!all.length) return set.title;
    const certain = all.filter(beyond);
    const known = all.some(({ reach }) => reach !== null);
    if (known && !certain.length) return `${set.title}: no difference beyond the uncertainty`;
    const most = (certain.length ? certain : all)
      .reduce((a, b) => (Math.abs(b.d) > Math.abs(a.d) ? b : a));
    const unit = set.log || set.unit.startsWith("dB") ? "dB" : set.unit;
    const where = `${withUnit(most.x, set.x_unit)} (${most.output})`;
    const rule = known ? "" : "; uncertainty not known";
    return `${set.title}: ${units[1].letter} differs most from ${units[0].letter} at ${where}, `
      + `by ${signed(most.d, unit)}${rule}`;
  };

  const axes = (svg, x, y, ticksX, ticksY, box, texts) => {
    for (const t of ticksY) {
      svg.append(element("path", { class: "grid", d: `M${box.left} ${y(t)}H${box.right}` }));
      svg.append(element("text", { x: box.left - 8, y: y(t) + 4, class: "end" }, texts.y(t)));
    }
    for (const t of ticksX) {
      svg.append(element("path", { class: "grid", d: `M${x(t)} ${box.top}V${box.bottom}` }));
      if (texts.x) svg.append(element("text", { x: x(t), y: box.bottom + 18, class: "middle" }, texts.x(t)));
    }
  };
  const path = (x, y, xs, ys) =>
    `M${xs.map((v, k) => `${x(v).toFixed(1)} ${y(ys[k]).toFixed(1)}`).join("L")}`;

  // units: [{letter, label, curves: {output: [x, y, u]}}] with a curve; gives a figure or null.
  return (set, units, width) => {
    const drawn = units.filter(({ curves }) => curves);
    if (drawn.length < 2) return null;
    const every = drawn.flatMap(({ curves }) => Object.values(curves));
    const xs = every.flatMap(([x]) => x), ys = every.flatMap(([, y]) => y);
    const parts = {};
    if (drawn.length === 2) {
      for (const [output, first] of Object.entries(drawn[0].curves)) {
        const second = drawn[1].curves[output];
        const points = second ? difference(first, second, set.log) : [];
        if (points.length) parts[output] = points;
      }
    }
    const pair = Object.keys(parts).length > 0;
    const height = TOP + UPPER + (pair ? GAP + LOWER : 0) + FOOT;
    const box = { left: LEFT, right: width - RIGHT, top: TOP, bottom: TOP + UPPER };
    const low = Math.min(...xs), high = Math.max(...xs);
    const x = scale(low, high, box.left, box.right, true);
    const pad = (Math.max(...ys) - Math.min(...ys)) * 0.06 || 1;
    const ends = set.log ? [Math.min(...ys) / 1.2, Math.max(...ys) * 1.2]
      : [Math.min(...ys) - pad, Math.max(...ys) + pad];
    const y = scale(...ends, box.bottom, box.top, set.log);
    const heading = finding(set, drawn, parts);
    const svg = element("svg", { viewBox: `0 0 ${width} ${height}`, width, height, class: "overlay", role: "img", "aria-label": heading });
    const dense = width > 560;
    const ticksX = logTicks(low, high, dense);
    const ticksY = set.log ? logTicks(...ends, false) : evenTicks(...ends);
    const numbers = (t) => withUnit(t, set.x_unit);
    axes(svg, x, y, ticksX, ticksY, box, { x: pair ? null : numbers, y: plain });
    svg.append(element("text", { x: 4, y: 12 }, `${set.title} (${set.unit})`));
    const names = [...new Set(drawn.flatMap(({ curves }) => Object.keys(curves)))].sort();
    const dash = (output) => Math.max(names.indexOf(output), 0) % DASHES.length;
    drawn.forEach((unit, k) => {
      for (const [output, [cx, cy]] of Object.entries(unit.curves)) {
        const line = element("path", { class: `curve c${k % 4}`, d: path(x, y, cx, cy), "stroke-dasharray": DASHES[dash(output)] });
        line.append(element("title", {}, `${unit.letter} ${unit.label}, ${output}`));
        svg.append(line);
      }
    });
    const tags = drawn.map((unit) => ({ unit, at: Math.max(...Object.values(unit.curves).map(([, cy]) => y(cy[cy.length - 1]))) }))
      .sort((a, b) => a.at - b.at);
    tags.forEach((tag, k) => {
      tag.at = Math.max(tag.at, k ? tags[k - 1].at + 16 : 0);
      svg.append(element("text", { x: box.right + 8, y: tag.at + 4, class: "strong" }, tag.unit.letter));
    });
    if (pair) beneath(svg, set, drawn, parts, x, ticksX, box, numbers, dash);
    const figure = document.createElement("figure");
    const title = document.createElement("h2");
    title.textContent = heading;
    const caption = document.createElement("figcaption");
    const lines = drawn.map(({ letter, curves }) => `${letter}: ${Object.keys(curves).join(" and ")}`);
    if (names.length > 1) lines.push(names.map((output) => `${output} ${DASH_NAMES[dash(output)]}`).join(", "));
    caption.textContent = [set.conditions, ...lines, ...(Object.values(parts).flat().some(beyond) ? ["ringed: beyond the expanded uncertainty (k = 2)"] : [])].join("; ");
    figure.append(title, svg, caption);
    return figure;
  };

  function beneath(svg, set, drawn, parts, x, ticksX, upper, numbers, dash) {
    const box = { ...upper, top: upper.bottom + GAP, bottom: upper.bottom + GAP + LOWER };
    const all = Object.values(parts).flat();
    const unit = set.log || set.unit.startsWith("dB") ? "dB" : set.unit;
    const most = Math.max(0.1, ...all.map(({ d, reach }) => Math.abs(d) + (reach || 0)));
    const y = scale(-most * 1.08, most * 1.08, box.bottom, box.top, false);
    axes(svg, x, y, ticksX, evenTicks(-most, most), box, { x: numbers, y: plain });
    svg.append(element("path", { class: "zero", d: `M${box.left} ${y(0)}H${box.right}` }));
    svg.append(element("text", { x: 4, y: box.top - 12 }, `${drawn[1].letter} minus ${drawn[0].letter} (${unit})`));
    Object.entries(parts).forEach(([output, points]) => {
      const sure = points.filter(({ reach }) => reach !== null);
      if (sure.length > 1) {
        const there = sure.map((p) => `${x(p.x).toFixed(1)} ${y(p.d + p.reach).toFixed(1)}`);
        const back = [...sure].reverse().map((p) => `${x(p.x).toFixed(1)} ${y(p.d - p.reach).toFixed(1)}`);
        svg.append(element("path", { class: "reach", d: `M${[...there, ...back].join("L")}z` }));
      }
      const line = element("path", { class: "curve apart", d: path(x, y, points.map((p) => p.x), points.map((p) => p.d)), "stroke-dasharray": DASHES[dash(output)] });
      line.append(element("title", {}, output));
      svg.append(line);
      for (const point of points.filter(beyond)) {
        const ring = element("circle", { class: "beyond", cx: x(point.x).toFixed(1), cy: y(point.d).toFixed(1), r: 4 });
        ring.append(element("title", {}, `${withUnit(point.x, set.x_unit)}, ${output}: ${signed(point.d, unit)} ± ${plain(point.reach)} ${unit}`));
        svg.append(ring);
      }
    });
  }
})();
