"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const view = document.getElementById("view");
  const image = document.getElementById("picture");
  const dots = document.getElementById("dots");
  const plates = document.getElementById("plates");
  const mark = document.getElementById("mark");
  const other = document.getElementById("other");
  const said = document.getElementById("said");
  const typed = document.getElementById("typed");
  const SVG = "http://www.w3.org/2000/svg";

  // Room a number takes on the screen, and how near a click must be, in screen px.
  const APART = 40;
  const NEAR = 16;
  const LARGEST_SCALE = 40;

  // Screen px = scale * (picture px + 0.5) + shift: a pixel's centre is a whole number, its edge half a pixel off.
  let scale = 1, shiftX = 0, shiftY = 0;
  let whole = true;
  let chosen = null;
  const picked = [];
  const atX = (n) => scale * (data.points[n][0] + 0.5) + shiftX;
  const atY = (n) => scale * (data.points[n][1] + 0.5) + shiftY;

  const levels = appearAt();

  // For each point the zoom, as a power of two, from which its number is shown: what shows stays when zooming in.
  function appearAt() {
    const level = new Array(data.points.length).fill(Infinity);
    const coarsest = Math.floor(Math.log2(100 / Math.max(data.width, data.height)));
    const finest = Math.ceil(Math.log2(LARGEST_SCALE));
    for (let at = coarsest; at <= finest; at++) {
      const apart = APART / 2 ** at;
      const taken = new Map();
      const cell = (v) => Math.floor(v / apart);
      const put = (n) => {
        const key = cell(data.points[n][0]) + "," + cell(data.points[n][1]);
        if (taken.has(key)) taken.get(key).push(n); else taken.set(key, [n]);
      };
      const free = (n) => {
        const [x, y] = data.points[n];
        for (let i = cell(x) - 1; i <= cell(x) + 1; i++) {
          for (let j = cell(y) - 1; j <= cell(y) + 1; j++) {
            for (const other of taken.get(i + "," + j) || []) {
              const [ox, oy] = data.points[other];
              if (Math.abs(ox - x) < apart && Math.abs(oy - y) < apart * 0.6) return false;
            }
          }
        }
        return true;
      };
      for (let n = 0; n < level.length; n++) if (level[n] < at) put(n);
      for (let n = 0; n < level.length; n++) if (level[n] > at && free(n)) { level[n] = at; put(n); }
    }
    return level;
  }

  function draw() {
    image.style.transform = `matrix(${scale},0,0,${scale},${shiftX},${shiftY})`;
    image.style.imageRendering = scale > 3 ? "pixelated" : "auto";
    const width = view.clientWidth, height = view.clientHeight;
    const level = Math.floor(Math.log2(scale) + 1e-9);
    let path = "";
    const shown = [];
    for (let n = 0; n < data.points.length; n++) {
      const x = atX(n), y = atY(n);
      if (x < -40 || y < -40 || x > width + 40 || y > height + 40) continue;
      path += `M${x.toFixed(1)} ${y.toFixed(1)}h0`;
      if (n === chosen || (levels[n] <= level && !hiddenByChosen(n))) shown.push(n);
    }
    dots.setAttribute("d", path);
    dots.style.strokeWidth = Math.min(5, Math.max(3, 3 + 2 * Math.log2(scale / fitScale()) / 3));
    while (plates.childElementCount < shown.length) plates.append(newPlate());
    [...plates.children].forEach((plate, i) => {
      plate.style.display = i < shown.length ? "" : "none";
      if (i < shown.length) fill(plate, shown[i]);
    });
    const before = picked.length > 1 ? picked[picked.length - 2] : null;
    for (const [ring, n] of [[mark, chosen], [other, chosen === null ? null : before]]) {
      ring.style.display = n === null ? "none" : "";
      if (n === null) continue;
      ring.setAttribute("cx", atX(n));
      ring.setAttribute("cy", atY(n));
    }
  }

  // The number chosen is shown at any zoom, and no neighbour's over it.
  function hiddenByChosen(n) {
    return chosen !== null && Math.abs(atX(n) - atX(chosen)) < APART && Math.abs(atY(n) - atY(chosen)) < APART * 0.5;
  }

  function newPlate() {
    const plate = document.createElementNS(SVG, "g");
    plate.setAttribute("class", "plate");
    const rect = document.createElementNS(SVG, "rect");
    rect.setAttribute("height", 16);
    rect.setAttribute("rx", 3);
    plate.append(rect, document.createElementNS(SVG, "text"));
    return plate;
  }

  function fill(plate, n) {
    const [rect, text] = plate.children;
    const wide = 8 + 7.4 * data.labels[n].length;
    const x = atX(n), y = atY(n) - 14;
    rect.setAttribute("x", x - wide / 2);
    rect.setAttribute("y", y - 8);
    rect.setAttribute("width", wide);
    text.setAttribute("x", x);
    text.setAttribute("y", y + 0.5);
    if (text.textContent !== data.labels[n]) text.textContent = data.labels[n];
  }

  // A drag may not lose the picture: its middle part stays in the window.
  function keep() {
    const width = view.clientWidth, height = view.clientHeight;
    shiftX = Math.min(width / 2, Math.max(width / 2 - scale * data.width, shiftX));
    shiftY = Math.min(height / 2, Math.max(height / 2 - scale * data.height, shiftY));
  }

  function fitScale() {
    return 0.96 * Math.min(view.clientWidth / data.width, view.clientHeight / data.height);
  }

  function zoom(times, x = view.clientWidth / 2, y = view.clientHeight / 2) {
    const next = Math.min(LARGEST_SCALE, Math.max(fitScale() / 2, scale * times));
    shiftX = x - (x - shiftX) * next / scale;
    shiftY = y - (y - shiftY) * next / scale;
    scale = next;
    whole = false;
    keep();
    draw();
  }

  function fit() {
    whole = true;
    scale = fitScale();
    shiftX = (view.clientWidth - scale * data.width) / 2;
    shiftY = (view.clientHeight - scale * data.height) / 2;
    draw();
  }

  function pan(dx, dy) {
    whole = false;
    shiftX += dx;
    shiftY += dy;
    keep();
    draw();
  }

  function say(strong, rest) {
    const bold = document.createElement("strong");
    bold.textContent = strong;
    said.replaceChildren(bold, rest);
  }

  function choose(n) {
    chosen = n;
    if (picked[picked.length - 1] !== n) picked.push(n);
    const [x, y] = data.points[n];
    say(data.labels[n], ` at ${x.toFixed(1)},${y.toFixed(1)}`);
    if (picked.length > 1) {
      const [a, b] = picked.slice(-2);
      const code = document.createElement("code");
      code.textContent = `--known "${data.labels[a]} ${data.labels[b]} = 36 in"`;
      typed.replaceChildren("If you know how far apart they are, type, with your own length: ", code);
    } else {
      typed.textContent = "Now click its other end.";
    }
    draw();
  }

  function click(x, y) {
    let best = null, near = NEAR;
    for (let n = 0; n < data.points.length; n++) {
      // A number is clicked on its plate as well, which stands above its point.
      const away = Math.min(Math.hypot(atX(n) - x, atY(n) - y), Math.hypot(atX(n) - x, atY(n) - 14 - y));
      if (away < near) { near = away; best = n; }
    }
    if (best !== null) { choose(best); return; }
    chosen = null;
    const px = (x - shiftX) / scale - 0.5, py = (y - shiftY) / scale - 0.5;
    say(`${px.toFixed(1)},${py.toFixed(1)}`, " (no numbered point here; these two figures name the place as well)");
    draw();
  }

  function find(text) {
    const n = data.labels.indexOf(text.trim());
    if (n < 0) { say(text.trim() || "Nothing", " is not a number on this picture"); return; }
    whole = false;
    scale = Math.max(scale, Math.min(1, 8 * fitScale()));
    shiftX = view.clientWidth / 2 - scale * (data.points[n][0] + 0.5);
    shiftY = view.clientHeight / 2 - scale * (data.points[n][1] + 0.5);
    choose(n);
  }

  const fingers = new Map();
  let moved = 0;
  const place = (event) => {
    const box = view.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  view.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    view.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, place(event));
    if (fingers.size === 1) moved = 0;
  });
  view.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    const now = place(event);
    const others = [...fingers].filter(([id]) => id !== event.pointerId).map(([, at]) => at);
    fingers.set(event.pointerId, now);
    moved += Math.hypot(now[0] - before[0], now[1] - before[1]);
    if (moved < 4) return;
    view.classList.add("dragging");
    if (others.length === 0) { pan(now[0] - before[0], now[1] - before[1]); return; }
    const far = (at) => Math.hypot(at[0] - others[0][0], at[1] - others[0][1]);
    pan((now[0] - before[0]) / 2, (now[1] - before[1]) / 2);
    if (far(before) > 10) zoom(far(now) / far(before), (now[0] + others[0][0]) / 2, (now[1] + others[0][1]) / 2);
  });
  const lift = (event) => {
    if (!fingers.delete(event.pointerId)) return;
    if (fingers.size === 0) {
      view.classList.remove("dragging");
      if (event.type === "pointerup" && moved < 4) click(...place(event));
    }
  };
  view.addEventListener("pointerup", lift);
  view.addEventListener("pointercancel", lift);
  view.addEventListener("wheel", (event) => {
    event.preventDefault();
    zoom(Math.exp(-event.deltaY * (event.deltaMode === 1 ? 0.05 : 0.0016)), ...place(event));
  }, { passive: false });
  view.addEventListener("keydown", (event) => {
    const step = 80;
    const keys = {
      "+": () => zoom(1.5), "=": () => zoom(1.5), "-": () => zoom(1 / 1.5), "0": fit,
      ArrowLeft: () => pan(step, 0), ArrowRight: () => pan(-step, 0),
      ArrowUp: () => pan(0, step), ArrowDown: () => pan(0, -step),
    };
    if (keys[event.key] && !event.ctrlKey && !event.metaKey) { event.preventDefault(); keys[event.key](); }
  });
  document.getElementById("nearer").addEventListener("click", () => zoom(1.5));
  document.getElementById("farther").addEventListener("click", () => zoom(1 / 1.5));
  document.getElementById("whole").addEventListener("click", fit);
  document.getElementById("finder").addEventListener("submit", (event) => {
    event.preventDefault();
    find(document.getElementById("number").value);
  });
  // The whole plan stays whole when the window changes; a place zoomed to stays where it is.
  window.addEventListener("resize", () => { if (whole) fit(); else { keep(); draw(); } });
  image.style.width = `${data.width}px`;
  image.style.height = `${data.height}px`;
  fit();
})();
