/**
 * What lies over the picture as lines and areas: outlines, open lines, traces, rubbed bands, regions, pages, border.
 *
 * Pure: the state of the job in, a list of items out. Marks, which people grab one by one, are in marks.js.
 */

const LABEL_STEP = 0.05; // of the way from a page's corner to its middle

/** Names of styles in the order they are drawn: what people placed lies over what was found. */
export const STYLES = ["regionIn", "regionOut", "pageEdge", "page", "line", "other", "part", "rub", "trace", "border"];

/**
 * Items `{style, data, kind, index, widthPx?, label?}`; `data` is SVG path data in picture px.
 *
 * `show` names what the step at hand wants to see: "pages" lays the page grid over the plan, "border" the border that
 * was found, "others" every outline that could be taken; one that a person left out can be seen and taken back always.
 */
export function sceneOf(state, { show = new Set() } = {}) {
  const { job, results } = state;
  const items = [];
  const add = (style, kind, index, data, more = {}) => items.push({ style, kind, index, data, ...more });
  (results?.outlines?.lines ?? []).forEach((data, index) => add("line", "line", index, data));
  (results?.outlines?.others ?? []).forEach((other, index) => {
    const left = other.choice !== null && other.choice !== undefined;
    if (left || show.has("others")) add("other", "other", index, other.path_px);
  });
  (results?.outlines?.parts ?? []).forEach((part, index) => add("part", "part", index, part.path_px));
  (job?.regions ?? []).forEach((region, index) => {
    add(region.keep === "out" ? "regionOut" : "regionIn", "region", index, polygon(region.points_px));
  });
  (job?.rubbed ?? []).forEach((rub, index) => add("rub", "rub", index, polyline(rub.points_px), { widthPx: rub.width_px }));
  (job?.traces ?? []).forEach((trace, index) => add("trace", "trace", index, traceData(trace)));
  const border = results?.seen?.border_px;
  if (show.has("border") && border && !job?.corners && !(job?.ignore ?? []).includes("drawn border")) add("border", "border", 0, polygon(border));
  if (show.has("pages")) {
    (results?.pages?.tiles ?? []).forEach((tile, index) => {
      // What a sheet shows reaches over its neighbours; its core is where the joints lie.
      add("pageEdge", "page", index, polygon(tile.corners_px));
      add("page", "page", index, polygon(tile.core_px), { label: { text: tile.label, corners: labelEdge(tile.core_px, state.source) } });
    });
  }
  return items;
}

/**
 * Where a page's name goes: its upper left corner and the next one to the right. A corner beyond the picture's edge is
 * drawn in towards the page's middle until it lies on the picture, which is what is looked at.
 */
export function labelEdge(core, source) {
  const [wide, high] = [source?.width_px ?? Infinity, source?.height_px ?? Infinity];
  const middle = [0, 1].map((axis) => core.reduce((sum, corner) => sum + corner[axis], 0) / core.length);
  const inside = ([x, y]) => x >= 0 && y >= 0 && x < wide && y < high;
  for (let part = 0; part < 1; part += LABEL_STEP) {
    const at = core[0].map((value, axis) => value + part * (middle[axis] - value));
    if (inside(at)) return [at, [at[0] + core[1][0] - core[0][0], at[1] + core[1][1] - core[0][1]]];
  }
  return [core[0], core[1]];
}

/** Loops that were found but not taken: shown under the pointer only, else they would hide the plan. */
export function othersOf(state) {
  return (state.results?.outlines?.others ?? []).map((other, index) => {
    return { key: `other:${index}`, kind: "other", index, data: other.path_px, areaPx2: other.area_px2, why: other.why };
  });
}

export function traceData({ start_px: start, cubics_px: cubics, closed }) {
  const curves = cubics.map(([c1, c2, end]) => `C${[...c1, ...c2, ...end].join(" ")}`);
  return `M${start.join(" ")}${curves.join("")}${closed ? "Z" : ""}`;
}

export function polyline(points) {
  if (!points.length) return "M0 0";
  // A rub of one touch is a dot: a line with no length is drawn with round ends.
  const all = points.length === 1 ? [points[0], points[0]] : points;
  return `M${all.map(([x, y]) => `${x} ${y}`).join("L")}`;
}

export function polygon(points) {
  return points.length < 2 ? polyline(points) : `${polyline(points)}Z`;
}
