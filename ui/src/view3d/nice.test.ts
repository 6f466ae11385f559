import { expect, it } from "vitest";
import { lengthWords, niceBelow, niceStep } from "./nice";

it.each([
  [3.6, 10, 0.5],
  [10, 10, 1],
  [0.07, 10, 0.01],
  [101, 10, 20],
  [0, 10, 1],
])("a span of %f in at most %i steps goes by %f", (span, most, step) => {
  expect(niceStep(span, most)).toBe(step);
});

it.each([
  [99, 50],
  [100, 100],
  [0.3, 0.2],
  [4.9, 2],
])("below %f the round length is %f", (length, round) => {
  expect(niceBelow(length)).toBe(round);
});

it("a length is told in the units of the job", () => {
  expect(lengthWords(12.44, "mm")).toBe("12.4 mm");
  expect(lengthWords(254, "mm")).toBe("254 mm");
  expect(lengthWords(254, "in")).toBe("10.00 in");
});
