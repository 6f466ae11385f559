import { afterEach, describe, expect, it } from "vitest";
import { setSystem } from "../units";
import { isNamed } from "./find";
import { bytes, forInput, readNumber, storedOf } from "./typed";

afterEach(() => setSystem("metric"));

describe("typed numbers", () => {
  it("A comma or a point parts the decimals; spaces and a true minus do no harm.", () => {
    expect(readNumber("3,5")).toBe(3.5);
    expect(readNumber(" 1\u202f200.25 ")).toBe(1200.25);
    expect(readNumber("\u22124")).toBe(-4);
    expect(readNumber(".5")).toBe(0.5);
  });
  it("What is no number is none, rather than a part of it.", () => {
    for (const text of ["", "abc", "6 mm", "1,2,3", "1/4", "--2", "0x10", "Infinity"]) expect(readNumber(text)).toBeNull();
  });
  it("A metric figure stands in its input to the digit.", () => {
    expect(forInput(0.95, "mm")).toBe("0.95");
    expect(forInput(1440, "min")).toBe("1440");
  });
  it("An inch figure that nobody touched is stored as it was.", () => {
    setSystem("inch");
    expect(forInput(8, "mm")).toBe("0.315");
    expect(storedOf("0.315", "mm", 8)).toBe(8);
    expect(storedOf("0.5", "mm", 8)).toBe(12.7);
  });
  it("Sizes of files are short.", () => {
    expect(bytes(512)).toBe("512 B");
    expect(bytes(2_345_678)).toBe("2.3 MB");
    expect(bytes(999_600)).toBe("1.0 MB");
    expect(bytes(31_500_084)).toBe("32 MB");
    expect(bytes(4_000_000_000)).toBe("4.0 GB");
  });
});

describe("finding a name", () => {
  it("Every word must be in it, in any order, whatever case and accents.", () => {
    expect(isNamed("Éider mask, left", "left EIDER")).toBe(true);
    expect(isNamed("Heron mask", "heron helmet")).toBe(false);
    expect(isNamed("Heron mask", " ")).toBe(true);
  });
});
