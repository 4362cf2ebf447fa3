/**
 * Marks and what joins them, as SVG over the picture: each mark can be focused, has a name and answers keys.
 *
 * Elements are kept from one state to the next, so that the focus stays where it is. Panning moves the
 * whole layer, which reaches somewhat beyond the screen, without painting it anew; only zooming touches every mark.
 */

import { placeLabels } from "./labels.js";
import { SHAPES, arrowData, lineData } from "./mark_shapes.js";

const SVG = "http://www.w3.org/2000/svg";
const MARGIN_PX = 160; // CSS px of the layer around the screen
const REST_MS = 120; // after a pan that long ago, words come to where they belong
const LABEL_FONTS = { calm: ["600 14px system-ui, sans-serif", 19], loud: ["750 17px system-ui, sans-serif", 28] }; // as in canvas.css, with how high a label is

export class MarkLayer {
  #marks = new Map(); // id -> {node, mark}
  #bands = new Map(); // key -> {nodes, band}
  #scale = 0;
  #labelsFor = null; // the view that labels were placed for
  #anchor = null; // {sx, tx, ty}: the view that the layer was painted for
  #timer = 0;
  #resting = false;
  #hovered = null;

  /** `onRest()` asks for a frame: a pan has come to rest. */
  constructor(parent, view, onRest) {
    Object.assign(this, { view, onRest });
    this.svg = parent.appendChild(svg("svg", { class: "marks-over", role: "group", "aria-label": "Marks on the picture" }));
    const size = `calc(100% + ${2 * MARGIN_PX}px)`;
    Object.assign(this.svg.style, { left: `${-MARGIN_PX}px`, top: `${-MARGIN_PX}px`, width: size, height: size });
    this.inPicture = this.svg.appendChild(svg("g", { class: "in-picture", "aria-hidden": "true" }));
    this.onScreen = this.svg.appendChild(svg("g", { class: "on-screen" }));
    this.chosenPath = [this.#path(this.inPicture, "halo"), this.#path(this.inPicture, "chosen")];
    this.hoverPath = [this.#path(this.inPicture, "halo"), this.#path(this.inPicture, "hover")];
    this.bandGroup = this.inPicture.appendChild(svg("g"));
    this.draftInPicture = this.inPicture.appendChild(svg("g", { class: "draft" }));
    this.arrowGroup = this.onScreen.appendChild(svg("g", { "aria-hidden": "true" }));
    this.labelGroup = this.onScreen.appendChild(svg("g", { "aria-hidden": "true" }));
    this.ruler = document.createElement("canvas").getContext("2d");
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
      entry.dear = band.loud || selected(band);
      const quiet = band.quiet && !entry.dear;
      const classes = `band is-${band.kind}${band.loud ? " is-loud" : ""}${selected(band) ? " is-chosen" : ""}${quiet ? " is-quiet" : ""}`;
      entry.halo.setAttribute("class", quiet ? "halo is-quiet" : "halo");
      entry.line.setAttribute("class", classes);
      entry.label.setAttribute("class", `${classes} label`);
      entry.arrows.setAttribute("class", `${classes} arrows`);
      entry.halo.setAttribute("d", lineData(entry.at, band.closed));
      entry.line.setAttribute("d", lineData(entry.at, band.closed));
      this.#fillLabel(entry, [band.label, band.words].filter(Boolean).join(", "));
    });
    this.#keyed(this.#marks, marks, "id", (mark) => this.#makeMark(mark), (entry, mark) => {
      entry.mark = mark;
      entry.node.setAttribute("aria-label", `${mark.name}, at ${mark.at[0].toFixed(1)}, ${mark.at[1].toFixed(1)}`);
      entry.node.setAttribute("class", `mark is-${mark.kind}${mark.handle ? " is-handle" : ""}${mark.loud ? " is-loud" : ""}${selected(mark) ? " is-chosen" : ""}${mark.quiet && !mark.loud && !selected(mark) ? " is-quiet" : ""}`);
      entry.stalk.setAttribute("d", mark.of ? lineData([mark.of, mark.at], false) : "");
    });
    this.#order(marks);
    this.#scale = 0;
    this.#labelsFor = null;
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
      node.textContent = label.text;
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
    const was = this.#anchor;
    const near = was && was.sx === sx && Math.abs(tx - was.tx) <= MARGIN_PX && Math.abs(ty - was.ty) <= MARGIN_PX;
    const moved = near && (tx !== was.tx || ty !== was.ty);
    if (moved && this.#labelsFor && !this.#resting) {
      this.svg.style.transform = `translate(${tx - was.tx}px, ${ty - was.ty}px)`;
      clearTimeout(this.#timer);
      this.#timer = setTimeout(() => {
        this.#resting = true;
        this.onRest();
      }, REST_MS);
      return;
    }
    this.#resting = false;
    clearTimeout(this.#timer);
    this.#anchor = { sx, tx, ty };
    this.svg.style.transform = "";
    const [left, top] = [tx + MARGIN_PX, ty + MARGIN_PX];
    this.inPicture.setAttribute("transform", `matrix(${sx} 0 0 ${sx} ${left} ${top})`);
    this.onScreen.setAttribute("transform", `translate(${left} ${top})`);
    this.#placeLabels([tx, ty]);
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

  #placeBand({ band, at, arrows }, scale) {
    arrows.setAttribute("d", band.residual && at.length === 2 ? arrowData(at, band.residual, scale) : "");
  }

  /** Labels follow what is in sight of their lines; those that stay where they are cost nothing. */
  #placeLabels([tx, ty]) {
    const { view } = this;
    const now = `${tx} ${ty} ${view.scale} ${view.width} ${view.height}`;
    if (this.#labelsFor === now) return;
    this.#labelsFor = now;
    const entries = [...this.#bands.values()].filter(({ text, band, dear }) => text && (dear || !band.quiet));
    const shown = new Map();
    const labels = entries.map(({ at, band, size, dear }) => ({ line: at.map((place) => view.toScreen(place)), closed: band.closed, width: size[0], height: size[1], dear }));
    placeLabels(labels, view).forEach((place, i) => place && shown.set(entries[i], place));
    for (const entry of this.#bands.values()) {
      const place = shown.get(entry);
      const turn = place ? (place.angle * 180) / Math.PI : 0;
      const told = place ? `translate(${(place.x - tx).toFixed(1)} ${(place.y - ty).toFixed(1)}) rotate(${turn.toFixed(2)})` : "";
      if (told === entry.told) continue;
      entry.told = told;
      entry.label.style.display = place ? "" : "none";
      if (place) entry.label.setAttribute("transform", told);
    }
  }

  #fillLabel(entry, text) {
    const [font, height] = LABEL_FONTS[entry.band.loud ? "loud" : "calm"];
    if (text === entry.text && font === entry.font) return;
    this.ruler.font = font;
    Object.assign(entry, { text, font, size: [this.ruler.measureText(text).width + 10, height] });
    entry.label.textContent = text;
  }

  #makeBand() {
    const halo = this.bandGroup.appendChild(svg("path", { class: "halo" }));
    const line = this.bandGroup.appendChild(svg("path"));
    const arrows = this.arrowGroup.appendChild(svg("path"));
    const label = this.labelGroup.appendChild(svg("text"));
    return { halo, line, arrows, label, text: "", told: null, nodes: [halo, line, arrows, label] };
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
