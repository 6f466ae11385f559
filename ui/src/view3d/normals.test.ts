import { expect, it } from "vitest";
import { extentOf, vertexNormals } from "./normals";

it("a corner of three square faces looks along their diagonal", () => {
  const positions = new Float32Array([0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1]);
  const normals = vertexNormals(positions, new Uint32Array([0, 2, 1, 0, 1, 3, 0, 3, 2]));
  for (const along of normals.subarray(0, 3)) expect(along).toBeCloseTo(-1 / 3, 6);
});

it("a larger face counts for more", () => {
  // One face of 2 mm2 that looks up, one of 0.5 mm2 that looks along y.
  const positions = new Float32Array([0, 0, 0, 2, 0, 0, 0, 2, 0, 0, 0, 1, 1, 0, 0]);
  const normals = vertexNormals(positions, new Uint32Array([0, 1, 2, 0, 3, 4]));
  expect(normals[0]).toBe(0);
  expect(normals[2]! / normals[1]!).toBeCloseTo(4, 6);
});

it("is as long as the faces around it agree", () => {
  const edge = new Float32Array([0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1]);
  const square = vertexNormals(edge, new Uint32Array([0, 1, 2, 0, 3, 1]));
  expect(Math.hypot(...square.subarray(0, 3))).toBeCloseTo(Math.SQRT1_2, 6);
  const flat = vertexNormals(new Float32Array([0, 0, 0, 2, 0, 0, 0, 2, 0, -1, 0, 0]), new Uint32Array([0, 1, 2, 0, 2, 3]));
  expect(Math.hypot(...flat.subarray(0, 3))).toBeCloseTo(1, 6);
  const alone = vertexNormals(new Float32Array([0, 0, 0]), new Uint32Array());
  expect([...alone]).toEqual([0, 0, 0]);
});

it("the box holds every point, and is none without points", () => {
  expect(extentOf(new Float32Array([1, 5, -2, 3, -4, 0]))).toEqual({ low: [1, -4, -2], high: [3, 5, 0] });
  expect(extentOf(new Float32Array())).toBeNull();
});
