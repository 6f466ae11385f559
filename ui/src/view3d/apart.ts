/** The mould drawn apart: shell pieces along their pulls, the skin off its body. */

import { Box3, Vector3 } from "three";
import type { Bed } from "./bed";
import type { Part } from "./kinds";

const SETTLE_MS = 80;
const THERE_MM = 0.05;

/** How far a part is moved at a share of apart, where all of them fill the box. */
export function shiftOf(part: Part, apart: number, box: Box3): Vector3 {
  const size = box.getSize(new Vector3());
  const across = Math.max(size.x, size.y) / 2;
  const shift = new Vector3();
  if (part.role !== "shell" && part.role !== "loose" && part.role !== "skin") return shift;
  // all that lies over the body rises with the skin; rigid pieces leave it on their own way
  if (part.pull) shift.set(...part.pull).normalize().multiplyScalar(across * (part.role === "shell" ? 1 : 0.6) * apart);
  shift.z += size.z * 0.75 * apart;
  return shift;
}

export class Apart {
  /** Drawn apart further or less: where the parts lay before. Cut, marks and camera go with them. */
  moved: (before: Box3) => void = () => undefined;
  private apart = 0;
  private last = 0;

  constructor(private readonly bed: Bed) {
    bed.stage.before.push((now) => this.step(now));
  }

  set(apart: number): void {
    if (apart === this.apart) return;
    this.apart = apart;
    this.last = 0;
    this.bed.stage.ask();
  }

  /** Parts that have just come lie where they belong at once. */
  settle(): void {
    this.glide(1);
  }

  private step(now: number): boolean {
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    const passed = this.last ? now - this.last : 16;
    this.last = now;
    const before = this.bed.parts.box(true);
    const { going, shifted } = this.glide(still ? 1 : 1 - Math.exp(-passed / SETTLE_MS));
    if (shifted) this.moved(before);
    if (!going) this.last = 0;
    return going;
  }

  private glide(share: number): { going: boolean; shifted: boolean } {
    const box = this.bed.parts.laidBox();
    let [going, shifted] = [false, false];
    for (const piece of this.bed.parts.all.values()) {
      const to = shiftOf(piece.part, this.apart, box);
      const left = to.distanceTo(piece.shift);
      if (left === 0) continue;
      shifted = true;
      if (left < THERE_MM || share === 1) piece.shift.copy(to);
      else {
        piece.shift.lerp(to, share);
        going = true;
      }
      piece.lay();
    }
    return { going, shifted };
  }
}
