/** What stays as it is while parts, tools and maps come and go. */

import { Box3, Group, Vector3 } from "three";
import { expect, it, vi } from "vitest";
import { Apart } from "./apart";
import type { Bed } from "./bed";
import type { View } from "./kinds";
import { openWithin } from "./locks";
import { Measure } from "./measure";
import { paletteOf } from "./palette";
import { Reading } from "./reading";
import { isAboutSame } from "./turn";

const BOX = new Box3(new Vector3(-50, -40, 0), new Vector3(50, 40, 100));
const view = (part: Partial<View>): View => ({ tool: "turn", map: null, ...part }) as View;
const MAP = { part: "master", url: "/a", title: "", unit: "mm" };

function bedOf(more: object): Bed {
  const stage = { scene: new Group(), over: document.createElement("div"), before: [], after: [], ask: () => undefined };
  return { stage, palette: () => paletteOf(false), view: () => view({}), heard: { measured: vi.fn(), picked: vi.fn() }, ...more } as unknown as Bed;
}

it("the camera goes along when parts are drawn apart, not when they come", () => {
  const shift = new Vector3();
  const piece = { part: { role: "skin", pull: null }, shift, lay: () => undefined };
  const bed = bedOf({ parts: { laidBox: () => BOX, box: () => BOX, all: new Map([["skin", piece]]) } });
  const apart = new Apart(bed);
  apart.moved = vi.fn();
  apart.set(0.8);
  apart.settle();
  expect(shift.z).toBeCloseTo(60);
  expect(apart.moved).not.toHaveBeenCalled();
  apart.set(0.4);
  bed.stage.before[0]!(16);
  expect(shift.z).toBeLessThan(60);
  expect(apart.moved).toHaveBeenCalledOnce();
});

it("a box fits the view of another when size and place are about the same", () => {
  const scaled = (by: number) => new Box3(BOX.min.clone().multiplyScalar(by), BOX.max.clone().multiplyScalar(by));
  expect(isAboutSame(BOX, scaled(1.05))).toBe(true);
  expect(isAboutSame(BOX, scaled(1.3))).toBe(false);
  expect(isAboutSame(scaled(1.3), BOX)).toBe(false);
  expect(isAboutSame(BOX, BOX.clone().translate(new Vector3(0, 0, 40)))).toBe(false);
});

it("a length goes when its tool is put down", () => {
  const bed = bedOf({});
  const measure = new Measure(bed);
  measure.set(view({ tool: "measure" }), view({}));
  expect(bed.heard.measured).not.toHaveBeenCalled();
  measure.set(view({}), view({ tool: "measure" }));
  expect(bed.heard.measured).toHaveBeenCalledExactlyOnceWith(null);
});

it("a figure that was read goes with its map or tool, and stays otherwise", () => {
  const told = (before: View | null, now: View): boolean => {
    const bed = bedOf({});
    new Reading(bed, { on: false } as never).set(now, before);
    return (bed.heard.picked as ReturnType<typeof vi.fn>).mock.calls.length > 0;
  };
  const mapped = view({ map: MAP });
  expect(told(null, mapped)).toBe(false);
  expect(told(mapped, { ...mapped, apart: 1 })).toBe(false);
  expect(told(mapped, view({}))).toBe(true);
  expect(told(mapped, view({ map: { ...MAP, url: "/b" } }))).toBe(true);
  expect(told(mapped, view({ map: MAP, tool: "measure" }))).toBe(true);
});

it("the words of a locking place open toward the middle of the bench", () => {
  const mark = document.createElement("button");
  openWithin(mark, { x: 900, y: 50 }, { x: 1000, y: 600 });
  expect([mark.hasAttribute("data-leftward"), mark.hasAttribute("data-downward")]).toEqual([true, true]);
  expect(mark.style.getPropertyValue("--room")).toBe("876px");
  openWithin(mark, { x: 100, y: 500 }, { x: 1000, y: 600 });
  expect([mark.hasAttribute("data-leftward"), mark.hasAttribute("data-downward")]).toEqual([false, false]);
});
