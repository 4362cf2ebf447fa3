/**
 * Which marks does the job hold, how are they joined, and which command moves or removes one?
 *
 * Pure: the state of the job in, plain lists out. A mark is a place somebody put: an end of a known distance, a
 * corner, a node of a traced line. A band joins marks and carries the length's words and how far it is off.
 */

import { movedTrace, nodesOf } from "./handles.js";
import { isBlamed } from "./words.js";

const ENDS = ["start", "end"];
const END_WORDS = { start: "first end", end: "other end" };
const CORNER_WORDS = ["upper left", "upper right", "lower right", "lower left"];
const MOST_GRABBED = 12; // an area taken from an outline has hundreds of points: it is one thing, not hundreds
// Where the words of a kind belong to the question at hand; elsewhere they would lie over what is looked at.
const WORDS_IN = { known: ["open", "flatten", "scale"], check: ["scale"], corner: ["flatten", "scale"], build: ["size"], measure: ["measure"], straight: ["flatten"], across: ["flatten"] };
const MEASURE_WORDS = { length: "Length", angle: "Angle", area: "Area", radius: "Radius", note: "Note" };

/**
 * `{marks, bands}` of a job. A mark is `{id, kind, index, which, at, name}`, a band `{key, kind, index, ids, closed,
 * label, words, loud, residual, quiet}` (`quiet`: it belongs to another question, so it steps back and its words show only where it is chosen or loud) whose line runs through the marks named by `ids`
 * (or through `line`, where only the first of many places is a mark).
 *
 * Nodes of a traced line and vertices of a region are marks only while it is the one selected.
 */
export function marksOf(state, selection = null, step = null) {
  const { job } = state;
  const marks = [];
  const bands = [];
  const put = (kind, index, places, words, more = {}) => {
    const quiet = Boolean(step) && !(WORDS_IN[kind] ?? []).includes(step);
    const ids = places.map(({ which, at, name }) => {
      marks.push({ id: `${kind}:${index}:${which}`, kind, index, which, at, loud: Boolean(more.loud), quiet, name: name ? `${words}, ${name}` : words });
      return `${kind}:${index}:${which}`;
    });
    bands.push({ key: `${kind}:${index}`, kind, index, ids, closed: false, label: "", words: "", loud: false, residual: null, quiet, ...more });
  };
  const ends = (thing) => ENDS.map((which) => ({ which, at: placeOf(thing[which]), name: END_WORDS[which] }));

  for (const [kind, list, words] of [["known", job.knowns, "known distance"], ["check", job.checks, "check length"]]) {
    (list ?? []).forEach((given, index) => {
      const seen = observedOf(state, `${words} ${index + 1}`);
      const agrees = seen ? { words: seen.short, loud: Boolean(seen.loud), residual: seen } : { loud: isBlamed(state, `${words} ${index + 1}`) };
      put(kind, index, ends(given), `${capital(words)} ${index + 1}, ${given.text}${agrees.loud ? ", does not agree" : ""}`, { label: given.text, ...agrees });
    });
  }
  if (job.build_length) put("build", 0, ends(job.build_length), `Length to come out at ${job.build_length.text}`, { label: job.build_length.text });
  if (job.corners) {
    const places = job.corners.marks.map((mark, i) => ({ which: String(i), at: placeOf(mark), name: CORNER_WORDS[i] }));
    put("corner", 0, places, "Corner", { closed: true, label: job.corners.size_text ?? "" });
  }
  if (job.across) put("across", 0, ends(job.across), "Line to lay level");
  (job.straights ?? []).forEach((straight, index) => put("straight", index, ends(straight), `Straight line ${index + 1}`));
  (job.measures ?? []).forEach((kept, index) => {
    const all = kept.marks.map((mark, i) => ({ which: String(i), at: placeOf(mark), name: kept.marks.length > 1 ? `point ${i + 1}` : "" }));
    const places = all.length > MOST_GRABBED ? all.slice(0, 1) : all;
    const words = `${MEASURE_WORDS[kept.kind] ?? capital(kept.kind)} ${index + 1}${kept.note ? `, ${kept.note}` : ""}`;
    put("measure", index, places, words, { closed: kept.kind === "area", label: kept.note, line: all.map(({ at }) => at) });
  });
  if (selection?.kind === "trace" && job.traces?.[selection.index]) {
    for (const node of nodesOf(job.traces[selection.index])) {
      const which = `${node.node}.${node.which}`;
      const words = node.which === "node" ? `node ${node.node + 1}` : `handle ${node.which === "in" ? "before" : "after"} node ${node.node + 1}`;
      marks.push({ id: `trace:${selection.index}:${which}`, kind: "trace", index: selection.index, which, at: node.at, handle: node.which !== "node", of: node.of, name: `Traced line ${selection.index + 1}, ${words}` });
    }
  }
  if (selection?.kind === "region" && job.regions?.[selection.index]) {
    job.regions[selection.index].points_px.forEach((at, i) => {
      marks.push({ id: `region:${selection.index}:${i}`, kind: "region", index: selection.index, which: String(i), at: [...at], name: `Region ${selection.index + 1}, corner ${i + 1}` });
    });
  }
  return { marks, bands };
}

/** The command that puts a mark at a place: `snap` lets it settle on the ink there. */
export function moveCommand(state, { kind, index, which }, at, snap) {
  const { job } = state;
  const to = { x_px: at[0], y_px: at[1], snap };
  switch (kind) {
    case "known":
    case "check":
      return { do: `set_${kind}`, index, [which]: to };
    case "build":
      return { do: "set_build_length", ...endsWith(job.build_length, which, to), text: job.build_length.text };
    case "across":
      return { do: "set_across", ...endsWith(job.across, which, to) };
    case "straight":
      return { do: "set_straight", index, [which]: to };
    case "corner":
      return { do: "move_corner", index: Number(which), mark: to };
    case "measure":
      return { do: "set_measure", index, marks: job.measures[index].marks.map((mark, i) => (i === Number(which) ? to : given(mark))) };
    case "region":
      return { do: "set_region", index, points_px: job.regions[index].points_px.map((point, i) => (i === Number(which) ? at : point)) };
    case "trace": {
      const [node, part] = which.split(".");
      return { do: "set_trace", index, ...movedTrace(job.traces[index], Number(node), part, at) };
    }
    default:
      throw new Error(`There is no mark of kind "${kind}".`);
  }
}

/** The command that takes away what a mark belongs to. */
export function removeCommand({ kind, index }) {
  if (kind === "build") return { do: "set_fraction", text: "1" }; // without a length to come out at, full size
  const alone = { corner: "clear_corners", across: "clear_across" };
  if (kind in alone) return { do: alone[kind] };
  return { do: `remove_${kind}`, index };
}

/** Marks that lie on ink by nature, and so may move to it; nodes and vertices stay where they are put. */
export function maySnap({ kind, handle }) {
  return kind !== "region" && kind !== "trace" && !handle;
}

/** A mark of the job as commands take it: one on the ink may settle there again. */
export function given(mark) {
  return { x_px: mark.x_px, y_px: mark.y_px, snap: mark.settled !== "as given" };
}

function endsWith(thing, which, to) {
  return { start: which === "start" ? to : given(thing.start), end: which === "end" ? to : given(thing.end) };
}

function observedOf(state, label) {
  return state.results?.scale?.observed?.find((item) => item.label.toLowerCase() === label) ?? null;
}

function placeOf(mark) {
  return [mark.x_px, mark.y_px];
}

function capital(text) {
  return text[0].toUpperCase() + text.slice(1);
}
