/** Moving the picture: one finger or the left button. */

export function panTool({ view }) {
  return {
    name: "pan",
    cursor: "grab",
    down() {},
    move(_event, [dx, dy]) {
      view.panBy(dx, dy);
    },
    up() {},
    hover() {},
    key: () => false,
    cancel() {},
  };
}
