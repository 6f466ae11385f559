import { afterEach, describe, expect, it } from "vitest";
import { setSystem } from "../units";
import { byKind, namedBy, range, unitWords, value } from "./shelf";

afterEach(() => setSystem("metric"));

describe("the shelf", () => {
  it("An address names a material, and a figure of it.", () => {
    expect(namedBy("#silicone-tin-30a.pot_life")).toEqual({ material: "silicone-tin-30a", figure: "pot_life" });
    expect(namedBy("#silicone-tin-30a")).toEqual({ material: "silicone-tin-30a", figure: null });
    expect(namedBy("")).toBeNull();
  });
  it("Kinds come in the order of the work; one that is new comes last and is not lost.", () => {
    const of = (kind: string) => ({ id: kind, name: kind, kind, figures: [] });
    expect(byKind([of("glue"), of("resin"), of("silicone")]).map((some) => some.kind)).toEqual(["silicone", "resin", "glue"]);
  });
  it("Densities follow the units that are shown.", () => {
    expect(value(1.106, "g/cm3")).toEqual({ value: "1.106", unit: "g/cm³" });
    setSystem("inch");
    expect(value(1.106, "g/cm3")).toEqual({ value: "0.639", unit: "oz/in³" });
  });
  it("Long times are read in hours, and a range says its unit once.", () => {
    expect(value(2880, "min")).toEqual({ value: "2", unit: "days" });
    expect(range(960, 1440, "min")).toBe("16 to 24 h");
    expect(range(5, 40, "min")).toBe("5 to 40 min");
    expect(range(30, 120, "min")).toBe("30 min to 2 h");
  });
  it("Units are set in type, not in code.", () => {
    expect(unitWords("cm2/min")).toBe("cm²/min");
    expect(unitWords("g/dm2")).toBe("g/dm²");
    expect(unitWords("x pot life")).toBe("× pot life");
    expect(unitWords("x")).toBe("×");
  });
});
