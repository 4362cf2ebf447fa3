/** A page with nothing but the picture area: commands are written down, the job is what they say. */
import { mountCanvas } from "/static/js/canvas.js";

const state = await (await fetch("/state.json")).json();
const listeners = {};
const commands = [];
const mark = ({ x_px, y_px, snap }) => ({ x_px, y_px, settled: snap ? "ink" : "as given" });

function done(job, command) {
  const ends = () => ({ start: mark(command.start), end: mark(command.end), text: command.text });
  const changed = (list) => list.map((one, i) => {
    if (i !== command.index) return one;
    return { ...one, ...(command.start && { start: mark(command.start) }), ...(command.end && { end: mark(command.end) }), ...(command.text && { text: command.text }) };
  });
  if (command.do === "add_known") return { ...job, knowns: [...job.knowns, ends()] };
  if (command.do === "set_known") return { ...job, knowns: changed(job.knowns) };
  if (command.do === "remove_known") return { ...job, knowns: job.knowns.filter((_, i) => i !== command.index) };
  if (command.do === "add_trace") return { ...job, traces: [...job.traces, command] };
  return job;
}

const store = {
  state, step: "scale", tool: "pan", toolOptions: {}, selection: null, pointer: null,
  on(kind, listener) {
    (listeners[kind] ??= new Set()).add(listener);
    return () => listeners[kind].delete(listener);
  },
  emit: (kind, value) => [...(listeners[kind] ?? [])].forEach((listener) => listener(value)),
  async do(command) {
    commands.push(command);
    store.state = { ...store.state, job: done(store.state.job, command), revision: store.state.revision + 1 };
    store.emit("job");
  },
  select(what) {
    store.selection = what;
    store.emit("selection", what);
  },
  setTool(name, options = {}) {
    Object.assign(store, { tool: name, toolOptions: options });
    store.emit("tool");
  },
  setPointer(at) {
    store.pointer = at;
  },
};

const api = {
  tileUrl: (level, x, y) => `/tiles/${level}/${x}/${y}`,
  landmarks: async () => ({ points: state.landmarks }),
  async snap([x, y], reach) {
    const near = state.landmarks.find(([lx, ly]) => Math.hypot(lx - x, ly - y) <= reach);
    return near ? { at: near, what: "crossing", number: 1 } : { at: [x, y], what: "nothing", number: null };
  },
  inkWay: async (points) => ({ points_px: points, on_ink: false, words: "no ink", ahead: { at: points.at(-1), what: "nothing", number: null } }),
  inkPath: async (points) => ({ points_px: points, on_ink: false, words: "no ink", trace: { start_px: points[0], cubics_px: points.slice(1).map((to) => [to, to, to]), closed: false } }),
  measure: async (kind) => ({ words: `${kind}: measured` }),
};

const panels = {
  say() {},
  announce(text) {
    window.announced = text;
  },
  async attempt(work) {
    await work();
    return true;
  },
  async ask({ question, check }) {
    window.question = question;
    await check("36 in");
    return "36 in";
  },
};

Object.assign(window, { area: mountCanvas(document.getElementById("canvas"), store, api, panels), store, commands, ready: true });
