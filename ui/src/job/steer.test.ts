import { afterEach, beforeEach, expect, it, vi } from "vitest";
import type { V3 } from "../api/kinds";
import { pullOf } from "../view3d/pulls";
import { makeScene } from "./scene";
import { draft, misses, pullAt, putBack, tryWalls, type Draft, type Steered } from "./steer";

const UP: V3 = [0, 0, 1];
const SIDE: V3 = [1, 0, 0];
const WALL = { through: [0, 0, 0] as V3, facing: [0, 1, 0] as V3 };
const PIECE = { name: "shell-2", role: "shell" as const, title: "", url: "", matrix: null, pull: UP };

beforeEach(() => void vi.stubGlobal("fetch", () => new Promise(() => undefined)));
afterEach(() => {
  draft.value = null;
  vi.unstubAllGlobals();
});

it("an arrow follows the hand, and goes back with the draft", () => {
  const scene = makeScene();
  tryWalls("1", scene, [WALL], [UP, SIDE]);
  expect(pullOf(PIECE, scene.view.value)).toEqual(SIDE);
  tryWalls("1", scene, [WALL], draft.value!.pulls);
  expect(pullOf(PIECE, scene.view.value)).toEqual(SIDE);
  putBack(scene);
  expect(pullOf(PIECE, scene.view.value)).toEqual(UP);
});

it("a line drawn anew leaves the pulls to the plan", () => {
  const scene = makeScene();
  tryWalls("1", scene, [WALL], [UP, SIDE]);
  tryWalls("1", scene, [{ line: [UP, SIDE, UP] }], null);
  expect(pullOf(PIECE, scene.view.value)).toEqual(UP);
});

it("the arrow of a piece stands for its pull in the plan", () => {
  expect(["shell-1", "shell-12"].map(pullAt)).toEqual([0, 11]);
});

it("a wall that makes no piece more misses the part", () => {
  const answered = (pieces: number | null): Draft => ({
    walls: [WALL, WALL], pulls: null, refusal: null, busy: false, answer: pieces === null ? null : ({ pieces } as Steered),
  });
  expect([null, 1, 2, 3].map((pieces) => misses(answered(pieces)))).toEqual([false, true, true, false]);
});
