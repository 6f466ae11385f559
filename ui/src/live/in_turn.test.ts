import { expect, it } from "vitest";
import { inTurn } from "./in_turn";

const rest = (): Promise<void> => new Promise((done) => setTimeout(done));

/** Questions that are answered when told to. */
function asked(): { put: (name: string) => (signal: AbortSignal) => Promise<void>; begun: string[]; answer: () => Promise<void>; fail: () => Promise<void> } {
  const begun: string[] = [];
  let [done, lost] = [(): void => undefined, (): void => undefined];
  return {
    begun,
    put: (name) => () => {
      begun.push(name);
      return new Promise((resolve, reject) => ([done, lost] = [resolve, () => reject(new Error(name))]));
    },
    answer: () => (done(), rest()),
    fail: () => (lost(), rest()),
  };
}

it("While one question is open, only the last waits.", async () => {
  const [turn, q] = [inTurn(), asked()];
  for (const name of ["a", "b", "c"]) turn.ask(q.put(name));
  expect(q.begun).toEqual(["a"]);
  expect(turn.waits()).toBe(true);
  await q.answer();
  expect(q.begun).toEqual(["a", "c"]);
  expect(turn.waits()).toBe(false);
});

it("A question that fails holds up no other.", async () => {
  const [turn, q] = [inTurn(), asked()];
  turn.ask(q.put("a"));
  turn.ask(q.put("b"));
  await q.fail();
  expect(q.begun).toEqual(["a", "b"]);
});

it("Stopped, what waits is forgotten and what is open is told; later ones are asked.", async () => {
  const [turn, q] = [inTurn(), asked()];
  let told: AbortSignal | null = null;
  turn.ask((signal) => ((told = signal), q.put("a")(signal)));
  turn.ask(q.put("b"));
  turn.stop();
  expect(told!.aborted).toBe(true);
  await q.fail();
  expect(q.begun).toEqual(["a"]);
  turn.ask(q.put("c"));
  expect(q.begun).toEqual(["a", "c"]);
});
