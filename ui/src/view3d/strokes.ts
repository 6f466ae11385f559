/** Lines of a width in pixels, laid a little over the surface; where it hides them they are faint. */

import { Color, Group } from "three";
import { LineMaterial } from "three/examples/jsm/lines/LineMaterial.js";
import { LineSegments2 } from "three/examples/jsm/lines/LineSegments2.js";
import { LineSegmentsGeometry } from "three/examples/jsm/lines/LineSegmentsGeometry.js";
import type { V3 } from "./kinds";

export class Strokes {
  readonly group = new Group();
  private readonly material: LineMaterial;
  private readonly faint: LineMaterial;

  constructor(width: number, hidden = 0.25, order = 50) {
    this.material = new LineMaterial({ linewidth: width, polygonOffset: true, polygonOffsetFactor: -4, polygonOffsetUnits: -8 });
    this.faint = new LineMaterial({ linewidth: width, transparent: true, opacity: hidden, depthTest: false, depthWrite: false });
    this.group.renderOrder = order;
  }

  set(lines: readonly (readonly V3[])[], colour: Color): void {
    this.material.color.copy(colour);
    this.faint.color.copy(colour);
    this.clear();
    const ends = pairsOf(lines);
    if (!ends.length) return;
    const geometry = new LineSegmentsGeometry();
    geometry.setPositions(ends);
    const over = new LineSegments2(geometry, this.material);
    over.renderOrder = 51;
    this.group.add(over);
    if (this.faint.opacity > 0) {
      const under = new LineSegments2(geometry, this.faint);
      under.renderOrder = 50;
      this.group.add(under);
    }
    for (const child of this.group.children) child.frustumCulled = false;
  }

  dispose(): void {
    this.clear();
    this.material.dispose();
    this.faint.dispose();
  }

  private clear(): void {
    (this.group.children[0] as LineSegments2 | undefined)?.geometry.dispose();
    this.group.clear();
  }
}

/** Each line's points as the two ends of each of its pieces. */
export function pairsOf(lines: readonly (readonly V3[])[]): number[] {
  const ends: number[] = [];
  for (const line of lines) {
    for (let i = 1; i < line.length; i++) ends.push(...line[i - 1]!, ...line[i]!);
  }
  return ends;
}
