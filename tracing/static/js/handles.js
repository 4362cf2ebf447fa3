/**
 * Traced lines as nodes with handles: what can be grabbed, and what the line is after one was moved.
 *
 * Pure: a trace `{start_px, cubics_px, closed}` in, a new one out.
 */

const SMOOTH_RAD = (12 * Math.PI) / 180; // handles nearer to one line than this were meant smooth, as the outlines take it

/** `[{node, which, at, of}]`: nodes in order, each followed by its handles; `of` is the node a handle belongs to. */
export function nodesOf({ start_px: start, cubics_px: cubics, closed }) {
  const ends = [start, ...cubics.map((cubic) => cubic[2])];
  const count = closed ? ends.length - 1 : ends.length;
  const out = [];
  for (let node = 0; node < count; node += 1) {
    const of = ends[node];
    out.push({ node, which: "node", at: [...of], of });
    const before = node > 0 ? cubics[node - 1] : closed ? cubics.at(-1) : null;
    const after = cubics[node] ?? null;
    if (before && !alike(before[1], of)) out.push({ node, which: "in", at: [...before[1]], of });
    if (after && !alike(after[0], of)) out.push({ node, which: "out", at: [...after[0]], of });
  }
  return out;
}

/** The trace after a node (with its handles) or one handle went to `to`; a smooth node stays smooth. */
export function movedTrace(trace, node, which, to) {
  const cubics = trace.cubics_px.map((cubic) => cubic.map((point) => [...point]));
  let start = [...trace.start_px];
  const last = cubics.length - 1;
  const before = node > 0 ? node - 1 : trace.closed ? last : null;
  const after = node <= last ? node : null;
  const at = node === 0 ? start : cubics[node - 1][2];
  if (which === "node") {
    const shift = [to[0] - at[0], to[1] - at[1]];
    const move = (point) => [point[0] + shift[0], point[1] + shift[1]];
    if (before !== null) [cubics[before][1], cubics[before][2]] = [move(cubics[before][1]), [...to]];
    if (after !== null) cubics[after][0] = move(cubics[after][0]);
    if (node === 0) start = [...to];
  } else {
    const [own, ownAt, other, otherAt] = which === "in" ? [before, 1, after, 0] : [after, 0, before, 1];
    if (own === null) return trace;
    const was = cubics[own][ownAt];
    cubics[own][ownAt] = [...to];
    if (other !== null && isSmooth(was, at, cubics[other][otherAt])) cubics[other][otherAt] = opposite(to, at, cubics[other][otherAt]);
  }
  return { start_px: start, cubics_px: cubics, closed: trace.closed };
}

/** A smooth curve through places; `pulls[i]` is where a handle was dragged to from place i, or null. */
export function curveThrough(places, pulls = [], closed = false) {
  const count = places.length;
  const at = (i) => (closed ? places[(i + count) % count] : places[Math.max(0, Math.min(count - 1, i))]);
  // A third of the way along the chord of the neighbours, shortened to the nearer one: no loops at uneven steps.
  const handle = (i, towards) => {
    const pull = pulls[(i + count) % count];
    const here = at(i);
    if (pull) return [here[0] + towards * (pull[0] - here[0]), here[1] + towards * (pull[1] - here[1])];
    const [p, n] = [at(i - 1), at(i + 1)];
    const chord = Math.hypot(n[0] - p[0], n[1] - p[1]);
    if (!chord) return [...here];
    const reach = distance(here, towards > 0 ? n : p) / 3;
    return [here[0] + (towards * reach * (n[0] - p[0])) / chord, here[1] + (towards * reach * (n[1] - p[1])) / chord];
  };
  const cubics = [];
  for (let i = 0; i < (closed ? count : count - 1); i += 1) cubics.push([handle(i, 1), handle(i + 1, -1), [...at(i + 1)]]);
  return { start_px: [...places[0]], cubics_px: cubics, closed };
}

/** Straight lines through places. */
export function straightThrough(places, closed = false) {
  const all = closed ? [...places, places[0]] : places;
  const cubics = all.slice(1).map((to, i) => {
    const from = all[i];
    const part = (t) => [from[0] + t * (to[0] - from[0]), from[1] + t * (to[1] - from[1])];
    return [part(1 / 3), part(2 / 3), [...to]];
  });
  return { start_px: [...places[0]], cubics_px: cubics, closed };
}

/** Traces joined end to end into one; closed when asked, then it ends exactly where it starts. */
export function joined(traces, closed = false) {
  const cubics = traces.flatMap((trace) => trace.cubics_px.map((cubic) => cubic.map((point) => [...point])));
  const start = [...traces[0].start_px];
  if (closed) cubics.at(-1)[2] = [...start];
  return { start_px: start, cubics_px: cubics, closed };
}

function isSmooth(handle, at, other) {
  const [a, b] = [distance(handle, at), distance(other, at)];
  if (!a || !b) return false;
  const cos = ((handle[0] - at[0]) * (other[0] - at[0]) + (handle[1] - at[1]) * (other[1] - at[1])) / (a * b);
  return cos < -Math.cos(SMOOTH_RAD);
}

function opposite(to, at, other) {
  const far = distance(to, at);
  if (!far) return other;
  const keep = distance(other, at) / far;
  return [at[0] - keep * (to[0] - at[0]), at[1] - keep * (to[1] - at[1])];
}

function distance(a, b) {
  return Math.hypot(a[0] - b[0], a[1] - b[1]);
}

function alike(a, b) {
  return a[0] === b[0] && a[1] === b[1];
}
