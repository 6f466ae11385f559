/** The brush: which of the surface is copied and which is left, dab by dab. */

import { BufferAttribute, DynamicDrawUsage, Vector3 } from "three";
import type { Bed } from "./bed";
import { lay, noPaint } from "./dabs";
import type { Grip, Point } from "./hands";
import type { Dab, V3, View } from "./kinds";
import type { Piece, Solid } from "./parts";
import type { Hit } from "./pick";
import { isDue } from "./spacing";
import { Strokes } from "./strokes";

const SPACING = 0.5; // of the radius, between dabs of a stroke
const NEAR_MM = 2; // how far from the surface a dab may have been set down

export class Brush {
  readonly grip: Grip = {
    start: (at) => this.start(at),
    move: (at) => this.move(at),
    end: () => (this.last = null),
    hover: (at) => this.hover(at),
  };
  private last: V3 | null = null;
  private way = new Vector3(0, 0, 1);
  private readonly border = new Strokes(2.5, 0.2);
  private bordered: View["border"] = [];
  private dark = false;
  /** The dabs that each surface carries already. */
  private readonly carried = new WeakMap<Solid, Dab[]>();

  constructor(private readonly bed: Bed) {
    bed.stage.scene.add(this.border.group);
    bed.stage.before.push(() => {
      const { ringWay } = bed.parts.shared;
      ringWay.value.copy(this.way).transformDirection(bed.stage.camera.matrixWorldInverse);
      return false;
    });
  }

  set(view: View): void {
    this.bed.parts.brushing = view.tool === "brush";
    const { ring, ringColour } = this.bed.parts.shared;
    ringColour.value.copy(view.brush.copied ? this.bed.palette().accent : this.bed.palette().ochre);
    if (view.tool !== "brush") ring.value.w = -1e6;
    else if (ring.value.w > 0) ring.value.w = view.brush.radius_mm;
    for (const piece of this.bed.parts.all.values()) this.carry(piece, view.dabs);
    if (view.border === this.bordered && view.dark === this.dark) return;
    [this.bordered, this.dark] = [view.border, view.dark];
    this.border.set(view.border, this.bed.palette().ink);
  }

  dispose(): void {
    this.border.dispose();
  }

  private carry(piece: Piece, dabs: Dab[]): void {
    const { solid } = piece;
    const held = this.carried.get(solid) ?? [];
    piece.painted = piece.paintable && dabs.length > 0 && !!solid.tree;
    if (!piece.painted) {
      if (held.length) this.carried.delete(solid);
      if (held.length) solid.geometry.deleteAttribute("paint");
      return;
    }
    const grown = held.length <= dabs.length && held.every((dab, i) => same(dab, dabs[i]!));
    if (grown && held.length === dabs.length) return;
    const paint = this.paintOf(solid, !grown);
    for (const dab of grown ? dabs.slice(held.length) : dabs) this.layOn(piece, dab, paint);
    this.carried.set(solid, [...dabs]);
  }

  private paintOf(solid: Solid, anew: boolean): BufferAttribute {
    const held = solid.geometry.getAttribute("paint") as BufferAttribute | undefined;
    if (held && anew) (held.array as Float32Array).set(noPaint(held.count));
    if (held) {
      held.needsUpdate = true;
      return held;
    }
    const made = new BufferAttribute(noPaint(solid.positions.length / 3), 2).setUsage(DynamicDrawUsage);
    solid.geometry.setAttribute("paint", made);
    return made;
  }

  private layOn(piece: Piece, dab: Dab, paint: BufferAttribute): void {
    const { solid } = piece;
    const at = new Vector3(...dab.at).applyMatrix4(piece.inverse);
    const radius = dab.radius_mm / piece.own.getMaxScaleOnAxis();
    const found = solid.tree!.closestPointToPoint(at, undefined, 0, radius + NEAR_MM);
    if (!found) return;
    const normals = solid.geometry.getAttribute("normal").array as Float32Array;
    const facing = faceWay(solid, found.faceIndex).toArray() as V3;
    lay(paint.array as Float32Array, { at: at.toArray() as V3, radius, facing, copied: dab.copied }, solid.positions, normals);
  }

  private start(at: Point): boolean {
    const hit = this.onSurface(at);
    if (!hit) return false;
    this.last = null;
    this.dab(hit);
    return true;
  }

  private move(at: Point): void {
    const hit = this.onSurface(at);
    this.showRing(hit);
    if (hit) this.dab(hit);
  }

  private hover(at: Point | null): void {
    this.showRing(at && this.onSurface(at));
  }

  private dab(hit: Hit): void {
    const { radius_mm, copied } = this.bed.view().brush;
    const at = hit.place.toArray() as V3;
    if (!isDue(this.last, at, radius_mm * SPACING)) return;
    const begins = this.last === null;
    this.last = at;
    this.bed.heard.dabbed({ at, radius_mm, copied }, begins);
  }

  private onSurface(at: Point): Hit | null {
    const hit = this.bed.hitAt(at);
    return hit?.piece.paintable && !hit.onCut ? hit : null;
  }

  private showRing(hit: Hit | null): void {
    const { ring } = this.bed.parts.shared;
    if (hit) {
      ring.value.set(hit.place.x, hit.place.y, hit.place.z, this.bed.view().brush.radius_mm);
      this.way.copy(hit.normal);
    } else ring.value.w = -1e6;
    this.bed.stage.canvas.style.cursor = hit ? "none" : "";
    this.bed.stage.ask();
  }
}

function same(a: Dab, b: Dab): boolean {
  return a === b || (a.copied === b.copied && a.radius_mm === b.radius_mm && a.at.every((v, i) => v === b.at[i]));
}

function faceWay({ positions, indices }: Solid, face: number): Vector3 {
  const [a, b, c] = [0, 1, 2].map((k) => new Vector3().fromArray(positions, indices[face * 3 + k]! * 3));
  return b!.sub(a!).cross(c!.sub(a!)).normalize();
}
