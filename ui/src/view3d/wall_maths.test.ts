import { describe, expect, it } from "vitest";
import type { V3, WallOn } from "./kinds";
import { FLATTEST_DEG, dot, frameOf, knotsOf, leanOf, minus, moved, sheetRows, tilted, turned } from "./wall_maths";

const PLANE: WallOn = { id: "a", through: [10, 0, 0], facing: [1, 0, 0], locked: false };
const BENT: WallOn = { ...PLANE, bend: [[10, -20, 0], [14, 0, 0], [10, 20, 0]] };

function close(a: V3, b: V3): void {
  a.forEach((v, i) => expect(v).toBeCloseTo(b[i]!, 9));
}

describe("a wall", () => {
  it("runs level across, and its rise goes up", () => {
    const { across, rise } = frameOf([1, 0, 0]);
    close(across, [0, 1, 0]);
    close(rise, [0, 0, 1]);
    const lean = frameOf([0.8, 0, 0.6]);
    expect(dot(lean.rise, lean.facing)).toBeCloseTo(0, 12);
    expect(lean.rise[2]).toBeCloseTo(0.8, 12);
  });

  it("moves along its facing with its bend, and back to where it was", () => {
    const there = moved(BENT, 3);
    close(there.through, [13, 0, 0]);
    close(there.bend![1]!, [17, 0, 0]);
    close(moved(there, -3).bend![2]!, BENT.bend![2]!);
  });

  it("turned a quarter about z looks the other way, its bend with it", () => {
    const there = turned(BENT, Math.PI / 2, [0, 0, 0]);
    close(there.facing, [0, 1, 0]);
    close(there.through, [0, 10, 0]);
    knotsOf(there).forEach(([u, out], i) => {
      expect(u).toBeCloseTo(knotsOf(BENT)[i]![0], 9);
      expect(out).toBeCloseTo(knotsOf(BENT)[i]![1], 9);
    });
  });

  it("tilts about the place it is held at, which stays in it", () => {
    const about: V3 = [10, 0, 50];
    const there = tilted(PLANE, 0.2, about);
    expect(leanOf(there.facing)).toBeCloseTo((0.2 * 180) / Math.PI, 9);
    expect(there.facing[2]).toBeLessThan(0);
    expect(dot(minus(about, there.through), there.facing)).toBeCloseTo(0, 9);
  });

  it("never gets flatter than a shell can be parted", () => {
    expect(leanOf(tilted(PLANE, 2, [0, 0, 0]).facing)).toBeCloseTo(FLATTEST_DEG, 9);
    expect(leanOf(tilted(PLANE, -2, [0, 0, 0]).facing)).toBeCloseTo(FLATTEST_DEG, 9);
  });
});

describe("its sheet", () => {
  it("reaches from low to high along its rise, through every knot", () => {
    const rows = sheetRows(BENT, [0, 0, 0], 40, -5, 60);
    expect(rows).toHaveLength(5);
    rows.forEach(([low, high]) => {
      expect(low[2]).toBeCloseTo(-5, 9);
      expect(high[2]).toBeCloseTo(60, 9);
    });
    close(rows[2]![0], [14, 0, -5]);
  });

  it("runs on level beyond its outer knots", () => {
    const rows = sheetRows(BENT, [0, 0, 0], 40, 0, 1);
    close(rows[0]![0], [10, -40, 0]);
    close(rows[4]![0], [10, 40, 0]);
  });

  it("lies in the plane of a leaning wall", () => {
    const wall: WallOn = { ...PLANE, facing: [0.8, 0, 0.6] };
    for (const point of sheetRows(wall, [0, 0, 0], 30, 0, 90).flat()) {
      expect(dot(minus(point, wall.through), wall.facing)).toBeCloseTo(0, 9);
    }
  });
});
