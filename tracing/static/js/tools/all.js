/** Every tool by its name; `options` says what it is for. */

import { chooseTool } from "./choose.js";
import { gridTool } from "./grid.js";
import { lengthTool } from "./lengths.js";
import { acrossTool, cornerTool, straightTool } from "./lines.js";
import { measureTool } from "./measure.js";
import { panTool } from "./pan.js";
import { regionTool } from "./region.js";
import { rubTool } from "./rub.js";
import { curveTool, straightLineTool, traceTool } from "./trace.js";

const MAKERS = {
  pan: panTool,
  mark: lengthTool,
  corner: cornerTool,
  straight: straightTool,
  across: acrossTool,
  trace: traceTool,
  straightline: straightLineTool,
  curve: curveTool,
  choose: chooseTool,
  rub: rubTool,
  region: regionTool,
  measure: measureTool,
  grid: gridTool,
};

export function makeTool(name, options, hands) {
  const make = MAKERS[name];
  if (!make) throw new Error(`There is no tool "${name}".`);
  return make(hands, options ?? {});
}
