/** Clicking outlines: one that is a part is left out, one that is not is taken. */

export function chooseTool(hands) {
  const { store, panels } = hands;

  const under = (event) => hands.outlineAt(event);

  async function turn(item) {
    const { parts, others } = store.state.results.outlines;
    const thing = item.kind === "part" ? parts[item.index] : others[item.index];
    const action = item.kind === "part" ? "drop" : "take";
    const name = thing.name ? { name: thing.name } : {};
    const command = { do: "choose", inside_px: thing.inside_px, area_px2: thing.area_px2, action, ...name };
    if (await panels.attempt(() => store.do(command))) hands.announce(action === "drop" ? "Left out." : "Taken as a part.");
  }

  return {
    name: "choose",
    cursor: "pointer",
    hover(event) {
      hands.hoverOutline(under(event));
    },
    down(event) {
      hands.hoverOutline(under(event));
    },
    move(event, [dx, dy]) {
      // A press that goes somewhere is meant for the picture, not for the outline under its beginning.
      if (event.moved) hands.view.panBy(dx, dy);
    },
    up(event) {
      const item = event.moved ? null : under(event);
      if (!item) return;
      hands.select(null); // what is chosen is named by its place in a list that is about to change
      turn(item);
    },
    key: () => false,
    leave() {
      hands.hoverOutline(null);
    },
    cancel() {
      hands.hoverOutline(null);
    },
    release() {},
  };
}
