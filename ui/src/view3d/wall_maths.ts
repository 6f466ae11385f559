/**
 * How a parting wall stands, and how it moves, turns and tilts.
 *
 * A wall is ruled along its rise: seen along it, it is a line that runs across, straight or
 * through the knots of its bend.
 */

import type { V3, WallOn } from "./kinds";

/** From upright; a wall flatter than this parts no shell that stands on a board. */
export const FLATTEST_DEG = 60;

export interface Frame {
  /** Unit, out of the wall. */
  facing: V3;
  /** Unit and level, in the wall. */
  across: V3;
  /** Unit, in the wall: straight up for an upright one. */
  rise: V3;
}

export function frameOf(facing: V3): Frame {
  const n = unit(facing);
  const flat = Math.hypot(n[0], n[1]);
  const across: V3 = flat > 1e-9 ? [-n[1] / flat, n[0] / flat, 0] : [0, 1, 0];
  return { facing: n, across, rise: cross(n, across) };
}

/** Knots of the wall as [across, out] from its `through`, by rising across; a plane has one. */
export function knotsOf(wall: WallOn): [number, number][] {
  const { facing, across } = frameOf(wall.facing);
  if (!wall.bend?.length) return [[0, 0]];
  const knots = wall.bend.map((point): [number, number] => {
    const off = minus(point, wall.through);
    return [dot(off, across), dot(off, facing)];
  });
  return knots.sort((a, b) => a[0] - b[0]);
}

/** Moved along its facing by millimetres. */
export function moved(wall: WallOn, by_mm: number): WallOn {
  const by = times(unit(wall.facing), by_mm);
  return carried(wall, (point) => plus(point, by), (way) => way);
}

/** Turned about an upright axis through a place, in radians. */
export function turned(wall: WallOn, by: number, about: V3): WallOn {
  return swung(wall, [0, 0, 1], by, about);
}

/** Tilted about the level line that runs in it through a place; never flatter than is allowed. */
export function tilted(wall: WallOn, by: number, about: V3): WallOn {
  const { facing, across } = frameOf(wall.facing);
  const lean = Math.asin(Math.min(1, Math.max(-1, facing[2])));
  const most = (FLATTEST_DEG * Math.PI) / 180;
  // About across, a positive turn lowers the facing.
  const to = Math.min(most, Math.max(-most, lean - by));
  return swung(wall, across, lean - to, about);
}

/** How flat it leans, in degrees from upright. */
export function leanOf(facing: V3): number {
  return (Math.asin(Math.min(1, Math.abs(unit(facing)[2]))) * 180) / Math.PI;
}

/**
 * The rows of a sheet: two points, low and high, for each place across.
 *
 * It reaches from -half to half across about a middle and from one height to another, along its
 * rise; beyond the outer knots it runs on level.
 */
export function sheetRows(wall: WallOn, middle: V3, half: number, low: number, high: number): [V3, V3][] {
  const { facing, across, rise } = frameOf(wall.facing);
  const centre = dot(minus(middle, wall.through), across);
  const knots = knotsOf(wall);
  const inner = knots.map(([u]) => u).filter((u) => u > centre - half && u < centre + half);
  const stations = wall.bend?.length ? [centre - half, ...inner, centre + half] : [centre - half, centre + half];
  return stations.map((u) => {
    const foot = plus(plus(wall.through, times(across, u)), times(facing, outAt(knots, u)));
    const up = (z: number) => plus(foot, times(rise, (z - foot[2]) / rise[2]));
    return [up(low), up(high)];
  });
}

function outAt(knots: [number, number][], u: number): number {
  const k = knots.findIndex(([at]) => at >= u);
  if (k < 0) return knots[knots.length - 1]![1];
  if (k === 0) return knots[0]![1];
  const [[u0, a], [u1, b]] = [knots[k - 1]!, knots[k]!];
  return u1 > u0 ? a + ((b - a) * (u - u0)) / (u1 - u0) : b;
}

function swung(wall: WallOn, axis: V3, by: number, about: V3): WallOn {
  const turn = (way: V3) => rotated(way, axis, by);
  return carried(wall, (point) => plus(about, turn(minus(point, about))), turn);
}

function carried(wall: WallOn, point: (p: V3) => V3, way: (w: V3) => V3): WallOn {
  return {
    ...wall,
    through: point(wall.through),
    facing: unit(way(wall.facing)),
    bend: wall.bend ? wall.bend.map(point) : wall.bend,
  };
}

/** A way turned about a unit axis by radians. Source: Rodrigues' formula. */
export function rotated(way: V3, axis: V3, by: number): V3 {
  const c = Math.cos(by);
  const s = Math.sin(by);
  const side = cross(axis, way);
  const along = dot(axis, way) * (1 - c);
  return [0, 1, 2].map((i) => way[i]! * c + side[i]! * s + axis[i]! * along) as V3;
}

export function unit(a: V3): V3 {
  const length = Math.hypot(...a) || 1;
  return times(a, 1 / length);
}

export function dot(a: V3, b: V3): number {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

export function cross(a: V3, b: V3): V3 {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

export function plus(a: V3, b: V3): V3 {
  return [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
}

export function minus(a: V3, b: V3): V3 {
  return [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
}

export function times(a: V3, by: number): V3 {
  return [a[0] * by, a[1] * by, a[2] * by];
}
