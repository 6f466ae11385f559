/** Questions about what the hand is moving: while one is open, only the last waits. */

export interface InTurn {
  /** Asks now, or once the open question is answered, unless a newer one came meanwhile. */
  ask: (question: (signal: AbortSignal) => Promise<unknown>) => void;
  /** Whether another question waits. */
  waits: () => boolean;
  /** Forgets the one that waits, and the answer of the open one. */
  stop: () => void;
}

export function inTurn(): InTurn {
  let open: AbortController | null = null;
  let next: ((signal: AbortSignal) => Promise<unknown>) | null = null;
  const ask: InTurn["ask"] = (question) => {
    if (open) {
      next = question;
      return;
    }
    next = null;
    open = new AbortController();
    void question(open.signal).catch(() => undefined).then(() => {
      open = null;
      if (next) ask(next);
    });
  };
  return {
    ask,
    waits: () => next !== null,
    stop: () => {
      next = null;
      open?.abort();
    },
  };
}
