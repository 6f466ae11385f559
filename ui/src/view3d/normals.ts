/** Which way the surface looks at each vertex, and how far it reaches. */

export interface Extent {
  low: [number, number, number];
  high: [number, number, number];
}

/**
 * One normal per vertex, the mean of the face normals around it: larger faces count more.
 *
 * Its length tells how well they agree: 1 where the surface is even, 0.71 on a square edge, 0.58
 * on a square corner. Creases come out crisp because the shader takes a face's own normal where
 * these are short or far from it (see plaster.ts).
 */
export function vertexNormals(positions: Float32Array, indices: Uint32Array): Float32Array {
  const normals = new Float32Array(positions.length);
  const areas = new Float32Array(positions.length / 3);
  for (let i = 0, n = indices.length; i < n; i += 3) {
    const a = indices[i]! * 3;
    const b = indices[i + 1]! * 3;
    const c = indices[i + 2]! * 3;
    const ax = positions[a]!;
    const ay = positions[a + 1]!;
    const az = positions[a + 2]!;
    const ux = positions[b]! - ax;
    const uy = positions[b + 1]! - ay;
    const uz = positions[b + 2]! - az;
    const vx = positions[c]! - ax;
    const vy = positions[c + 1]! - ay;
    const vz = positions[c + 2]! - az;
    const x = uy * vz - uz * vy;
    const y = uz * vx - ux * vz;
    const z = ux * vy - uy * vx;
    const area = Math.sqrt(x * x + y * y + z * z);
    areas[a / 3]! += area;
    areas[b / 3]! += area;
    areas[c / 3]! += area;
    normals[a]! += x;
    normals[a + 1]! += y;
    normals[a + 2]! += z;
    normals[b]! += x;
    normals[b + 1]! += y;
    normals[b + 2]! += z;
    normals[c]! += x;
    normals[c + 1]! += y;
    normals[c + 2]! += z;
  }
  for (let i = 0; i < normals.length; i++) normals[i]! /= areas[Math.floor(i / 3)]! || 1;
  return normals;
}

/** The box around the points; null without any. */
export function extentOf(positions: Float32Array): Extent | null {
  if (!positions.length) return null;
  let [lx, ly, lz] = [Infinity, Infinity, Infinity];
  let [hx, hy, hz] = [-Infinity, -Infinity, -Infinity];
  for (let i = 0, n = positions.length; i < n; i += 3) {
    const x = positions[i]!;
    const y = positions[i + 1]!;
    const z = positions[i + 2]!;
    if (x < lx) lx = x;
    if (x > hx) hx = x;
    if (y < ly) ly = y;
    if (y > hy) hy = y;
    if (z < lz) lz = z;
    if (z > hz) hz = z;
  }
  return { low: [lx, ly, lz], high: [hx, hy, hz] };
}
