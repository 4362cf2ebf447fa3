// What the page knows: the job as the program last told it, and what is the page's own (step, tool, selection).
import { Refused } from "./server.js";
import { same } from "./same.js";

/** Kinds that can be listened to; "view" is the canvas's own (zoom, origin), "pointer" the place under the pointer. */
export const KINDS = ["job", "picture", "results", "progress", "task", "selection", "pointed", "tool", "view", "pointer", "step", "conflict", "saved", "link", "gone"];

// Commands that name something by its place in a list, and that list in the job.
const LISTS = {
  set_known: "knowns", remove_known: "knowns", set_check: "checks", remove_check: "checks", remove_straight: "straights",
  move_trace_node: "traces", set_trace: "traces", remove_trace: "traces", unchoose: "choices", remove_region: "regions",
  remove_rub: "rubbed", set_measure: "measures", remove_measure: "measures",
};
const SELECTED_LISTS = {
  known: "knowns", check: "checks", straight: "straights", trace: "traces", region: "regions", rub: "rubbed", measure: "measures",
};

/** Say whether a command made for `before` still means the same in `after`. */
export function stillApplies(command, before, after) {
  if (command.do === "move_corner") return same(before?.corners, after?.corners);
  const list = LISTS[command.do];
  if (!list) return true;
  return same(before?.[list]?.[command.index], after?.[list]?.[command.index]) && after?.[list]?.[command.index] !== undefined;
}

