/** What lies under the pointer: the first face that is shown and not cut away. */

import {
  BackSide,
  DoubleSide,
  FrontSide,
  Plane,
  Ray,
  Raycaster,
  Triangle,
  Vector2,
  Vector3,
  type Intersection,
} from "three";
import type { Piece, Solid } from "./parts";
import type { Stage } from "./stage";

export interface Hit {
  piece: Piece;
  /** In scene axes, and in the mesh's own. */
  place: Vector3;
  within: Vector3;
  /** Unit, out of the surface, in scene axes. */
  normal: Vector3;
  face: number;
  along: number;
  /** On the flat of a cut, where no vertex lies. */
  onCut: boolean;
}

const caster = new Raycaster();

/** The ray through a pixel of the canvas. */
export function rayAt(stage: Stage, x: number, y: number): Ray {
  const at = new Vector2((x / stage.size.x) * 2 - 1, 1 - (y / stage.size.y) * 2);
  caster.setFromCamera(at, stage.camera);
  return caster.ray.clone();
}

/** The nearest hit along a ray; `cut` takes away what lies on its positive side. */
export function firstHit(ray: Ray, pieces: Iterable<Piece>, cut: Plane | null = null): Hit | null {
  let best: Hit | null = null;
  for (const piece of pieces) {
    const hit = hitOn(piece, ray, cut);
    if (hit && (!best || hit.along < best.along)) best = hit;
  }
  return best;
}

/** The three vertices of a face, in the mesh's own axes. */
export function cornersOf(solid: Solid, face: number): [number, number, number] {
  const { indices } = solid;
  return [indices[face * 3]!, indices[face * 3 + 1]!, indices[face * 3 + 2]!];
}

export function vertexAt(solid: Solid, vertex: number): Vector3 {
  return new Vector3().fromArray(solid.positions, vertex * 3);
}

/** The value at a place within a face, between those of its corners; null where one is missing. */
export function valueAt(hit: Hit, values: Float32Array): number | null {
  const corners = cornersOf(hit.piece.solid, hit.face);
  const [a, b, c] = corners.map((v) => vertexAt(hit.piece.solid, v)) as [Vector3, Vector3, Vector3];
  const weights = Triangle.getBarycoord(hit.within, a, b, c, new Vector3());
  if (!weights) return null;
  const [u, v, w] = corners.map((corner) => values[corner]!) as [number, number, number];
  const value = u * weights.x + v * weights.y + w * weights.z;
  return Number.isFinite(value) ? value : null;
}

function hitOn(piece: Piece, ray: Ray, cut: Plane | null): Hit | null {
  const kept = cut ? stretchKept(ray, cut) : ([0, Infinity] as const);
  if (!kept) return null;
  const own = ray.clone().applyMatrix4(piece.inverse);
  const start = ray.at(kept[0], new Vector3()).applyMatrix4(piece.inverse);
  const scale = piece.own.getMaxScaleOnAxis();
  const begins = kept[0] > 0;
  if (begins) own.origin.copy(start);
  const most = (kept[1] - kept[0]) / scale;
  const side = begins || piece.mesh.material.side === DoubleSide ? DoubleSide : FrontSide;
  const found = cast(piece, own, side, most);
  if (!found || found.faceIndex == null) return null;
  const normal = found.face!.normal.clone();
  const seenFromWithin = normal.dot(own.direction) > 0;
  const onCut = begins && seenFromWithin && piece.mesh.material.side !== BackSide;
  const within = onCut ? own.origin.clone() : found.point.clone();
  const place = within.clone().applyMatrix4(piece.group.matrix);
  normal.transformDirection(piece.group.matrix);
  if (onCut) normal.copy(cut!.normal);
  const along = place.distanceTo(ray.origin);
  return { piece, place, within, normal, face: found.faceIndex, along, onCut };
}

function cast(piece: Piece, own: Ray, side: typeof DoubleSide | typeof FrontSide, most: number): Intersection | null {
  const { tree } = piece.solid;
  if (tree) return tree.raycastFirst(own, side, 0, most);
  // Until the tree has come, every face is asked.
  caster.ray.copy(own.clone().applyMatrix4(piece.group.matrix));
  const [hit] = caster.intersectObject(piece.mesh, false);
  if (!hit) return null;
  hit.point.applyMatrix4(piece.inverse);
  return own.origin.distanceTo(hit.point) <= most ? hit : null;
}

/** From where to where a ray runs on the side of a cut that is kept. */
function stretchKept(ray: Ray, cut: Plane): readonly [number, number] | null {
  const height = cut.distanceToPoint(ray.origin);
  const slope = cut.normal.dot(ray.direction);
  if (Math.abs(slope) < 1e-9) return height > 0 ? null : [0, Infinity];
  const at = -height / slope;
  if (height > 0) return at < 0 ? null : [at, Infinity];
  return [0, at < 0 ? Infinity : at];
}
