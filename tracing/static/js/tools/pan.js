/** The empty hand: drags marks and the picture, chooses what is clicked. */

export function panTool(hands) {
  const { view } = hands;
  let drag = null;
  return {
    name: "pan",
    cursor: "grab",
    hover(event) {
      const mark = hands.markAt(event);
      hands.cursor(mark ? "move" : null);
      hands.hoverOutline(null);
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
    key: () => false,
    leave() {
      hands.cursor(null);
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
