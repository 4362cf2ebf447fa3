/** Two marks and the length between them: a known distance, a check length, the span to come out at. */

import { asMark, pointsTool } from "./points.js";

const KINDS = {
  known: { question: "How long is it from mark to mark?", example: "36 in", list: "knowns" },
  check: { question: "How long should this be?", example: "110 mm", list: "checks" },
  build: { question: "How long shall this come out?", example: "990 mm", list: null },
};

export function lengthTool(hands, options) {
  const { store, panels } = hands;
  const kind = KINDS[options.for] ? options.for : "known";
  const { question, example, list } = KINDS[kind];

  return pointsTool(hands, {
    name: kind,
    mark: kind,
    least: 2,
    most: 2,
    async done([first, second]) {
      const command = (text) => {
        const ends = { start: asMark(first), end: asMark(second), text };
        if (kind === "build") return { do: "set_build_length", ...ends };
        return { do: `add_${kind}`, ...ends, ...(kind === "known" && options.on_paper ? { on_paper: true } : {}) };
      };
      // The program's own sentence keeps the question open, with what was typed.
      const text = await panels.ask({ question: options.on_paper ? "How long is it on the paper?" : question, example, check: (typed) => store.do(command(typed)) });
      if (text === null) return;
      hands.select({ kind, index: list ? store.state.job[list].length - 1 : 0 });
      store.setTool("pan");
    },
  });
}
