"use strict";
// Filter, sort, select and compare units. Text only ever enters the page as text.
(() => {
  const by = (id) => document.getElementById(id);
  const make = (name, properties = {}, ...children) => {
    const element = Object.assign(document.createElement(name), properties);
    element.append(...children);
    return element;
  };
  const svgElement = (name, attributes) => {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    return element;
  };
  const plain = (text) => text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();

  function overview(table) {
    const form = by("finder");
    const patterns = new Map([...document.querySelectorAll("template[data-technology]")]
      .map((template) => [template.dataset.technology, template.content]));
    const newRow = (pattern, [key, label, technology, kind, first, years, state, figures]) => {
      const row = pattern.cloneNode(true);
      row.dataset.key = key;
      row.querySelector("input").setAttribute("aria-label", `Pick ${label}`);
      row.querySelector("a").href = `units/${key}.html`;
      row.querySelector("bdi").textContent = label;
      row.cells[2].replaceChildren(patterns.get(technology).cloneNode(true));
      row.cells[3].textContent = kind;
      row.cells[4].textContent = years;
      row.cells[4].dataset.v = first;
      row.cells[5].textContent = state;
      figures.forEach(([value, shown], n) => {
        row.cells[6 + n].textContent = shown;
        row.cells[6 + n].dataset.v = value;
      });
      return row;
    };
    let rows = [...table.tBodies[0].rows];
    const more = by("more") ? JSON.parse(by("more").textContent) : [];
    rows.push(...more.map((brief) => newRow(rows[0], brief)));
    const narrow = matchMedia("screen and (max-width: 40rem)").matches;
    const most = narrow ? 12 : Number(table.dataset.page);
    let start = 0;
    const texts = new Map(rows.map((row) => [row, plain(row.textContent + " " + row.dataset.key)]));
    const cell = (row, n) => row.cells[n].textContent.trim();
    const filters = [["technology", 2], ["kind", 3], ["state", 5]];

    const show = () => {
      const words = plain(by("words").value).split(/\s+/).filter(Boolean);
      const wanted = filters.map(([id, n]) => [by(id).value, n]).filter(([value]) => value);
      const matching = rows.filter((row) => words.every((word) => texts.get(row).includes(word))
        && wanted.every(([value, n]) => cell(row, n) === value));
      const shown = matching.length;
      if (start >= shown) start = 0;
      const end = Math.min(start + most, shown);
      table.tBodies[0].replaceChildren(...matching.slice(start, end));
      by("pager").hidden = shown <= most;
      by("span").textContent = `${start + 1} to ${end} of ${shown}`;
      by("earlier").disabled = start === 0;
      by("later").disabled = end === shown;
      by("count").textContent = shown === rows.length
        ? `${rows.length} units` : `${shown} of ${rows.length} units`;
    };

    const value = (row, n, numeric) => {
      if (!numeric) return plain(cell(row, n));
      const text = row.cells[n].dataset.v;
      return text === "" || text === undefined ? null : Number(text);
    };
    const sort = (heading, n, numeric) => {
      const down = heading.getAttribute("aria-sort") === "ascending";
      for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
      heading.setAttribute("aria-sort", down ? "descending" : "ascending");
      const keyed = rows.map((row) => [value(row, n, numeric), row]);
      keyed.sort(([a], [b]) => {
        if (a === null || b === null) return (a === null) - (b === null);
        const order = numeric ? a - b : a.localeCompare(b);
        return down ? -order : order;
      });
      rows = keyed.map(([, row]) => row);
      start = 0;
      show();
    };
    const turnPage = (rowCount) => {
      start = Math.max(0, start + rowCount);
      show();
      table.scrollIntoView();
    };
    by("earlier").addEventListener("click", () => turnPage(-most));
    by("later").addEventListener("click", () => turnPage(most));
    [...table.tHead.rows[0].cells].forEach((heading, n) => {
      if (!heading.dataset.kind) return;
      const button = make("button", { type: "button", textContent: heading.textContent });
      button.addEventListener("click", () => sort(heading, n, heading.dataset.kind === "number"));
      heading.replaceChildren(button);
    });

    const order = by("order");
    const headings = [...table.tHead.rows[0].cells];
    headings.forEach((heading, n) => {
      if (heading.dataset.kind) order.append(new Option(heading.textContent, String(n)));
    });
    order.addEventListener("change", () => {
      const heading = headings[Number(order.value)];
      heading.removeAttribute("aria-sort");
      sort(heading, Number(order.value), heading.dataset.kind === "number");
    });

    const pick = () => {
      const keys = rows.filter((row) => row.querySelector("input").checked)
        .map((row) => row.dataset.key);
      for (const row of rows) row.classList.toggle("is-picked", row.querySelector("input").checked);
      const link = by("together");
      link.textContent = keys.length < 2
        ? "Select two or more to compare them" : `Compare ${keys.length} units`;
      link.href = keys.length ? `compare.html#${keys.join(",")}` : "compare.html";
      link.setAttribute("aria-disabled", String(keys.length < 2));
    };
    for (const row of rows) {
      const box = row.querySelector("input");
      box.hidden = false;
      box.addEventListener("change", pick);
    }
    form.hidden = false;
    form.addEventListener("submit", (event) => event.preventDefault());
    form.addEventListener("input", (event) => {
      if (event.target === order) return;
      start = 0;
      show();
    });
    show();
    pick();
  }

  function sideBySide(source) {
    const data = JSON.parse(source.textContent);
    const units = new Map(data.units.map(([key, label, about], n) => [key, { label, about, n }]));
    const sheets = by("sheets") ? [...by("sheets").querySelectorAll("a")] : [];
    const add = by("add");
    const letters = (n) => String.fromCharCode(65 + (n % 26)) + (n < 26 ? "" : Math.floor(n / 26));
    const WAYS = { lower: "lower is better", higher: "higher is better", "nearer zero": "nearer zero is better" };
    let keys = [];

    const fromAddress = () => {
      const named = decodeURIComponent(location.hash.slice(1)).split(",");
      keys = [...new Set(named)].filter((key) => units.has(key)).slice(0, 12);
      draw();
    };
    const choose = (chosen) => {
      keys = chosen;
      history.replaceState(null, "", `#${keys.join(",")}`);
      draw();
    };
    const chips = () => keys.map((key, n) => {
      const { label, about } = units.get(key);
      const drop = make("button", { type: "button", textContent: "remove" });
      drop.setAttribute("aria-label", `Remove ${label}`);
      drop.addEventListener("click", () => choose(keys.filter((other) => other !== key)));
      const link = make("a", { href: `units/${key}.html` }, make("bdi", { textContent: label }));
      return make("span", { className: "chip" }, make("b", { textContent: letters(n) }), " ", link,
        make("small", { textContent: `${about} ` }, drop));
    });

    const scale = (quantity) => {
      const [least, greatest] = quantity.ends;
      const log = least > 0 && greatest / least > 10;
      const to = (x) => (log ? Math.log10(Math.max(x, 1e-300)) : x);
      const span = to(greatest) - to(least);
      return (x) => 10 + 220 * Math.min(Math.max(span ? (to(x) - to(least)) / span : 0.5, 0), 1);
    };
    const dots = (quantity, measured) => {
      const at = scale(quantity);
      const description = measured.map(([n, v]) => `${letters(n)} ${v[3]}`).join(", ");
      const marks = measured.map(([n, v]) => ({ n, v, x: at(v[0]), level: 0 }));
      marks.forEach((mark, i) => {
        const near = marks.slice(0, i).filter((other) => Math.abs(other.x - mark.x) < 13);
        while (near.some((other) => other.level === mark.level)) mark.level += 1;
      });
      const base = 20 + 12 * Math.max(...marks.map((mark) => mark.level));
      const svg = svgElement("svg", { viewBox: `0 0 240 ${base + 8}`, class: "dots", role: "img", "aria-label": description });
      svg.append(svgElement("path", { class: "axis", d: `M4 ${base}H236` }));
      for (const { n, v: [value, u], x, level } of marks) {
        if (u !== null) svg.append(svgElement("path", { d: `M${at(value - 2 * u)} ${base}H${at(value + 2 * u)}`, "stroke-width": 2 }));
        svg.append(svgElement("circle", { cx: x, cy: base, r: 4.5 }));
        const letter = svgElement("text", { x, y: base - 8 - 12 * level });
        letter.textContent = letters(n);
        svg.append(letter);
      }
      return svg;
    };
    // Which of two values is the better one: 0, 1, or -1 where neither is.
    const betterOf = (better, a, b) => {
      const size = { lower: (v) => -v, higher: (v) => v, "nearer zero": (v) => -Math.abs(v) }[better];
      return size ? Number(size(b[0]) > size(a[0])) : -1;
    };
    const difference = (quantity, a, b) => {
      if (!a || !b) return "";
      const [larger, smaller] = a[0] > b[0] ? [a, b] : [b, a];
      if (a[1] === null || b[1] === null || larger[2] === "upper" || smaller[2] === "lower") return "undecided";
      if (Math.abs(a[0] - b[0]) <= 2 * Math.hypot(a[1], b[1])) return "not significantly different";
      const best = betterOf(quantity.better, a, b);
      return "significantly different" + (best < 0 ? "" : `: ${letters(best)} better`);
    };

    // The digits before the point take one width, so that points stand beneath each other.
    const aligned = (text) => {
      const found = /^((?:[≤≥]\u00a0)?−?[0-9\u202f]+)(.*)$/s.exec(text);
      return found ? [make("span", { className: "whole", textContent: found[1] }), found[2]] : [text];
    };
    const line = (quantity) => {
      const values = keys.map((key) => quantity.values[units.get(key).n]);
      const measured = values.map((v, n) => [n, v]).filter(([, v]) => v);
      if (!measured.length) return null;
      const row = make("tr");
      row.setAttribute("role", "row");
      const name = make("th", { scope: "row", textContent: quantity.title }, make("small", { textContent: [quantity.point, WAYS[quantity.better]].filter(Boolean).join("; ") }));
      name.setAttribute("role", "rowheader");
      const cells = values.map((v, n) => {
        const td = make("td", {}, ...aligned(v ? v[3] : "—"));
        if (keys.length < 4) td.className = "kept";
        td.dataset.label = letters(n);
        if (v && v[4] === "entered") td.append(make("small", { textContent: "entered from an old record" }));
        return td;
      });
      const picture = make("td", {}, dots(quantity, measured));
      const verdict = keys.length === 2 ? [make("td", { textContent: difference(quantity, ...values) || "—" })] : [];
      if (verdict.length) verdict[0].dataset.label = "Difference";
      if (verdict.length && verdict[0].textContent.startsWith("significantly")) row.classList.add("is-apart");
      for (const td of [...cells, picture, ...verdict]) td.setAttribute("role", "cell");
      row.append(name, ...cells, picture, ...verdict);
      return row;
    };
    const table = () => {
      const head = make("tr");
      head.setAttribute("role", "row");
      const titles = ["Quantity", ...keys.map((_, n) => letters(n)), "Values on one scale"];
      if (keys.length === 2) titles.push("Difference");
      for (const title of titles) {
        const th = make("th", { scope: "col", textContent: title });
        th.setAttribute("role", "columnheader");
        head.append(th);
      }
      const whole = make("table", { className: "cards" },
        make("caption", { className: "unseen", textContent: "Compared units" }),
        make("thead", {}, head), make("tbody", {}, ...data.places.map(line).filter(Boolean)));
      whole.setAttribute("role", "table");
      whole.tHead.setAttribute("role", "rowgroup");
      whole.tBodies[0].setAttribute("role", "rowgroup");
      return whole;
    };
    const folded = (whole) => make("details",
      { className: "fold", open: !matchMedia("screen and (max-width: 40rem)").matches },
      make("summary", { textContent: `${whole.tBodies[0].rows.length} quantities` }), whole);
    const overlays = () => {
      if (!by("curves") || keys.length < 2) return [];
      const width = Math.max(300, Math.min(900, by("overlays").clientWidth));
      return JSON.parse(by("curves").textContent).map((set) => overlaidCurves(set, keys.slice(0, 4)
        .map((key, n) => ({ letter: letters(n), label: units.get(key).label, curves: set.of[units.get(key).n] })), width))
        .filter(Boolean);
    };
    const draw = () => {
      by("overlays").replaceChildren(...overlays());
      by("picked").replaceChildren(...chips());
      const enough = keys.length > 1;
      by("side").replaceChildren(enough ? folded(table())
        : make("p", { textContent: keys.length ? "Add one more unit." : "Add two or more units, or select them on the page of units." }));
      for (const link of sheets) link.hash = keys.join(",");
      add.value = "";
    };

    for (const [key, { label }] of units) add.append(new Option(label, key));
    add.addEventListener("change", () => {
      if (add.value && !keys.includes(add.value)) choose([...keys, add.value]);
    });
    by("picker").hidden = false;
    by("picker").addEventListener("submit", (event) => event.preventDefault());
    window.addEventListener("hashchange", fromAddress);
    fromAddress();
  }

  if (by("units")) overview(by("units"));
  if (by("data")) sideBySide(by("data"));
})();
