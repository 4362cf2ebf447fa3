/** Tracing by hand: along ink, straight, or as a free curve. All end as one traced line of the job. */

import { newestOnly } from "../asking.js";
import { curveThrough, joined, straightThrough } from "../handles.js";
import { polyline, traceData } from "../scene.js";
import { pointsTool } from "./points.js";

/** Clicks along a drawn line; the path follows its middle. With shift held the next piece is straight. */
export function traceTool(hands) {
  const { api, panels } = hands;
  let legs = []; // {data, trace} for each pair of places placed; its trace comes a moment after its way
  let next = null; // the way from the last place to the pointer, with its words
  let said = "";
  let turn = 0; // counts what changed: an answer to what is no more shows nothing
  const ask = newestOnly((from, to, reachPx) => api.inkWay([from, to], reachPx), (error) => panels.say?.(error.message, { loud: true }));

  async function changed(places, ahead, show) {
    turn += 1;
    const mine = turn;
    legs.length = Math.min(legs.length, Math.max(0, places.length - 1));
    for (let i = legs.length; i < places.length - 1; i += 1) {
      const [from, to] = [places[i].at, places[i + 1].at];
      if (places[i + 1].straight) legs.push(legOf(straightThrough([from, to])));
      else {
        // What was shown up to the place stands until its curves are there, unless it was seen for another place.
        legs.push({ data: next && same(next.from, from) && same(next.to, to) ? next.data : null, trace: null });
        askLeg(legs[i], from, to, show);
      }
    }
    if (!ahead || !places.length) {
      next = null;
      return;
    }
    const [from, to] = [places.at(-1).at, ahead.at];
    if (ahead.straight) {
      next = { from, to, data: polyline([from, to]), words: "" };
      said = "";
      return;
    }
    const answer = await ask(from, to, ahead.alt ? 0 : hands.snapReachPx);
    if (!answer || mine !== turn) return;
    if (!ahead.alt) hands.aim(answer.ahead);
    next = { from, to: answer.ahead.at, data: polyline(answer.points_px), words: answer.on_ink ? "" : answer.words };
    said = next.words;
    show();
  }

  async function askLeg(leg, from, to, show) {
    await panels.attempt(async () => {
      const { trace } = await api.inkPath([from, to]);
      Object.assign(leg, legOf(trace));
    });
    show();
  }

  async function whole(places, closed) {
    const ends = closed ? [...places, places[0]] : places;
    const traces = [];
    for (let i = 0; i + 1 < ends.length; i += 1) {
      const [from, to] = [ends[i].at, ends[i + 1].at];
      traces.push(legs[i]?.trace ?? (await api.inkPath([from, to])).trace);
    }
    return joined(traces, closed);
  }

  return pointsTool(hands, {
    name: "trace",
    mark: "trace",
    least: 2,
    most: Infinity,
    closes: true,
    aims: true,
    changed,
    words: () => said,
    draft(places, ahead) {
      const lines = legs.filter(({ data }) => data).map(({ data }) => ({ data, name: "trace" }));
      if (ahead && next && places.length) lines.push({ data: next.data, name: "trace ahead" });
      return lines;
    },
    async done(places, { closed }) {
      await add(hands, () => whole(places, closed));
      legs = [];
      next = null;
      said = "";
    },
  });
}

/** Straight lines from click to click. */
export function straightLineTool(hands, options) {
  // A gap or a cut has two ends; any other line goes on until it is ended.
  const most = options.why === "close" || options.why === "split" ? 2 : Infinity;
  return pointsTool(hands, {
    name: "trace",
    mark: "trace",
    least: 2,
    most,
    closes: most > 2,
    done: (places, { closed }) => add(hands, () => straightThrough(places.map(({ at }) => at), closed)),
  });
}

/** A smooth curve through clicks; dragging while a point is placed pulls its handles. */
export function curveTool(hands) {
  const curve = (places, closed) => curveThrough(places.map(({ at }) => at), places.map(({ pull }) => pull ?? null), closed);
  return pointsTool(hands, {
    name: "trace",
    mark: "trace",
    least: 2,
    most: Infinity,
    closes: true,
    pulls: true,
    draft(places, ahead) {
      const all = ahead ? [...places, ahead] : places;
      const lines = all.length > 1 ? [{ data: traceData(curve(all, false)), name: "trace" }] : [];
      if (ahead?.pull) {
        const [[x, y], [hx, hy]] = [ahead.at, ahead.pull];
        lines.push({ data: `M${2 * x - hx} ${2 * y - hy}L${hx} ${hy}`, name: "stalk" });
      }
      return lines;
    },
    done: (places, { closed }) => add(hands, () => curve(places, closed)),
  });
}

async function add({ store, panels, select }, make) {
  const done = await panels.attempt(async () => store.do({ do: "add_trace", ...(await make()) }));
  if (done) select({ kind: "trace", index: store.state.job.traces.length - 1 });
}

function legOf(trace) {
  return { data: traceData(trace), trace };
}

function same(a, b) {
  return a[0] === b[0] && a[1] === b[1];
}
