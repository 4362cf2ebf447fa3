/**
 * Marks and what joins them, as SVG over the picture: each mark can be focused, has a name and answers keys.
 *
 * Elements are kept from one state to the next, so that the focus stays where it is. Panning moves two groups; only
 * zooming touches every mark.
 */

import { SHAPES, arrowData, lineData } from "./mark_shapes.js";

const SVG = "http://www.w3.org/2000/svg";

export class MarkLayer {
  #marks = new Map(); // id -> {node, mark}
  #bands = new Map(); // key -> {nodes, band}
  #scale = 0;
  #hovered = null;

  constructor(parent, view) {
    this.view = view;
    this.svg = parent.appendChild(svg("svg", { class: "marks-over", role: "group", "aria-label": "Marks on the picture" }));
    this.inPicture = this.svg.appendChild(svg("g", { class: "in-picture", "aria-hidden": "true" }));
    this.onScreen = this.svg.appendChild(svg("g", { class: "on-screen" }));
    this.chosenPath = [this.#path(this.inPicture, "halo"), this.#path(this.inPicture, "chosen")];
    this.hoverPath = [this.#path(this.inPicture, "halo"), this.#path(this.inPicture, "hover")];
    this.bandGroup = this.inPicture.appendChild(svg("g"));
    this.draftInPicture = this.inPicture.appendChild(svg("g", { class: "draft" }));
    this.labelGroup = this.onScreen.appendChild(svg("g", { "aria-hidden": "true" }));
    this.markGroup = this.onScreen.appendChild(svg("g"));
    this.draftOnScreen = this.onScreen.appendChild(svg("g", { class: "draft", "aria-hidden": "true" }));
    this.draftPlaces = [];
    this.target = this.onScreen.appendChild(drawn(SHAPES.target, "target"));
    this.cross = this.onScreen.appendChild(drawn("M-16 0H-4M4 0H16M0-16V-4M0 4V16", "cross"));
  }

  /** The keyboard's cross and the place on the ink a mark would go to; null for none. */
  setPointers(cross, target) {
    for (const [node, at] of [[this.cross, cross], [this.target, target]]) {
      node.style.display = at ? "" : "none";
      if (at) put(node, at, this.view.scale);
    }
  }

  /** Show these marks and bands; `selected(thing)` tells which are chosen. */
  setMarks({ marks, bands }, selected) {
    const places = new Map(marks.map((mark) => [mark.id, mark.at]));
    this.#keyed(this.#bands, bands, "key", (band) => this.#makeBand(band), (entry, band) => {
      entry.band = band;
      entry.at = band.line?.length > band.ids.length ? band.line : band.ids.map((id) => places.get(id));
      const classes = `band is-${band.kind}${band.loud ? " is-loud" : ""}${selected(band) ? " is-chosen" : ""}`;
      entry.line.setAttribute("class", classes);
      entry.label.setAttribute("class", `${classes} label`);
      entry.arrows.setAttribute("class", `${classes} arrows`);
      entry.halo.setAttribute("d", lineData(entry.at, band.closed));
      entry.line.setAttribute("d", lineData(entry.at, band.closed));
      setLabel(entry.label, band.label, band.words);
    });
    this.#keyed(this.#marks, marks, "id", (mark) => this.#makeMark(mark), (entry, mark) => {
      entry.mark = mark;
      entry.node.setAttribute("aria-label", `${mark.name}, at ${mark.at[0].toFixed(1)}, ${mark.at[1].toFixed(1)}`);
      entry.node.setAttribute("class", `mark is-${mark.kind}${mark.handle ? " is-handle" : ""}${mark.loud ? " is-loud" : ""}${selected(mark) ? " is-chosen" : ""}`);
      entry.stalk.setAttribute("d", mark.of ? lineData([mark.of, mark.at], false) : "");
    });
    this.#order(marks);
    this.#scale = 0;
  }

  markOf(node) {
    const id = node?.closest?.("[data-mark]")?.dataset.mark;
    return this.#marks.get(id)?.mark ?? null;
  }

  focus(id) {
    const entry = this.#marks.get(id);
    entry?.node.focus({ preventScroll: true });
    return Boolean(entry);
  }

  /** The outline chosen, as path data in picture px, or null. */
  setChosen(data) {
    for (const path of this.chosenPath) path.setAttribute("d", data ?? "");
  }

  /** The outline under the pointer. */
  setHover(data) {
    if (data === this.#hovered) return;
    this.#hovered = data;
    for (const path of this.hoverPath) path.setAttribute("d", data ?? "");
  }

  /**
   * What the tool is about to do: `lines` `{data, name, widthPx?}`, `points` `{at, name}`, `label` `{at, text}`.
   */
  setDraft({ lines = [], points = [], label = null } = {}) {
    this.draftInPicture.replaceChildren(...lines.flatMap(({ data, name, widthPx }) => {
      if (widthPx) return [svg("path", { d: data, class: `wide ${name}`, "stroke-width": widthPx })];
      return [svg("path", { d: data, class: "halo" }), svg("path", { d: data, class: `line ${name ?? ""}` })];
    }));
    const nodes = points.map(({ at, name = "point" }) => ({ at, node: drawn(SHAPES[name] ?? SHAPES.point, `mark ${name}`) }));
    if (label) {
      const node = svg("text", { class: "label draft-label", x: 14, y: 28 });
      setLabel(node, label.text, "");
      nodes.push({ at: label.at, node });
    }
    this.draftOnScreen.replaceChildren(...nodes.map(({ node }) => node));
    this.draftPlaces = nodes;
    this.#placeDraft();
  }

  /** Bring everything where the view has it; once a frame. */
  draw() {
    const { scale, x, y } = this.view.deviceTransform();
    const { ratio } = this.view;
    const [sx, tx, ty] = [scale / ratio, x / ratio, y / ratio];
    this.inPicture.setAttribute("transform", `matrix(${sx} 0 0 ${sx} ${tx} ${ty})`);
    this.onScreen.setAttribute("transform", `translate(${tx} ${ty})`);
    if (this.#scale === sx) return;
    this.#scale = sx;
    for (const { node, mark } of this.#marks.values()) put(node, mark.at, sx);
    for (const entry of this.#bands.values()) this.#placeBand(entry, sx);
    this.#placeDraft();
  }

  #placeDraft() {
    const scale = this.view.scale;
    for (const { node, at } of this.draftPlaces) put(node, at, scale);
  }

  #placeBand({ band, at, label, arrows }, scale) {
    if (!at.length) return;
    const middle = at.length === 1 ? at[0] : [0, 1].map((axis) => at.reduce((sum, place) => sum + place[axis], 0) / at.length);
    put(label, middle, scale);
    arrows.setAttribute("d", band.residual && at.length === 2 ? arrowData(at, band.residual, scale) : "");
  }

  #makeBand() {
    const halo = this.bandGroup.appendChild(svg("path", { class: "halo" }));
    const line = this.bandGroup.appendChild(svg("path"));
    const arrows = this.labelGroup.appendChild(svg("path"));
    const label = this.labelGroup.appendChild(svg("text"));
    return { halo, line, arrows, label, nodes: [halo, line, arrows, label] };
  }

  #makeMark(mark) {
    const shape = mark.handle ? SHAPES.handle : SHAPES[mark.kind] ?? SHAPES.point;
    const node = this.markGroup.appendChild(drawn(shape, "mark"));
    for (const [name, value] of [["tabindex", "0"], ["role", "button"], ["data-mark", mark.id]]) node.setAttribute(name, value);
    const stalk = this.bandGroup.appendChild(svg("path", { class: "stalk" }));
    return { node, stalk, nodes: [node, stalk] };
  }

  /** Tab goes through the marks in the order of the job. */
  #order(marks) {
    let after = null;
    for (const { id } of marks) {
      const { node } = this.#marks.get(id);
      const wanted = after ? after.nextSibling : this.markGroup.firstChild;
      if (wanted !== node) this.markGroup.insertBefore(node, wanted);
      after = node;
    }
  }

  #keyed(kept, things, key, make, update) {
    const left = new Set(kept.keys());
    for (const thing of things) {
      left.delete(thing[key]);
      if (!kept.has(thing[key])) kept.set(thing[key], make(thing));
      update(kept.get(thing[key]), thing);
    }
    for (const gone of left) {
      for (const node of kept.get(gone).nodes) node.remove();
      kept.delete(gone);
    }
  }

  #path(parent, name) {
    return parent.appendChild(svg("path", { class: name }));
  }
}

function put(node, [x, y], scale) {
  node.setAttribute("transform", `translate(${x * scale} ${y * scale})`);
}

function setLabel(node, first, second) {
  const lines = [first, second].filter(Boolean).map((text, i) => {
    const line = svg("tspan", { x: node.getAttribute("x") ?? 0, dy: i ? "1.25em" : node.classList.contains("draft-label") ? 0 : "-0.6em" });
    line.textContent = text;
    return line;
  });
  node.replaceChildren(...lines);
}

function drawn(data, name) {
  const group = svg("g", { class: name });
  group.append(svg("path", { class: "halo", d: data }), svg("path", { class: "form", d: data }));
  return group;
}

function svg(tag, attributes = {}) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  return node;
}
