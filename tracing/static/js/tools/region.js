/** A polygon round what shall count, or round what shall be left out. */

import { polygon, polyline } from "../scene.js";
import { pointsTool } from "./points.js";

export function regionTool(hands, options) {
  const { store, panels } = hands;
  const keep = options.keep === "out" ? "out" : "in";
  return pointsTool(hands, {
    name: `region-${keep}`,
    mark: "region",
    least: 3,
    most: Infinity,
    closes: true,
    snaps: false,
    draft(places, ahead) {
      const all = [...places.map(({ at }) => at), ...(ahead ? [ahead.at] : [])];
      return all.length > 1 ? [{ data: all.length > 2 ? polygon(all) : polyline(all), name: `region-${keep}` }] : [];
    },
    done: (places) => panels.attempt(() => store.do({ do: "add_region", points_px: places.map(({ at }) => at), keep })),
  });
}
