import { Box3, Plane, Vector3 } from "three";
import { describe, expect, it } from "vitest";
import { shiftOf } from "./apart";
import { rangeOf } from "./colour_map";
import { planeOf } from "./cut";
import { alongLine } from "./handle";
import { besides } from "./head";
import type { Part, V3 } from "./kinds";
import { ballRadius } from "./locks";
import { pairsOf } from "./strokes";
import { axesAt } from "./turn";
import { stepped } from "./pulls";
import { Ray } from "three";

const BOX = new Box3(new Vector3(-50, -40, 0), new Vector3(50, 40, 100));

describe("a cut", () => {
  it("takes away everything at one end of its way, nothing at the other", () => {
    for (const axis of ["x", "y", "z"] as const) {
      const ends = [0, 1].map((at) => planeOf({ axis, at, flip: false }, BOX, new Vector3()));
      const kept = ends.map((plane) => plane.distanceToPoint(BOX.getCenter(new Vector3())) < 0);
      expect(kept.filter(Boolean)).toHaveLength(1);
    }
  });

  it("flipped keeps the other side of the same plane", () => {
    const plane = planeOf({ axis: "z", at: 0.25, flip: false }, BOX, new Vector3());
    const other = planeOf({ axis: "z", at: 0.25, flip: true }, BOX, new Vector3());
    expect(plane.distanceToPoint(new Vector3(0, 0, 25))).toBeCloseTo(0, 1);
    expect(other.normal.z).toBe(-plane.normal.z);
    expect(other.constant).toBe(-plane.constant);
    expect(plane).toBeInstanceOf(Plane);
  });
});

it("the body stays, the skin rises, and a shell piece leaves it along its pull", () => {
  const part = (role: Part["role"], pull: V3 | null): Part => ({ name: "p", title: "", url: "", matrix: null, role, pull });
  const shell = shiftOf(part("shell", [1, 0, 0]), 0.5, BOX);
  expect(shell.x).toBeGreaterThan(0);
  const skin = shiftOf(part("skin", null), 0.5, BOX);
  expect([shell.y, shell.z - skin.z]).toEqual([0, 0]);
  expect(skin.z).toBeGreaterThan(0);
  expect(shiftOf(part("body", null), 1, BOX).length()).toBe(0);
  expect(shiftOf(part("shell", [1, 0, 0]), 0, BOX).length()).toBe(0);
});

it("a headform stands beside the part on the same board", () => {
  const head = new Box3(new Vector3(-80, -100, -130), new Vector3(80, 100, 120));
  const there = head.clone().translate(besides(BOX, head));
  expect(there.min.x).toBeGreaterThan(BOX.max.x);
  expect(there.min.z).toBeCloseTo(BOX.min.z, 9);
});

it("a lock's ball has the volume that locks", () => {
  expect((4 / 3) * Math.PI * (ballRadius(2) / 10) ** 3).toBeCloseTo(2, 9);
  expect(ballRadius(0)).toBeGreaterThan(0);
});

it("a drag is followed along the facing as far as the pointer goes", () => {
  const ray = new Ray(new Vector3(7, -100, 3), new Vector3(0, 1, 0));
  expect(alongLine(ray, new Vector3(0, 0, 0), new Vector3(1, 0, 0))).toBeCloseTo(7, 9);
});

it("a pull steps about z and up by degrees, never past straight up", () => {
  const up = stepped([1, 0, 0], 0, Math.PI / 6);
  expect(up[2]).toBeCloseTo(0.5, 9);
  expect(stepped([1, 0, 0], Math.PI / 2, 0)[1]).toBeCloseTo(1, 9);
  expect(stepped(up, 0, 9)[2]).toBeLessThanOrEqual(1);
});

it("the camera's axes stand square on one another, upside down too", () => {
  for (const raised of [0, 0.7, Math.PI / 2, 2.4]) {
    const [right, up, back] = axesAt(0.3, raised);
    expect(right.clone().cross(up).distanceTo(back)).toBeLessThan(1e-12);
  }
});

it("a map's range is what is told, else what is there, and never empty", () => {
  const values = new Float32Array([NaN, 2, 5]);
  expect(rangeOf(values, 1, 4)).toEqual([1, 4]);
  expect(rangeOf(values, null, undefined)).toEqual([2, 5]);
  expect(rangeOf(new Float32Array([3]), 4, 4)).toEqual([2.5, 3.5]);
  expect(rangeOf(new Float32Array([NaN]), null, null)).toEqual([0, 1]);
});

it("lines come as the ends of their pieces, apart from one another", () => {
  expect(pairsOf([[[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[9, 9, 9]]])).toEqual([0, 0, 0, 1, 0, 0, 1, 0, 0, 2, 0, 0]);
});
