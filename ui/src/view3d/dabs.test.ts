import { expect, it } from "vitest";
import { OUTSIDE_MM, lay, noPaint, type DabOn } from "./dabs";

// Outside at z = 3, looking up; inside right below it at z = 0, looking down; one far off.
const POSITIONS = new Float32Array([0, 0, 3, 2, 0, 3, 0, 0, 0, 40, 0, 3]);
const NORMALS = new Float32Array([0, 0, 1, 0, 0, 1, 0, 0, -1, 0, 0, 1]);
const DAB: DabOn = { at: [0, 0, 3], radius: 5, facing: [0, 0, 1], copied: true };

it("a dab is deepest in its middle and leaves what is far untouched", () => {
  const paint = noPaint(4);
  lay(paint, DAB, POSITIONS, NORMALS);
  expect(paint[0]).toBe(5);
  expect(paint[2]).toBe(3);
  expect(paint[6]).toBe(-OUTSIDE_MM);
});

it("a dab does not come through a thin wall", () => {
  const paint = noPaint(4);
  lay(paint, DAB, POSITIONS, NORMALS);
  expect(paint[4]).toBe(-OUTSIDE_MM);
});

it("the later of two dabs wins", () => {
  const paint = noPaint(4);
  lay(paint, DAB, POSITIONS, NORMALS);
  lay(paint, { ...DAB, copied: false, radius: 1 }, POSITIONS, NORMALS);
  expect(paint[1]).toBe(1);
  expect(paint[0]).toBe(-1);
  expect(paint[2]).toBe(1);
});
