/** Measuring: length, angle, area, radius, with the program's words while the band is drawn; and notes. */

import { newestOnly } from "../asking.js";
import { flattened } from "../path_data.js";
import { polygon, polyline } from "../scene.js";
import { asMark, pointsTool } from "./points.js";

const COUNTS = { length: [2, 2], angle: [3, 3], radius: [3, 3], area: [3, Infinity], note: [1, 1] };
const OUTLINE_STRAY_PX = 0.25; // picture px an outline's polygon may lie off it when its area is asked for
const MOST_MARKS = 2000; // an outline of more points is taken coarser, so that the job stays readable

export function measureTool(hands, options) {
  const { store, panels, api } = hands;
  const kind = COUNTS[options.kind] ? options.kind : "length";
  const [least, most] = COUNTS[kind];
  let words = "";
  const ask = newestOnly((points) => api.measure(kind, points));

  async function changed(places, ahead, show) {
    const points = [...places.map(({ at }) => at), ...(ahead ? [ahead.at] : [])];
    if (kind === "note" || points.length < least || !places.length) {
      words = "";
      return;
    }
    const answer = await ask(points);
    if (!answer) return;
    words = answer.words;
    hands.readout?.(words);
    show();
  }

  /** One click inside an outline asks for the outline's own area. */
  function outlineMarks(place) {
    const item = hands.outlineAt({ at: place.at, reach: 0 });
    if (!item) return null;
    const [ring] = item.shape.rings;
    for (let stray = OUTLINE_STRAY_PX; ; stray *= 2) {
      const line = flattened(ring, stray, stray);
      if (line.length / 2 > MOST_MARKS) continue;
      const marks = [];
      for (let i = 0; i + 3 < line.length; i += 2) marks.push({ x_px: line[i], y_px: line[i + 1], snap: false });
      return marks;
    }
  }

  return pointsTool(hands, {
    name: "measure",
    mark: "measure",
    least: kind === "area" ? 1 : least,
    most,
    closes: kind === "area",
    changed,
    words: () => words,
    draft(places, ahead) {
      const all = [...places.map(({ at }) => at), ...(ahead ? [ahead.at] : [])];
      return all.length > 1 ? [{ data: kind === "area" && all.length > 2 ? polygon(all) : polyline(all), name: "measure" }] : [];
    },
    async done(places) {
      const marks = kind === "area" && places.length < 3 ? outlineMarks(places[0]) : places.map(asMark);
      if (!marks) {
        panels.say?.("That click is in no outline; an area needs one, or three points round it: click inside an outline, or go on clicking.");
        return;
      }
      const send = (note) => store.do({ do: "add_measure", kind, marks, note });
      if (kind === "note") await panels.ask({ question: "What shall the note say?", example: "wash out 3 mm at the tip", check: send });
      else await panels.attempt(() => send(""));
      words = "";
    },
  });
}
