/** A line drawn freehand on the surface, and which stretches of it lock. */

import type { Bed } from "./bed";
import type { Grip, Point } from "./hands";
import type { V3, View } from "./kinds";
import { away, resampled } from "./spacing";
import { Strokes } from "./strokes";

const STEP_MM = 3;
const LEAST_MM = 0.4; // nearer points of a stroke are the hand's tremble
const OVER_MM = 0.3; // the line lies so much above the surface

export class Line {
  readonly grip: Grip = {
    start: (at) => this.start(at),
    move: (at) => this.move(at),
    end: (_, dropped) => this.end(dropped),
  };
  private drawing: V3[] | null = null;
  private readonly stroke = new Strokes(3.5);
  private readonly locking = new Strokes(6, 0.45, 52);

  constructor(private readonly bed: Bed) {
    bed.stage.scene.add(this.stroke.group, this.locking.group);
  }

  set(view: View): void {
    if (!this.drawing) this.stroke.set(view.line ? [view.line] : [], this.bed.palette().accent);
    this.locking.set(view.stretches, this.bed.palette().red);
  }

  dispose(): void {
    this.stroke.dispose();
    this.locking.dispose();
  }

  private start(at: Point): boolean {
    const place = this.placeAt(at);
    if (!place) return false;
    this.drawing = [place];
    return true;
  }

  private move(at: Point): void {
    const place = this.placeAt(at);
    if (!this.drawing || !place || away(this.drawing.at(-1)!, place) < LEAST_MM) return;
    this.drawing.push(place);
    this.stroke.set([this.drawing], this.bed.palette().accent);
    this.bed.stage.ask();
  }

  private end(dropped: boolean): void {
    const drawn = this.drawing;
    this.drawing = null;
    if (!drawn) return;
    if (dropped || drawn.length < 2) this.set(this.bed.view());
    else this.bed.heard.lined(resampled(drawn, STEP_MM));
    this.bed.stage.ask();
  }

  private placeAt(at: Point): V3 | null {
    const hit = this.bed.hitAt(at);
    return hit && (hit.place.addScaledVector(hit.normal, OVER_MM).toArray() as V3);
  }
}
