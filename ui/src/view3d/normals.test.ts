import { expect, it } from "vitest";
import { extentOf, vertexNormals } from "./normals";

it("a corner of three square faces looks along their diagonal", () => {
  const positions = new Float32Array([0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1]);
  const normals = vertexNormals(positions, new Uint32Array([0, 2, 1, 0, 1, 3, 0, 3, 2]));
  expect([...normals.subarray(0, 3)]).toEqual([-1, -1, -1]);
});

it("a larger face counts for more", () => {
  // One face of 2 mm2 that looks up, one of 0.5 mm2 that looks along y.
  const positions = new Float32Array([0, 0, 0, 2, 0, 0, 0, 2, 0, 0, 0, 1, 1, 0, 0]);
  const normals = vertexNormals(positions, new Uint32Array([0, 1, 2, 0, 3, 4]));
  expect([...normals.subarray(0, 3)]).toEqual([0, 1, 4]);
});

it("the box holds every point, and is none without points", () => {
  expect(extentOf(new Float32Array([1, 5, -2, 3, -4, 0]))).toEqual({ low: [1, -4, -2], high: [3, 5, 0] });
  expect(extentOf(new Float32Array())).toBeNull();
});
