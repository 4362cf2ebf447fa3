/** What lies under the pointer? Pure: lists and places in picture px in, the thing meant out. */

import { isInside, meets, nearestOn } from "./path_data.js";

/** The mark nearest a place, within reach; a node wins over a handle that lies as near. */
export function markAt(marks, at, reach) {
  let best = null;
  let least = reach;
  for (const mark of marks) {
    const far = Math.hypot(mark.at[0] - at[0], mark.at[1] - at[1]) + (mark.handle ? reach * 0.05 : 0);
    if (far <= least) [best, least] = [mark, far];
  }
  return best;
}

/** The smallest outline a place lies in, else the one whose edge is nearest within reach. Items have `shape`. */
export function outlineAt(items, at, reach) {
  const near = [at[0] - reach, at[1] - reach, at[0] + reach, at[1] + reach];
  let best = null;
  let least = Infinity;
  for (const item of items) {
    if (!meets(item.shape.box, near) || !isInside(item.shape.lines, at)) continue;
    const size = sizeOf(item.shape.box);
    if (size < least) [best, least] = [item, size];
  }
  return best ?? lineAt(items, at, reach);
}

/** The item whose line passes nearest a place, within reach. */
export function lineAt(items, at, reach) {
  let best = null;
  let least = reach;
  for (const item of items) {
    const half = (item.widthPx ?? 0) / 2;
    const wide = reach + half;
    if (!meets(item.shape.box, [at[0] - wide, at[1] - wide, at[0] + wide, at[1] + wide])) continue;
    for (const line of item.shape.lines) {
      const off = nearestOn(line, at).far - half;
      if (off <= least) [best, least] = [item, off];
    }
  }
  return best;
}

function sizeOf([x0, y0, x1, y1]) {
  return (x1 - x0) * (y1 - y0);
}
