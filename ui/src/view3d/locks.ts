/** Where the mould would hold on: red, seen through everything, with words at hand. */

import { BufferGeometry, Float32BufferAttribute, Group, Mesh, MeshBasicMaterial, Points, PointsMaterial, SphereGeometry, Vector3 } from "three";
import type { Bed } from "./bed";
import type { LockOn, View } from "./kinds";
import { layOver, made, type Spot } from "./overlay";

const LEAST_MM = 2;
/** Between a mark's place and its words, and between these and the bench's edge. */
const BESIDE_PX = 24;

/** The radius in mm of a ball of this volume, never too small to be seen. */
export function ballRadius(volume_cm3: number): number {
  return Math.max(LEAST_MM, Math.cbrt((3 * volume_cm3 * 1000) / (4 * Math.PI)));
}

/** The words of a mark open toward the middle of the bench, and wrap before its edge. */
export function openWithin(mark: HTMLElement, { x, y }: Pick<Spot, "x" | "y">, size: { x: number; y: number }): void {
  mark.toggleAttribute("data-leftward", x > size.x / 2);
  mark.toggleAttribute("data-downward", y < size.y / 2);
  mark.style.setProperty("--room", `${Math.floor(Math.max(x, size.x - x) - BESIDE_PX)}px`);
}

export class Locks {
  private locks: LockOn[] = [];
  private readonly group = new Group();
  private readonly ball = new SphereGeometry(1, 40, 28);
  private readonly stuff = [
    new MeshBasicMaterial({ transparent: true, opacity: 0.62, depthWrite: false }),
    new MeshBasicMaterial({ transparent: true, opacity: 0.24, depthWrite: false, depthTest: false }),
  ];
  private readonly dots = new PointsMaterial({ size: 5, sizeAttenuation: false, depthTest: false, transparent: true, opacity: 0.85 });
  private marks: HTMLButtonElement[] = [];

  constructor(private readonly bed: Bed) {
    bed.stage.scene.add(this.group);
    bed.stage.after.push(() => this.lay());
  }

  set(view: View): void {
    for (const material of [...this.stuff, this.dots]) material.color.copy(this.bed.palette().red);
    if (view.locks === this.locks) return;
    this.locks = view.locks;
    this.clear();
    this.locks.forEach((lock) => this.show(lock));
    this.bed.stage.ask();
  }

  dispose(): void {
    this.clear();
    this.ball.dispose();
    for (const material of [...this.stuff, this.dots]) material.dispose();
  }

  private show(lock: LockOn): void {
    if (lock.points?.length) {
      const geometry = new BufferGeometry();
      geometry.setAttribute("position", new Float32BufferAttribute(lock.points.flat(), 3));
      this.put(new Points(geometry, this.dots));
    } else {
      for (const material of this.stuff) {
        const ball = new Mesh(this.ball, material);
        ball.position.set(...lock.place);
        ball.scale.setScalar(ballRadius(lock.volume_cm3));
        this.put(ball);
      }
    }
    const mark = made("button", "bench-lock");
    mark.setAttribute("aria-label", lock.words);
    mark.append(made("span", "bench-words", lock.words));
    mark.onclick = () => this.bed.turning.flyToPlace(new Vector3(...lock.place), null);
    this.marks.push(mark);
    this.bed.stage.over.append(mark);
  }

  private put(thing: Mesh | Points): void {
    thing.renderOrder = 45;
    thing.frustumCulled = false;
    this.group.add(thing);
  }

  private lay(): void {
    this.locks.forEach((lock, i) => openWithin(this.marks[i]!, layOver(this.bed.stage, this.marks[i]!, new Vector3(...lock.place)), this.bed.stage.size));
  }

  private clear(): void {
    for (const child of this.group.children) if (child instanceof Points) child.geometry.dispose();
    this.group.clear();
    for (const mark of this.marks) mark.remove();
    this.marks = [];
  }
}
