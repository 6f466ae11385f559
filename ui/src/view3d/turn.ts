/** How the camera goes round the part: about z, over the pole if asked to, toward the pointer. */

import { Matrix4, Quaternion, Ray, Vector3, type Box3 } from "three";
import type { Look, V3 } from "./kinds";
import { FIELD_DEG, type Stage } from "./stage";

export interface Stand {
  target: Vector3;
  far: number;
  /** Turned about z: 0 looks along +y, from the front. */
  round: number;
  /** Raised: a quarter turn looks straight down; more goes over the pole. */
  raised: number;
}

const QUARTER = Math.PI / 2;
const LOOKS: Record<Look, [number, number]> = {
  front: [0, 0],
  back: [Math.PI, 0],
  left: [-QUARTER, 0],
  right: [QUARTER, 0],
  above: [0, QUARTER],
  below: [0, -QUARTER],
  "three-quarter": [-0.6, 0.5],
};
const FLIGHT_MS = 420;
const MARGIN = 1.12;

export class Turning {
  readonly now: Stand = { target: new Vector3(), far: 500, round: -0.6, raised: 0.5 };
  radius = 100;
  private flight: { from: Stand; to: Stand; began: number } | null = null;
  private readonly basis = new Matrix4();

  constructor(private readonly stage: Stage) {
    stage.before.push((now) => this.step(now));
    this.place();
  }

  /** By pixels: a drag across the canvas is about half a turn. */
  turnBy(dx: number, dy: number): void {
    this.flight = null;
    const side = Math.cos(this.now.raised) >= 0 ? 1 : -1;
    this.now.round -= dx * 0.0075 * side;
    this.now.raised += dy * 0.0075;
    this.moved();
  }

  panBy(dx: number, dy: number): void {
    this.flight = null;
    const mm = this.mmPerPixel();
    this.now.target.addScaledVector(this.right(), -dx * mm).addScaledVector(this.upward(), dy * mm);
    this.moved();
  }

  /** Nearer by a factor below 1; what lies under the pointer stays under it. */
  zoomBy(factor: number, pointer: Ray | null): void {
    this.flight = null;
    const far = Math.min(this.radius * 40, Math.max(this.radius * 0.02, this.now.far * factor));
    const share = 1 - far / this.now.far;
    const at = pointer && this.onPlane(pointer);
    if (at) this.now.target.lerp(at, share);
    this.now.far = far;
    this.moved();
  }

  look(from: Look, box: Box3): void {
    const [round, raised] = LOOKS[from];
    this.flyTo({ ...this.framed(box), round, raised });
  }

  /** Looks at a place, from a side if one is given, from near enough to see it. */
  flyToPlace(place: Vector3, from: Vector3 | null): void {
    const stand: Stand = {
      target: place.clone(),
      far: Math.min(this.now.far, this.radius * 2.2),
      round: this.now.round,
      raised: this.now.raised,
    };
    if (from && from.lengthSq() > 0) {
      const d = from.clone().normalize();
      stand.raised = Math.asin(Math.min(1, Math.max(-1, d.z)));
      if (Math.hypot(d.x, d.y) > 1e-3) stand.round = Math.atan2(d.x, -d.y);
    }
    this.flyTo(stand);
  }

  /** Frames the box at once, as it is looked at now. */
  frame(box: Box3): void {
    Object.assign(this.now, this.framed(box));
    this.flight = null;
    this.moved();
  }

  right(): Vector3 {
    return new Vector3(Math.cos(this.now.round), Math.sin(this.now.round), 0);
  }

  upward(): Vector3 {
    const { round, raised } = this.now;
    return new Vector3(-Math.sin(round) * Math.sin(raised), Math.cos(round) * Math.sin(raised), Math.cos(raised));
  }

  toEye(): Vector3 {
    const { round, raised } = this.now;
    return new Vector3(Math.sin(round) * Math.cos(raised), -Math.cos(round) * Math.cos(raised), Math.sin(raised));
  }

  up(): V3 {
    return this.upward().toArray() as V3;
  }

  mmPerPixel(): number {
    return (2 * this.now.far * Math.tan((FIELD_DEG * Math.PI) / 360)) / this.stage.size.y;
  }

  private framed(box: Box3): { target: Vector3; far: number } {
    const size = box.getSize(new Vector3());
    this.radius = Math.max(1, size.length() / 2);
    const half = (FIELD_DEG * Math.PI) / 360;
    const narrow = Math.min(1, this.stage.size.x / this.stage.size.y);
    const far = (this.radius * MARGIN * 0.86) / Math.sin(Math.atan(Math.tan(half) * narrow));
    return { target: box.getCenter(new Vector3()), far };
  }

  private flyTo(to: Stand): void {
    const whole = 2 * Math.PI;
    to.round += Math.round((this.now.round - to.round) / whole) * whole;
    this.now.raised -= Math.round(this.now.raised / whole) * whole;
    if (matchMedia("(prefers-reduced-motion: reduce)").matches) {
      Object.assign(this.now, to);
      this.moved();
      return;
    }
    this.flight = { from: { ...this.now, target: this.now.target.clone() }, to, began: 0 };
    this.stage.ask();
  }

  private step(now: number): boolean {
    if (!this.flight) return false;
    this.flight.began ||= now;
    const { from, to, began } = this.flight;
    const t = Math.min(1, (now - began) / FLIGHT_MS);
    const e = t < 0.5 ? 4 * t ** 3 : 1 - (2 - 2 * t) ** 3 / 2;
    this.now.target.lerpVectors(from.target, to.target, e);
    this.now.far = from.far * (to.far / from.far) ** e;
    this.now.round = from.round + (to.round - from.round) * e;
    this.now.raised = from.raised + (to.raised - from.raised) * e;
    this.place();
    if (t >= 1) this.flight = null;
    return t < 1;
  }

  private moved(): void {
    this.place();
    this.stage.ask();
  }

  private place(): void {
    const { camera } = this.stage;
    const back = this.toEye();
    this.basis.makeBasis(this.right(), this.upward(), back);
    camera.quaternion.copy(new Quaternion().setFromRotationMatrix(this.basis));
    camera.position.copy(this.now.target).addScaledVector(back, this.now.far);
    camera.updateMatrixWorld(true);
  }

  private onPlane(ray: Ray): Vector3 | null {
    const back = this.toEye();
    const slope = ray.direction.dot(back);
    if (Math.abs(slope) < 1e-6) return null;
    const along = this.now.target.clone().sub(ray.origin).dot(back) / slope;
    return ray.at(along, new Vector3());
  }
}
