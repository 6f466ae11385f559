import { afterEach, describe, expect, it } from "vitest";
import type { FormField, Sheet } from "../api/kinds";
import { setSystem } from "../units";
import { allowedWords, asTyped, asWords, assumedOf, findFields, isThree, labelOf, readTyped, saidOf } from "./values";

const field = (some: Partial<FormField>): FormField => ({
  name: "skin.thickness_mm", what: "even layer over the body", why: "usual for a half-mask", default: 6, empty: null, unit: "mm", kind: "number",
  low: 3, high: 15, above: null, choices: null, allowed: "3 to 15 mm", ...some,
});
const box = field({ name: "shop.build_box_mm", what: "room of the printer, [x, y, z]", why: "only asked of a printer that is known", kind: "list", default: null, empty: "not asked", low: null, high: null, allowed: "three lengths of 80 to 3000 mm" });
const walls = field({ name: "shell.walls", what: "parting walls that are fixed, each {through, facing}", kind: "list", unit: "", default: null, empty: "found by the search", allowed: "up to 3 walls" });
const sheet: Sheet = { version: 1, values: { skin: { thickness_mm: 8 }, grid_mm: 2 }, text: "", assumed: [{ field: "shell.thickness_mm", value: 5, unit: "mm", why: "" }], problems: [] };

afterEach(() => setSystem("metric"));

describe("values of the sheet", () => {
  it("A field is said, or assumed as the plan assumed it, or as the form does.", () => {
    expect(saidOf(sheet, "skin.thickness_mm")).toBe(8);
    expect(saidOf(sheet, "grid_mm")).toBe(2);
    expect(saidOf(sheet, "cast.wall_mm")).toBeUndefined();
    expect(assumedOf(sheet, field({ name: "shell.thickness_mm", default: null }))).toBe(5);
    expect(assumedOf(sheet, field({ name: "cast.wall_mm", default: 3.5 }))).toBe(3.5);
  });
  it("Typed text becomes what is stored; empty takes the field out; what is no number is said.", () => {
    expect(readTyped("7,5", field({}), 8)).toEqual({ value: 7.5 });
    expect(readTyped("  ", field({}), 8)).toEqual({ value: null });
    expect(readTyped("thick", field({}), 8)).toHaveProperty("wrong");
    expect(readTyped("true", field({ kind: "yes_no", unit: "" }), undefined)).toEqual({ value: true });
    expect(readTyped("heron", field({ kind: "text", unit: "" }), undefined)).toEqual({ value: "heron" });
  });
  it("Three lengths are typed with commas, spaces or brackets, two are refused.", () => {
    for (const text of ["220, 220, 250", "220 220 250", "[220, 220, 250]", "220;220;250", "220,220,250"]) expect(readTyped(text, box, undefined)).toEqual({ value: [220, 220, 250] });
    expect(readTyped("220, 220", box, undefined)).toHaveProperty("wrong");
    expect(asTyped([220, 220, 250.5], box)).toBe("220, 220, 250.5");
  });
  it("Inches are shown and typed; millimetres stay what is stored.", () => {
    setSystem("inch");
    expect(asTyped(8, field({}))).toBe("0.315");
    expect(readTyped("0.25", field({}), 8)).toEqual({ value: 6.35 });
    expect(readTyped("10, 10, 12", box, undefined)).toEqual({ value: [254, 254, 304.8] });
    expect(allowedWords(field({}))).toBe("0.12 to 0.59 in");
    expect(allowedWords(field({ low: null, above: 0, high: 25.4 }))).toBe("above 0, up to 1 in");
  });
  it("Ranges are the server's words where units stay; a choice needs none.", () => {
    expect(allowedWords(field({}))).toBe("3 to 15 mm");
    expect(allowedWords(field({ kind: "choice", unit: "" }))).toBe("");
  });
  it("Lists that cannot be typed are counted and named without the way they are written.", () => {
    expect(isThree(box)).toBe(true);
    expect(isThree(walls)).toBe(false);
    expect(asWords([{}, {}], walls)).toBe("2 set");
    expect(asWords(null, walls)).toBe("found by the search");
    expect(labelOf(walls)).toBe("Parting walls that are fixed");
  });
  it("A field is found by any of its words, and empty groups go.", () => {
    const groups = [{ name: "skin", what: "", fields: [field({})] }, { name: "shop", what: "", fields: [box] }];
    expect(findFields(groups, "layer body").map((group) => group.name)).toEqual(["skin"]);
    expect(findFields(groups, "SHOP").map((group) => group.name)).toEqual(["shop"]);
    expect(findFields(groups, "nothing of it")).toEqual([]);
    expect(findFields(groups, "")).toHaveLength(2);
  });
});
