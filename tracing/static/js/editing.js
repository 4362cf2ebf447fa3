/**
 * Moving marks that are there: dragging, nudging by tenths of a px, taking away.
 *
 * A mark being moved shows where it will be at once; the job hears of it when the gesture ends, as one command.
 */

import { maySnap, moveCommand, removeCommand } from "./marks.js";

const NUDGE_PX = 0.1; // picture px for one press of an arrow key
const FAR_NUDGE_PX = 1; // with shift
const NUDGE_ENDS_MS = 500; // presses of arrow keys within this time are one gesture, one step to undo

export class Editing {
  #nudged = null; // {mark, at, timer}

  /** `hands` is what tools get: store, panels, settle, loupe, changed. */
  constructor(hands) {
    this.hands = hands;
    this.moved = new Map(); // id -> place, of marks that are not yet where the job has them
  }

  /** The state as it is seen: traced lines and regions whose nodes are being moved have them where they are seen. */
  seen(state) {
    let { job } = state;
    for (const [id, at] of this.moved) {
      const [kind, index, which] = [id.split(":")[0], Number(id.split(":")[1]), id.split(":")[2]];
      const list = { trace: "traces", region: "regions" }[kind];
      if (!list || !job[list]?.[index]) continue;
      const changed = moveCommand({ job }, { kind, index, which }, at, false);
      job = { ...job, [list]: job[list].map((one, i) => (i === index ? { ...one, ...changed } : one)) };
    }
    return job === state.job ? state : { ...state, job };
  }

  /** The marks, those being moved where they are seen. */
  apply(marks) {
    if (!this.moved.size) return marks;
    return marks.map((mark) => (this.moved.has(mark.id) ? { ...mark, at: this.moved.get(mark.id) } : mark));
  }

  /** Start dragging; gives `{move, up, cancel}`. The mark keeps its distance from the pointer: it does not jump. */
  grab(mark, event) {
    this.finishNudge();
    const { hands } = this;
    const off = [mark.at[0] - event.at[0], mark.at[1] - event.at[1]];
    const placeFor = (told) => ({ ...told, at: [told.at[0] + off[0], told.at[1] + off[1]] });
    let went = false;
    hands.select(mark);
    return {
      mark,
      move: (told) => {
        if (!told.moved && !went) return;
        went = true;
        const place = placeFor(told);
        this.moved.set(mark.id, place.at);
        hands.magnify(place.at, told.kind);
        if (maySnap(mark)) hands.preview(place);
        hands.changed();
      },
      up: async (told) => {
        hands.magnify(null);
        if (!went) {
          hands.focusMark(mark.id);
          return;
        }
        const place = placeFor(told);
        const settled = maySnap(mark) ? await hands.settle(place) : { at: place.at, snap: false };
        hands.preview(null);
        await this.#send(mark, settled);
      },
      cancel: () => {
        this.moved.delete(mark.id);
        hands.magnify(null);
        hands.preview(null);
        hands.changed();
      },
    };
  }

  nudge(mark, [dx, dy], far) {
    if (this.#nudged && this.#nudged.mark.id !== mark.id) this.finishNudge();
    const step = far ? FAR_NUDGE_PX : NUDGE_PX;
    const [x, y] = this.#nudged?.at ?? mark.at;
    // Tenths add up to tenths: 0.1 + 0.2 must not become 0.30000000000000004 in the job file.
    const at = [round(x + dx * step), round(y + dy * step)];
    clearTimeout(this.#nudged?.timer);
    this.#nudged = { mark, at, timer: setTimeout(() => this.finishNudge(), NUDGE_ENDS_MS) };
    this.moved.set(mark.id, at);
    this.hands.changed();
    this.hands.view.reveal(at);
  }

  /** Tell the job of a nudge that has come to rest. */
  finishNudge() {
    const nudged = this.#nudged;
    if (!nudged) return null;
    clearTimeout(nudged.timer);
    this.#nudged = null;
    return this.#send(nudged.mark, { at: nudged.at, snap: false });
  }

  async remove(mark) {
    const command = removeCommand(mark);
    if (command && (await this.hands.panels.attempt(() => this.hands.store.do(command)))) {
      this.hands.announce(`${mark.name.split(",")[0]} was taken out.`);
    }
  }

  async #send(mark, { at, snap }) {
    this.moved.set(mark.id, at);
    this.hands.changed();
    const { store, panels } = this.hands;
    const done = await panels.attempt(() => store.do(moveCommand(store.state, mark, at, snap)));
    if (!this.#nudged || this.#nudged.mark.id !== mark.id) this.moved.delete(mark.id);
    this.hands.changed();
    if (done) this.hands.announce(`${mark.name}: ${at[0].toFixed(1)}, ${at[1].toFixed(1)}`);
  }
}

function round(value) {
  return Math.round(value * 1000) / 1000;
}