/** Make the page's store over `api`; nothing here touches the screen. */
export function makeStore(api) {
  const listeners = new Map(KINDS.map((kind) => [kind, new Set()]));
  let queue = Promise.resolve();
  let stopListening = null;

  const store = {
    state: null,
    tool: "pan",
    toolOptions: {},
    selection: null,
    pointed: null,
    step: "open",
    pointer: null,
    linked: true,
    savedAt: null,

    /** Call `fn(value)` on every `kind`; gives a function that stops it. */
    on(kind, fn) {
      if (!listeners.has(kind)) throw new Error(`There is no "${kind}" to listen to.`);
      listeners.get(kind).add(fn);
      return () => listeners.get(kind).delete(fn);
    },

    emit(kind, value) {
      for (const fn of [...listeners.get(kind)]) fn(value);
    },

    /** Send a command; resolves to the Reply. Gestures go out one after another, each on top of the last. */
    do: (command) => send((base) => api.command(base, command), command),
    undo: () => send((base) => api.undo(base)),
    redo: () => send((base) => api.redo(base)),

    /** Say which of two job files counts, after `conflict`. */
    async keep(which) {
      const reply = await api.keep(which);
      await store.refresh();
      store.emit("conflict", null);
      return reply;
    },

    /** Take the job `key` and follow it. */
    async follow(key) {
      stopListening?.();
      api.key = key;
      store.selection = store.pointed = null;
      store.savedAt = null;
      store.state = null;
      await store.refresh();
      stopListening = api.listen({
        state: take,
        picture: takePicture,
        results: takeResults,
        progress: takeProgress,
        task: takeTask,
        conflict: (value) => store.emit("conflict", value),
        saved: (value) => {
          store.savedAt = value.at;
          store.emit("saved", value);
        },
      });
    },

    /** Read everything anew. */
    async refresh() {
      let view;
      try {
        view = await api.view();
      } catch (error) {
        if (error instanceof Refused && error.body.gone) store.emit("gone", error.message);
        throw error;
      }
      const results = Object.fromEntries(Object.entries(view.results ?? {}).map(([stage, result]) => [stage, result && { ...result, since: result.of }]));
      store.state = { ...view, results, tasks: view.tasks ?? [] };
      settleSelection();
      store.emit("job", null);
      store.emit("picture", null);
      store.emit("results", null);
      store.emit("task", null);
      if (view.conflict) store.emit("conflict", { text: view.conflict });
    },

    leave() {
      stopListening?.();
      stopListening = null;
      store.state = null;
    },

    /** Choose something: {kind, index}, or null. */
    select(what) {
      if (same(what, store.selection)) return;
      store.selection = what;
      store.emit("selection", what);
    },

    /** What lies under the pointer, in the picture or in a list: {kind, index}, or null. It is lit in the other. */
    point(what) {
      if (same(what, store.pointed)) return;
      store.pointed = what;
      store.emit("pointed", what);
    },

    /** Take up a tool, with what it is for ({for: "known"}, {keep: "in"}...). */
    setTool(name, options = {}) {
      if (name === store.tool && same(options, store.toolOptions)) return;
      store.tool = name;
      store.toolOptions = options;
      store.emit("tool", { name, options });
    },

    setStep(name) {
      if (name === store.step) return;
      store.step = name;
      store.select(null); // what was looked at belongs to the question before
      store.emit("step", name);
    },

    /** The canvas tells where the pointer is, in picture px (null: off the picture). */
    setPointer(at) {
      store.pointer = at;
      store.emit("pointer", at);
    },

    setLinked(up) {
      if (up === store.linked) return;
      store.linked = up;
      store.emit("link", up);
      if (up && store.state) store.refresh().catch(() => {});
    },

    /** Say whether a stage's result belongs to the job as it stands now. */
    isFresh(stage) {
      const result = store.state?.results?.[stage];
      return Boolean(result) && !(result.of < store.state.revision);
    },
  };

  function send(ask, command = null) {
    const sent = queue.then(async () => {
      const before = store.state;
      if (!before) throw new Refused("No plan is open: open one first.", 409);
      try {
        return take(await ask(before.revision));
      } catch (error) {
        if (!(error instanceof Refused)) throw error;
        if (error.body.gone) store.emit("gone", error.message);
        if (!error.body.stale) throw error;
        // Another tab was faster: take what it made, and send once more if the command still means the same.
        if (error.body.reply) take(error.body.reply);
        else await store.refresh();
        // Undo on top of somebody else's gesture would take back theirs, so it is asked for again by hand.
        if (!command || !stillApplies(command, before.job, store.state.job)) {
          throw new Refused("Another window changed this at the same moment; it shows here now: do it once more if it is still wanted.", 409);
        }
        return take(await ask(store.state.revision));
      }
    });
    queue = sent.catch(() => {});
    return sent;
  }

  /** Take a Reply, ours or another tab's; an older one than we have says nothing new. */
  function take(reply) {
    const state = store.state;
    if (!state || reply.revision < state.revision) return reply;
    const changed = reply.revision !== state.revision || !same(reply.job, state.job);
    store.state = { ...state, revision: reply.revision, job: reply.job, undo: reply.undo, redo: reply.redo };
    if (!changed) return reply;
    settleSelection();
    store.emit("job", reply);
    return reply;
  }

  function takePicture({ source, tiles }) {
    if (!store.state) return;
    store.state = { ...store.state, source, tiles };
    store.emit("picture", tiles);
  }

  /** A result that stands as it was comes with its new revision alone (`same`). */
  function takeResults({ stage, of, value, same: asBefore }) {
    const state = store.state;
    if (!state) return;
    const had = state.results[stage];
    if (had && had.of > of) return;
    const now = asBefore ? had : value;
    const result = now ? { ...now, of, since: asBefore ? had?.since : of } : null;
    store.state = { ...state, results: { ...state.results, [stage]: result } };
    store.emit("results", stage);
  }

  function takeProgress(progress) {
    const state = store.state;
    if (!state) return;
    const known = state.tasks.find((task) => task.task === progress.task);
    // News of progress may come after that of the end, which counts.
    if (known && known.state !== "running") return;
    const task = { state: "running", ...known, ...progress };
    store.state = { ...state, tasks: known ? state.tasks.map((other) => (other === known ? task : other)) : [...state.tasks, task] };
    store.emit("progress", progress);
  }

  function takeTask(task) {
    const state = store.state;
    if (!state) return;
    const others = state.tasks.filter((other) => other.task !== task.task && other.kind !== task.kind);
    store.state = { ...state, tasks: [...others, task] };
    store.emit("task", task);
  }

  function settleSelection() {
    const list = SELECTED_LISTS[store.selection?.kind];
    if (list && store.state.job?.[list]?.[store.selection.index] === undefined) store.select(null);
  }

  return store;
}
