import { describe, expect, it } from "vitest";
import { apartOf, codeOf, labOf, linearOf, rgbOf, type Rgb } from "./oklab";
import { kindFor, labAt, rampOf, stopsOf } from "./ramps";

// Eyes that lack one kind of cone. Source: Machado, Oliveira, Fernandes, 2009, severity 1.
const EYES: Record<string, number[]> = {
  usual: [1, 0, 0, 0, 1, 0, 0, 0, 1],
  protanopia: [0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998],
  deuteranopia: [0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.01182, 0.04294, 0.968881],
  tritanopia: [1.255528, -0.076749, -0.178779, -0.078411, 0.930809, 0.147602, 0.004733, 0.691367, 0.3039],
};

function seen(rgb: Rgb, eye: number[]): Rgb {
  const lin = rgb.map(linearOf);
  return [0, 3, 6].map((k) => codeOf(eye[k]! * lin[0]! + eye[k + 1]! * lin[1]! + eye[k + 2]! * lin[2]!)) as Rgb;
}

describe("a one-way ramp", () => {
  it("gets darker from low to high at each step", () => {
    const light = rampOf("one way").map((rgb) => labOf(rgb)[0]);
    for (let i = 1; i < light.length; i++) expect(light[i]!).toBeLessThan(light[i - 1]!);
  });

  it.each(Object.keys(EYES))("tells an eighth of its range apart to eyes of %s", (eye) => {
    const ramp = rampOf("one way").map((rgb) => labOf(seen(rgb, EYES[eye]!)));
    for (let i = 32; i < ramp.length; i++) expect(apartOf(ramp[i]!, ramp[i - 32]!)).toBeGreaterThan(0.05);
  });

  it("changes evenly: no step is thrice another", () => {
    const ramp = Array.from({ length: 17 }, (_, i) => labAt("one way", i / 16));
    const steps = ramp.slice(1).map((lab, i) => apartOf(lab, ramp[i]!));
    expect(Math.max(...steps) / Math.min(...steps)).toBeLessThan(3);
  });
});

describe("a two-way ramp", () => {
  it("is lightest in the middle and darker toward each end", () => {
    const light = rampOf("two ways").map((rgb) => labOf(rgb)[0]);
    for (let i = 2; i < 128; i++) expect(light[i]!).toBeGreaterThan(light[i - 1]!);
    for (let i = 130; i < 256; i++) expect(light[i]!).toBeLessThan(light[i - 1]!);
  });

  it.each(Object.keys(EYES))("tells above from below to eyes of %s", (eye) => {
    const ramp = rampOf("two ways").map((rgb) => labOf(seen(rgb, EYES[eye]!)));
    for (let i = 0; i < 96; i++) expect(apartOf(ramp[i]!, ramp[255 - i]!)).toBeGreaterThan(0.06);
  });
});

it("colours lie within what a screen shows, so that none is clipped", () => {
  for (const kind of ["one way", "two ways"] as const) {
    for (let i = 0; i <= 64; i++) {
      const lab = labAt(kind, i / 64);
      expect(apartOf(labOf(rgbOf(lab)), lab)).toBeLessThan(0.004);
    }
  }
});

it("a range with nought inside goes two ways", () => {
  expect(kindFor(-0.5, 0.5)).toBe("two ways");
  expect(kindFor(0, 3)).toBe("one way");
  expect(stopsOf("one way", 5)).toHaveLength(5);
});
