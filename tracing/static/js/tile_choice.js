/** Which tiles of which level does a view need, and in which order? Pure: no canvas, no network. */

/** The coarsest level whose pixels are no larger than a device px: sharp, with the fewest tiles. */
export function levelFor(view, levelCount) {
  const level = Math.floor(-Math.log2(view.scale * view.ratio) + 1e-9);
  return Math.min(levelCount - 1, Math.max(0, level));
}

/**
 * Tiles of `level` that lie in sight, nearest the middle of the screen first; `ring` more on each side.
 *
 * Each is `{key, level, x, y}`: column x and row y of the level's own grid.
 */
export function tilesInSight(view, level, { tilePx, levels }, ring = 0) {
  const size = tilePx * 2 ** level;
  const { width_px: wide, height_px: high } = levels[level];
  const [x0, y0, x1, y1] = view.visibleBox();
  const lastX = Math.ceil(wide / tilePx) - 1;
  const lastY = Math.ceil(high / tilePx) - 1;
  const fromX = Math.max(0, Math.floor((x0 + 0.5) / size) - ring);
  const fromY = Math.max(0, Math.floor((y0 + 0.5) / size) - ring);
  const toX = Math.min(lastX, Math.floor((x1 + 0.5) / size) + ring);
  const toY = Math.min(lastY, Math.floor((y1 + 0.5) / size) + ring);
  const midX = (x0 + x1) / 2 / size - 0.5;
  const midY = (y0 + y1) / 2 / size - 0.5;
  const tiles = [];
  for (let y = fromY; y <= toY; y += 1) {
    for (let x = fromX; x <= toX; x += 1) {
      tiles.push({ key: tileKey(level, x, y), level, x, y, far: Math.hypot(x - midX, y - midY) });
    }
  }
  return tiles.sort((a, b) => a.far - b.far);
}

/** Columns and rows of full-size pixels that a tile shows: `[x0, y0, x1, y1]`, the last ones not with it. */
export function tileBox({ level, x, y }, { tilePx, levels }, picture) {
  const size = tilePx * 2 ** level;
  return [x * size, y * size, Math.min(picture.width, (x + 1) * size), Math.min(picture.height, (y + 1) * size)];
}

/** The tile `up` levels coarser that holds this one. */
export function ancestor({ level, x, y }, up) {
  return { key: tileKey(level + up, x >> up, y >> up), level: level + up, x: x >> up, y: y >> up };
}

/** The four tiles one level finer. */
export function children({ level, x, y }) {
  if (level === 0) return [];
  const tile = (dx, dy) => ({ key: tileKey(level - 1, 2 * x + dx, 2 * y + dy), level: level - 1, x: 2 * x + dx, y: 2 * y + dy });
  return [tile(0, 0), tile(1, 0), tile(0, 1), tile(1, 1)];
}

export function tileKey(level, x, y) {
  return `${level}/${x}/${y}`;
}
