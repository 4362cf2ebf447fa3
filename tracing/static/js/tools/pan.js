/** The empty hand: drags marks and the picture, chooses what is clicked; a double click asks what it is called. */

export function panTool(hands) {
  const { view, store } = hands;
  let drag = null;
  return {
    name: "pan",
    cursor: "grab",
    hover(event) {
      const mark = hands.markAt(event);
      hands.cursor(mark ? "move" : null);
      hands.hoverOutline(!mark && store.step === "outlines" ? hands.seenOutlineAt(event) : null);
    },
    down(event) {
      const mark = hands.markAt(event);
      if (mark) drag = hands.editing.grab(mark, event);
      else hands.grabbing(event.kind !== "key");
    },
    move(event, [dx, dy]) {
      if (drag) drag.move(event);
      else view.panBy(dx, dy);
    },
    up(event) {
      hands.grabbing(false);
      if (drag) drag.up(event);
      else if (!event.moved) hands.select(hands.thingAt(event));
      drag = null;
    },
    double(event) {
      const thing = hands.markAt(event) ?? hands.thingAt(event);
      if (thing) hands.askAbout(thing);
    },
    key(event) {
      if (event.key !== "Enter" || hands.crosshair.at || store.selection?.kind !== "part") return false;
      hands.askAbout(store.selection);
      return true;
    },
    leave() {
      hands.cursor(null);
      hands.hoverOutline(null);
    },
    cancel() {
      hands.grabbing(false);
      drag?.cancel();
      drag = null;
    },
    release() {
      this.cancel();
    },
  };
}
