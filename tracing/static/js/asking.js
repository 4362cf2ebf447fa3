/** Questions to the program that follow the pointer: only the newest counts, and at most one is under way. */

/**
 * Wrap `ask(...args, {signal})`. The wrapped function gives the answer, or null when a newer question came.
 *
 * While one is under way the newest waits, and older ones in between are never sent: an answer then comes as soon
 * after the pointer stops as the program can give it, and the program is never asked faster than it answers.
 */
export function newestOnly(ask, onError = () => {}) {
  let busy = false;
  let waiting = null;

  async function run({ args, resolve }) {
    busy = true;
    let answer = null;
    try {
      answer = await ask(...args);
    } catch (error) {
      if (error.name !== "AbortError") onError(error);
    }
    busy = false;
    const next = waiting;
    waiting = null;
    if (next) run(next);
    resolve(next ? null : answer);
  }

  return (...args) => new Promise((resolve) => {
    waiting?.resolve(null);
    waiting = null;
    const question = { args, resolve };
    if (busy) waiting = question;
    else run(question);
  });
}
