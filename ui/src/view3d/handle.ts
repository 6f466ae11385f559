/** A handle of a wall or a pull: a button over the canvas, dragged or moved by the arrow keys. */

import { type Ray, Vector3 } from "three";
import { layWithin, made } from "./overlay";
import { rayAt } from "./pick";
import type { Stage } from "./stage";

export interface Held {
  /** A drag begins; what it returns is called with each ray until it ends. */
  drag(from: Ray): (to: Ray) => void;
  /** Steps of one, or ten with shift: right and up count up. */
  step(right: number, up: number): void;
  done(): void;
}

const INSET_PX = 20;
const ARROWS: Record<string, [number, number]> = {
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowDown: [0, -1],
  ArrowUp: [0, 1],
};

export class Handle {
  readonly button: HTMLButtonElement;
  readonly place = new Vector3();

  constructor(
    private readonly stage: Stage,
    kind: string,
    label: string,
    private readonly held: Held,
  ) {
    this.button = made("button", `bench-handle bench-${kind}`);
    this.button.setAttribute("aria-label", label);
    this.button.title = label;
    this.button.addEventListener("pointerdown", (event) => this.grasp(event));
    this.button.addEventListener("keydown", (event) => this.key(event));
    stage.over.append(this.button);
  }

  lay(): void {
    layWithin(this.stage, this.button, this.place, INSET_PX);
  }

  dispose(): void {
    this.button.remove();
  }

  private grasp(event: PointerEvent): void {
    if (event.button !== 0) return;
    event.preventDefault();
    this.button.focus({ preventScroll: true });
    this.button.setPointerCapture(event.pointerId);
    const follow = this.held.drag(this.rayOf(event));
    let latest: Ray | null = null;
    const ends = new AbortController();
    const move = (next: PointerEvent) => {
      if (!latest) requestAnimationFrame(() => flush());
      latest = this.rayOf(next);
    };
    const flush = () => {
      if (latest) follow(latest);
      latest = null;
    };
    const end = () => {
      flush();
      ends.abort();
      this.held.done();
    };
    const { signal } = ends;
    this.button.addEventListener("pointermove", move, { signal });
    this.button.addEventListener("pointerup", end, { signal });
    this.button.addEventListener("pointercancel", end, { signal });
  }

  private key(event: KeyboardEvent): void {
    const way = ARROWS[event.key];
    if (!way || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    event.stopPropagation();
    const far = event.shiftKey ? 10 : 1;
    this.held.step(way[0] * far, way[1] * far);
    this.held.done();
  }

  private rayOf(event: PointerEvent): Ray {
    const frame = this.stage.canvas.getBoundingClientRect();
    return rayAt(this.stage, event.clientX - frame.left, event.clientY - frame.top);
  }
}

/** How far along a line (a place and a unit way) it passes a ray nearest. */
export function alongLine(ray: Ray, place: Vector3, way: Vector3): number {
  const off = place.clone().sub(ray.origin);
  const slope = way.dot(ray.direction);
  const level = 1 - slope * slope;
  if (level < 1e-6) return 0;
  return (slope * ray.direction.dot(off) - way.dot(off)) / level;
}

/** The angle of a ray's foot on a plane through a place, from one way in it toward another. */
export function angleOn(ray: Ray, place: Vector3, from: Vector3, toward: Vector3): number | null {
  const normal = from.clone().cross(toward);
  const slope = ray.direction.dot(normal);
  if (Math.abs(slope) < 0.02) return null;
  const far = place.clone().sub(ray.origin).dot(normal) / slope;
  const foot = ray.at(far, new Vector3()).sub(place);
  return Math.atan2(foot.dot(toward), foot.dot(from));
}
