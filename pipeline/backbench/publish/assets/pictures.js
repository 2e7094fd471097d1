"use strict";
// The pictures of a page: values under the pointer or by keys, a mark brought out by a click,
// zoom with a way back, groups of marks shown or hidden. Text only ever enters as text.
(() => {
  const NS = "http://www.w3.org/2000/svg";
  const NEAR_PX = 26, STEP = 1.5, MOST = 12, PAN = 0.15;
  const VERTICES = /[ML]\s*(-?[\d.e-]+)[ ,](-?[\d.e-]+)/g;
  const HELP = "Press the left and right arrow keys to read values, up and down to change the curve,"
    + " Enter to highlight it, plus and minus to zoom, Shift with an arrow key to move,"
    + " Escape to see the whole picture again.";
  const make = (name, properties = {}, ...children) => {
    const element = Object.assign(document.createElement(name), properties);
    element.append(...children);
    return element;
  };
  const pictures = [];

  // What can be read: [{mark, x, y, text}] in the picture's own pixels, mark by mark.
  const readings = (svg) => {
    const paper = svg.getScreenCTM().inverse();
    return [...svg.querySelectorAll("[data-name]")].map((mark) => {
      const place = paper.multiply(mark.getScreenCTM());
      const at = (x, y) => new DOMPoint(x, y).matrixTransform(place);
      const texts = mark.dataset.says.split("\n");
      const drawn = mark.getAttribute("d") || "";
      const curve = mark.closest(".mark-line")
        ? [...drawn.matchAll(VERTICES)].map(([, x, y]) => at(Number(x), Number(y))) : [];
      if (curve.length) return curve.map(({ x, y }, k) => ({ mark, x, y, text: texts[k] || "" }));
      const box = mark.getBBox();
      const { x, y } = at(box.x + box.width / 2, box.y + box.height / 2);
      return [{ mark, x, y, text: texts.join("; ") }];
    }).filter((run) => run.length);
  };

  function picture(frame) {
    const svg = frame.querySelector("svg");
    const whole = svg.viewBox.baseVal;
    const paper = { x: whole.x, y: whole.y, width: whole.width, height: whole.height };
    const ring = document.createElementNS(NS, "circle");
    ring.setAttribute("class", "here");
    ring.setAttribute("r", "7");
    const tip = make("p", { className: "tip", hidden: true });
    const live = make("p", { className: "unseen" });
    live.setAttribute("aria-live", "polite");
    let runs = null, run = 0, step = -1, dragged = null;
    const all = () => (runs = runs || readings(svg));
    const visible = ({ mark }) => !mark.classList.contains("is-out");

    const say = (reading, aloud) => {
      const name = reading.mark.dataset.name;
      tip.replaceChildren(...(name ? [make("strong", { textContent: name })] : []),
        ...(reading.text ? [make("span", { textContent: reading.text })] : []));
      tip.hidden = false;
      ring.setAttribute("cx", reading.x);
      ring.setAttribute("cy", reading.y);
      svg.append(ring);
      const box = frame.getBoundingClientRect();
      const seen = new DOMPoint(reading.x, reading.y).matrixTransform(svg.getScreenCTM());
      const left = Math.min(Math.max(seen.x - box.left + 14, 0), box.width - tip.offsetWidth);
      const above = seen.y - box.top - tip.offsetHeight - 12;
      tip.style.left = `${left}px`;
      tip.style.top = `${above < 0 ? seen.y - box.top + 14 : above}px`;
      if (aloud) live.textContent = [name, reading.text].filter(Boolean).join(": ");
    };
    const hush = () => {
      tip.hidden = true;
      ring.remove();
    };
    const nearest = (event) => {
      const { x, y } = new DOMPoint(event.clientX, event.clientY)
        .matrixTransform(svg.getScreenCTM().inverse());
      const size = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
      let best = null, least = NEAR_PX / size;
      for (const reading of all().flat().filter(visible)) {
        const apart = Math.hypot(reading.x - x, reading.y - y);
        if (apart < least) [best, least] = [reading, apart];
      }
      return best || passing(x, y, NEAR_PX / size / 2);
    };
    // Between two vertices of a curve that are far apart, the nearer of them.
    const passing = (x, y, reach) => {
      for (const own of all().filter((some) => some.length > 1 && visible(some[0]))) {
        const k = own.findIndex((reading) => reading.x >= x);
        if (k < 1) continue;
        const [a, b] = [own[k - 1], own[k]];
        const share = (x - a.x) / (b.x - a.x || 1);
        if (Math.abs(a.y + share * (b.y - a.y) - y) < reach) return share < 0.5 ? a : b;
      }
      return null;
    };

    const zoom = (factor, cx, cy) => {
      const view = svg.viewBox.baseVal;
      const width = Math.min(paper.width, Math.max(paper.width / MOST, view.width / factor));
      const height = width * paper.height / paper.width;
      const x = cx === undefined ? view.x + view.width / 2 : cx;
      const y = cy === undefined ? view.y + view.height / 2 : cy;
      move(x - (x - view.x) * width / view.width, y - (y - view.y) * height / view.height, width, height);
    };
    const move = (x, y, width, height) => {
      const inside = (v, low, room) => Math.min(Math.max(v, low), low + room);
      svg.setAttribute("viewBox", [inside(x, paper.x, paper.width - width),
        inside(y, paper.y, paper.height - height), width, height].map((v) => v.toFixed(2)).join(" "));
      const closer = width < paper.width - 0.01;
      frame.classList.toggle("is-close", closer);
      back.disabled = out.disabled = !closer;
      hush();
    };
    const pan = (dx, dy) => {
      const view = svg.viewBox.baseVal;
      move(view.x + dx * view.width, view.y + dy * view.height, view.width, view.height);
    };
    const restore = () => move(paper.x, paper.y, paper.width, paper.height);

    const walk = (along, across) => {
      const some = all().filter((own) => visible(own[0]));
      if (!some.length) return;
      const dots = some.every((own) => own.length === 1);
      const lines = dots ? [some.flat().sort((a, b) => a.x - b.x)] : some;
      run = (run + across + lines.length) % lines.length;
      const last = lines[run].length - 1;
      step = step < 0 ? 0 : Math.min(Math.max(step + along, 0), last);
      say(lines[run][step], true);
      chosen = lines[run][step];
    };
    let chosen = null;
    const closer = (factor) => (chosen ? zoom(factor, chosen.x, chosen.y) : zoom(factor));
    const KEYS = {
      ArrowRight: () => walk(1, 0), ArrowLeft: () => walk(-1, 0),
      ArrowDown: () => walk(0, 1), ArrowUp: () => walk(0, -1),
      "+": () => closer(STEP), "=": () => closer(STEP), "-": () => closer(1 / STEP),
      Enter: () => chosen && bringOut(chosen.mark.dataset.name),
      Escape: () => { restore(); bringOut(""); chosen = null; },
    };
    const SHIFTED = {
      ArrowRight: () => pan(PAN, 0), ArrowLeft: () => pan(-PAN, 0),
      ArrowDown: () => pan(0, PAN), ArrowUp: () => pan(0, -PAN), "+": () => closer(STEP),
    };
    frame.addEventListener("keydown", (event) => {
      const does = event.target === frame && !event.ctrlKey && !event.metaKey && !event.altKey
        && (event.shiftKey ? SHIFTED : KEYS)[event.key];
      if (!does) return;
      event.preventDefault();
      does();
    });
    svg.addEventListener("pointermove", (event) => {
      if (dragged) {
        const size = svg.getBoundingClientRect().width;
        pan((dragged.x - event.clientX) / size, (dragged.y - event.clientY) * paper.width
          / paper.height / size);
        dragged = { x: event.clientX, y: event.clientY, moved: true };
        return;
      }
      const found = nearest(event);
      if (found) say(found, false); else hush();
    });
    svg.addEventListener("pointerleave", () => { hush(); dragged = null; });
    svg.addEventListener("pointerdown", (event) => {
      if (frame.classList.contains("is-close")) dragged = { x: event.clientX, y: event.clientY };
    });
    svg.addEventListener("click", (event) => {
      const moved = dragged && dragged.moved;
      dragged = null;
      if (moved) return;
      const found = nearest(event);
      bringOut(found ? found.mark.dataset.name : "");
    });
    svg.addEventListener("pointerup", () => { if (dragged && !dragged.moved) dragged = null; });
    // The wheel scrolls the page; it zooms with Ctrl, or where the picture has the focus.
    svg.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && document.activeElement !== frame) return;
      event.preventDefault();
      const { x, y } = new DOMPoint(event.clientX, event.clientY)
        .matrixTransform(svg.getScreenCTM().inverse());
      zoom(event.deltaY < 0 ? STEP : 1 / STEP, x, y);
    }, { passive: false });

    const button = (text, does) => {
      const made = make("button", { type: "button", textContent: text });
      made.addEventListener("click", does);
      return made;
    };
    const out = button("Zoom out", () => zoom(1 / STEP));
    const back = button("Whole picture", restore);
    out.disabled = back.disabled = true;
    const tools = make("p", { className: "tools" }, button("Zoom in", () => zoom(STEP)), out, back,
      ...groups(svg, hush));
    frame.tabIndex = 0;
    frame.setAttribute("role", "group");
    frame.setAttribute("aria-label", `${svg.getAttribute("aria-label")} ${HELP}`);
    frame.append(tip, live);
    frame.after(tools);
    return svg;
  }

  // A switch for each group of marks, where there are several.
  const groups = (svg, changed) => {
    const marks = [...svg.querySelectorAll("[data-group]:not([data-group=''])")];
    const names = [...new Set(marks.map((mark) => mark.dataset.group))];
    if (names.length < 2) return [];
    return names.map((name) => {
      const made = make("button", { type: "button", className: "switch", textContent: name });
      made.setAttribute("aria-pressed", "true");
      made.addEventListener("click", () => {
        const on = made.getAttribute("aria-pressed") !== "true";
        made.setAttribute("aria-pressed", String(on));
        for (const mark of marks.filter((one) => one.dataset.group === name)) {
          mark.classList.toggle("is-out", !on);
        }
        changed();
      });
      return made;
    });
  };

  // One unit or curve, by name, in every picture of the page; the same again lets it go.
  let brought = "";
  const unit = (name) => name.split(",")[0];
  const bringOut = (name) => {
    brought = name && name !== brought ? name : "";
    for (const svg of pictures) {
      const marks = [...svg.querySelectorAll("[data-name]")];
      const same = marks.filter((mark) => mark.dataset.name === brought);
      const lit = same.length ? same : marks.filter((mark) => brought
        && unit(mark.dataset.name) === unit(brought));
      svg.classList.toggle("has-lit", lit.length > 0);
      for (const mark of marks) mark.classList.toggle("is-lit", lit.includes(mark));
    }
  };

  for (const frame of document.querySelectorAll(".drawn:not(.printed)")) pictures.push(picture(frame));
})();
