/** How the camera goes round the part: about z, over the pole if asked to, toward the pointer. */

import { Box3, Matrix4, Vector3, type Ray } from "three";
import type { Look } from "./kinds";
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
const MARGIN = 1.16;

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

  look(from: Look, points: Vector3[]): void {
    const [round, raised] = LOOKS[from];
    this.flyTo({ ...this.framed(points, round, raised), round, raised });
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

  /** Frames the points at once, as they are looked at now. */
  frame(points: Vector3[]): void {
    Object.assign(this.now, this.framed(points, this.now.round, this.now.raised));
    this.flight = null;
    this.moved();
  }

  right(): Vector3 {
    return axesAt(this.now.round, this.now.raised)[0];
  }

  upward(): Vector3 {
    return axesAt(this.now.round, this.now.raised)[1];
  }

  toEye(): Vector3 {
    return axesAt(this.now.round, this.now.raised)[2];
  }

  mmPerPixel(): number {
    return (2 * this.now.far * Math.tan((FIELD_DEG * Math.PI) / 360)) / this.stage.size.y;
  }

  /** Keeps its view of what is shown while that grows or shrinks. */
  follow(before: Box3, after: Box3): void {
    const grown = after.getSize(new Vector3()).length() / Math.max(1e-6, before.getSize(new Vector3()).length());
    const move = after.getCenter(new Vector3()).sub(before.getCenter(new Vector3()));
    const stands = this.flight ? [this.now, this.flight.from, this.flight.to] : [this.now];
    for (const stand of stands) {
      stand.target.add(move);
      stand.far *= grown;
    }
    this.radius *= grown;
    this.place();
  }

  /** Target and distance from which the points fill the canvas, seen as it would stand then. */
  private framed(points: Vector3[], round: number, raised: number): { target: Vector3; far: number } {
    const box = new Box3().setFromPoints(points);
    this.radius = Math.max(1, box.getSize(new Vector3()).length() / 2);
    const target = box.getCenter(new Vector3());
    const [right, up, back] = axesAt(round, raised);
    const tall = Math.tan((FIELD_DEG * Math.PI) / 360);
    const wide = (tall * this.stage.size.x) / this.stage.size.y;
    let far = this.radius / tall;
    const off = new Vector3();
    // Nearer points look larger, so that middle and distance are found in a few rounds.
    for (let i = 0; i < 4; i++) {
      let [left, rightmost, low, high] = [Infinity, -Infinity, Infinity, -Infinity];
      for (const point of points) {
        off.copy(point).sub(target);
        const depth = Math.max(far * 0.1, far - off.dot(back));
        const [x, y] = [off.dot(right) / depth / wide, off.dot(up) / depth / tall];
        [left, rightmost] = [Math.min(left, x), Math.max(rightmost, x)];
        [low, high] = [Math.min(low, y), Math.max(high, y)];
      }
      target.addScaledVector(right, ((left + rightmost) / 2) * far * wide);
      target.addScaledVector(up, ((low + high) / 2) * far * tall);
      far *= Math.max((rightmost - left) / 2, (high - low) / 2, 0.02) * MARGIN;
    }
    return { target, far };
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
    camera.quaternion.setFromRotationMatrix(this.basis);
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

const SAME_SIZE = 1.12;
const SAME_PLACE = 0.08;

/** Whether a view that fits one box fits the other well enough to be left as it is. */
export function isAboutSame(one: Box3, other: Box3): boolean {
  const [size, now] = [one, other].map((box) => box.getSize(new Vector3()).length()) as [number, number];
  const off = one.getCenter(new Vector3()).distanceTo(other.getCenter(new Vector3()));
  return Math.max(size, now) <= Math.min(size, now) * SAME_SIZE && off <= size * SAME_PLACE;
}

/** To the right, up the screen and toward the eye, for a stand. */
export function axesAt(round: number, raised: number): [Vector3, Vector3, Vector3] {
  const [s, c, up, level] = [Math.sin(round), Math.cos(round), Math.sin(raised), Math.cos(raised)];
  return [new Vector3(c, s, 0), new Vector3(-s * up, c * up, level), new Vector3(s * level, -c * level, up)];
}
