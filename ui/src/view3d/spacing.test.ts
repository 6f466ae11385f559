import { expect, it } from "vitest";
import type { V3 } from "./kinds";
import { away, isDue, resampled } from "./spacing";

it("the first dab is due at once, the next a step farther", () => {
  expect(isDue(null, [0, 0, 0], 4)).toBe(true);
  expect(isDue([0, 0, 0], [3.9, 0, 0], 4)).toBe(false);
  expect(isDue([0, 0, 0], [0, 4, 0], 4)).toBe(true);
});

it("a line is given about every step, even and with both its ends", () => {
  const line: V3[] = [[0, 0, 0], [1, 0, 0], [10, 0, 0], [10, 11, 0]];
  const points = resampled(line, 3);
  expect(points).toHaveLength(8);
  expect(points[0]).toEqual([0, 0, 0]);
  expect(points[7]).toEqual([10, 11, 0]);
  expect(points[1]).toEqual([3, 0, 0]);
  expect(away(points[5]!, points[6]!)).toBeCloseTo(3, 9);
});

it("a line shorter than a step keeps its two ends", () => {
  expect(resampled([[0, 0, 0], [1, 0, 0]], 3)).toEqual([[0, 0, 0], [1, 0, 0]]);
  expect(resampled([[2, 0, 0]], 3)).toEqual([[2, 0, 0]]);
});
