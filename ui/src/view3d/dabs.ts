/** Dabs of paint as two numbers per vertex: how deep it lies within what is copied, and left. */

import type { V3 } from "./kinds";

/** Outside it is told no farther than this, so that edges come out the same everywhere. */
export const OUTSIDE_MM = 4;

export interface DabOn {
  at: V3;
  radius: number;
  facing: V3;
  copied: boolean;
}

export function noPaint(vertices: number): Float32Array {
  return new Float32Array(vertices * 2).fill(-OUTSIDE_MM);
}

/**
 * Lays one more dab over the paint: later ones win. Only vertices that look the same way take it,
 * so that it never comes through a thin wall. All in the mesh's own axes.
 */
export function lay(paint: Float32Array, dab: DabOn, positions: Float32Array, normals: Float32Array): void {
  const [x, y, z] = dab.at;
  const [nx, ny, nz] = dab.facing;
  const { radius } = dab;
  const reach = (radius + OUTSIDE_MM) ** 2;
  const mine = dab.copied ? 0 : 1;
  for (let v = 0, i = 0; i < positions.length; v += 2, i += 3) {
    const dx = positions[i]! - x;
    const dy = positions[i + 1]! - y;
    const dz = positions[i + 2]! - z;
    const square = dx * dx + dy * dy + dz * dz;
    if (square > reach) continue;
    if (normals[i]! * nx + normals[i + 1]! * ny + normals[i + 2]! * nz <= 0) continue;
    const depth = radius - Math.sqrt(square);
    if (depth > paint[v + mine]!) paint[v + mine] = depth;
    const other = v + 1 - mine;
    if (-depth < paint[other]!) paint[other] = Math.max(-OUTSIDE_MM, -depth);
  }
}
