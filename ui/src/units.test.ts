import { describe, expect, it } from "vitest";
import { duration, figure, inUnits, span, toShown, toStored, unitShown } from "./units";

describe("units", () => {
  it("An inch is 25.4 mm, a pound 453.59237 g, and 0 C is 32 F (international definitions).", () => {
    expect(toShown(25.4, "mm", "inch")).toBe(1);
    expect(toShown(453.59237, "g", "inch")).toBeCloseTo(16, 12);
    expect(toShown(0, "°C", "inch")).toBe(32);
    expect(toShown(100, "°C", "inch")).toBe(212);
    expect(toShown(16.387064, "cm³", "inch")).toBeCloseTo(1, 12);
  });
  it("What is typed comes back as it was stored, in either system.", () => {
    for (const unit of ["mm", "g", "°C", "cm³", "pct"])
      for (const chosen of ["metric", "inch"] as const)
        for (const value of [0.3, 6, 8.25, 21, 214.7])
          expect(toStored(toShown(value, unit, chosen), unit, chosen)).toBeCloseTo(value, 6);
  });
  it("Metric input is stored to the digit.", () => {
    expect(toStored(6.1, "mm", "metric")).toBe(6.1);
  });
  it("Figures carry the digits that their size deserves.", () => {
    expect(figure(1234.56, "g", undefined, "metric")).toBe("1\u202f235");
    expect(figure(12.34, "mm", undefined, "metric")).toBe("12.3");
    expect(figure(-0.456, "mm", undefined, "metric")).toBe("\u22120.46");
  });
  it("Units without a counterpart stay.", () => {
    expect(unitShown("min", "inch")).toBe("min");
    expect(unitShown("cm3", "metric")).toBe("cm³");
  });
  it("A sentence is read in inches and ounces; what is no measure stays.", () => {
    const told = "Fill near (1, 2, 3) mm is 21.5 cm³ and up to 25.4 mm deep; 205 to 231 g, at 21 °C, in 2 pieces, 3 min.";
    expect(inUnits(told, "inch")).toBe("Fill near (1, 2, 3) mm is 1.31 in³ and up to 1 in deep; 7.2 to 8.1 oz, at 70 °F, in 2 pieces, 3 min.");
    expect(inUnits("It is 173 × 143 × 113 mm and 0.3 mm.", "inch")).toBe("It is 6.8 × 5.6 × 4.4 in and 0.012 in.");
    expect(inUnits("Kept at 93.33 °C or 21.5 °C.", "inch")).toBe("Kept at 200 °F or 71 °F.");
    expect(inUnits("1.2 g/cm³ of 3 mm", "inch")).toBe("1.2 g/cm³ of 0.12 in");
    expect(inUnits(told, "metric")).toBe(told);
  });
  it("A figure in a sentence keeps the fineness that it was told with, and is not lost.", () => {
    expect(inUnits("It keeps 11.19 mm from the body; 11.27 mm is needed.", "inch")).toBe("It keeps 0.4406 in from the body; 0.4437 in is needed.");
    expect(inUnits("11.2 mm and 11.3 mm; 52 mm", "inch")).toBe("0.441 in and 0.445 in; 2.05 in");
    expect(inUnits("0.3 cm³ of silicone fill it solid, 0.066 cm2", "inch")).toBe("0.02 in³ of silicone fill it solid, 0.0102 in²");
    expect(inUnits("no vertex moved farther than 0.00095 mm; within 0 mm", "inch")).toBe("no vertex moved farther than 0.0000374 in; within 0 in");
    expect(figure(0.3, "cm³", undefined, "inch")).toBe("0.018");
  });
  it("Durations are read in minutes, hours or days.", () => {
    expect(duration(45)).toBe("45 min");
    expect(duration(150)).toBe("2.5 h");
    expect(duration(60 * 72)).toBe("3 days");
    expect(span(150, 260)).toBe("2.5–4.3 h");
    expect(span(3600, 8900)).toBe("2.5–6.2 days");
    expect(span(13, 35)).toBe("13–35 min");
  });
});
