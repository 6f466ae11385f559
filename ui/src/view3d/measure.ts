/** A length between two places on the surface; corners near the pointer draw it to them. */

import { Vector3 } from "three";
import type { Bed } from "./bed";
import type { Grip, Point } from "./hands";
import type { Measured, V3, View } from "./kinds";
import { lengthWords } from "./nice";
import { layOver, made, spotOf } from "./overlay";
import { cornersOf, vertexAt, type Hit } from "./pick";
import { Strokes } from "./strokes";

const SNAP_PX = 6;

export class Measure {
  readonly grip: Grip = { click: (at) => this.click(at), hover: (at) => this.hover(at) };
  private from: Vector3 | null = null;
  private to: Vector3 | null = null;
  private done = false;
  private readonly strokes = new Strokes(2.5, 0.55);
  private readonly label = made("output", "bench-length");
  private readonly ends = [made("span", "bench-end"), made("span", "bench-end")];

  constructor(private readonly bed: Bed) {
    bed.stage.scene.add(this.strokes.group);
    bed.stage.over.append(this.label, ...this.ends);
    bed.stage.after.push(() => this.lay());
    this.clear();
  }

  set(view: View, before: View | null): void {
    if (view.tool !== "measure" && before?.tool === "measure") {
      this.clear();
      this.bed.heard.measured(null);
    }
    if (view.tool === "measure") this.draw();
  }

  /** What is measured, for a picture. */
  held(): { middle: Vector3; words: string } | null {
    if (!this.from || !this.to) return null;
    return { middle: this.from.clone().lerp(this.to, 0.5), words: this.label.textContent ?? "" };
  }

  clear(): void {
    this.from = this.to = null;
    this.done = false;
    this.draw();
  }

  dispose(): void {
    this.strokes.dispose();
  }

  private click(at: Point): void {
    const hit = this.bed.hitAt(at);
    if (!hit) return;
    const place = this.snapped(hit, at);
    if (!this.from || this.done) {
      this.from = place;
      this.to = null;
      this.done = false;
      this.bed.heard.measured(null);
    } else {
      this.to = place;
      this.done = true;
      this.bed.heard.measured(this.measured());
    }
    this.draw();
  }

  private hover(at: Point | null): void {
    if (!this.from || this.done) return;
    const hit = at && this.bed.hitAt(at);
    this.to = hit ? this.snapped(hit, at) : null;
    this.draw();
  }

  private measured(): Measured {
    const [from, to] = [this.from!, this.to!];
    return { from: from.toArray() as V3, to: to.toArray() as V3, length_mm: from.distanceTo(to) };
  }

  private snapped(hit: Hit, at: Point): Vector3 {
    if (hit.onCut) return hit.place;
    let [best, least] = [hit.place, SNAP_PX];
    for (const corner of cornersOf(hit.piece.solid, hit.face)) {
      const place = vertexAt(hit.piece.solid, corner).applyMatrix4(hit.piece.group.matrix);
      const spot = spotOf(this.bed.stage, place);
      const off = Math.hypot(spot.x - at.x, spot.y - at.y);
      if (off < least) [best, least] = [place, off];
    }
    return best;
  }

  private draw(): void {
    const line = this.from && this.to ? [[this.from.toArray() as V3, this.to.toArray() as V3]] : [];
    this.strokes.set(line, this.bed.palette().accent);
    this.label.textContent = line.length ? lengthWords(this.from!.distanceTo(this.to!), this.bed.view().units) : "";
    this.bed.stage.ask();
  }

  private lay(): void {
    [this.from, this.to].forEach((place, i) => {
      if (place) layOver(this.bed.stage, this.ends[i]!, place);
      else this.ends[i]!.hidden = true;
    });
    const held = this.held();
    if (held) layOver(this.bed.stage, this.label, held.middle);
    else this.label.hidden = true;
  }
}
