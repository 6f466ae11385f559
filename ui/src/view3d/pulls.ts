/** Which way each piece leaves: an arrow out of it, dragged by its tip. */

import { Box3, ConeGeometry, CylinderGeometry, Group, Mesh, MeshBasicMaterial, Vector3, type Ray } from "three";
import type { Bed } from "./bed";
import { Handle } from "./handle";
import type { Part, V3, View } from "./kinds";
import type { Piece } from "./parts";
import { rotated } from "./wall_maths";

const DEGREE = Math.PI / 180;

export class Pulls {
  private readonly arrows = new Map<string, Arrow>();

  constructor(private readonly bed: Bed) {
    bed.stage.after.push(() => this.arrows.forEach((arrow) => arrow.handle.lay()));
  }

  set(view: View): void {
    const pieces = this.bed.parts.byRole("shell").filter((piece) => piece.shown && piece.part.pull);
    const wanted = new Map(view.tool === "walls" ? pieces.map((piece) => [piece.part.name, piece]) : []);
    for (const [name, arrow] of this.arrows) {
      if (wanted.get(name) === arrow.piece) continue;
      arrow.dispose();
      this.arrows.delete(name);
    }
    for (const [name, piece] of wanted) {
      if (!this.arrows.has(name)) this.arrows.set(name, new Arrow(this.bed, piece));
      this.arrows.get(name)!.point(pullOf(piece.part, view));
    }
  }

  /** The pieces lie elsewhere. */
  moved(): void {
    for (const arrow of this.arrows.values()) arrow.point(arrow.pull);
  }

  dispose(): void {
    for (const arrow of this.arrows.values()) arrow.dispose();
    this.arrows.clear();
  }
}

class Arrow {
  readonly handle: Handle;
  pull: V3 = [0, 0, 1];
  private readonly group = new Group();
  private readonly stuff = new MeshBasicMaterial();
  private readonly shaft = new Mesh(new CylinderGeometry(1, 1, 1, 20), this.stuff);
  private readonly tip = new Mesh(new ConeGeometry(1, 1, 28), this.stuff);
  private readonly root = new Vector3();
  private length = 100;

  constructor(
    private readonly bed: Bed,
    readonly piece: Piece,
  ) {
    this.group.add(this.shaft, this.tip);
    bed.stage.scene.add(this.group);
    const { name, title } = piece.part;
    this.handle = new Handle(bed.stage, "pull", `Pull of ${title}`, {
      drag: () => (ray) => this.turn(this.aimed(ray)),
      step: (right, up) => this.turn(stepped(this.pull, right * DEGREE, up * DEGREE)),
      done: () => bed.heard.pulled(name, this.pull, true),
    });
  }

  point(pull: V3): void {
    this.pull = pull;
    this.stuff.color.copy(this.bed.palette().accent);
    const box = this.piece.boxNow();
    const way = new Vector3(...pull).normalize();
    box.getCenter(this.root);
    const size = box.getSize(new Vector3()).length();
    this.length = reach(box, way) + size * 0.13;
    const thick = size * 0.0055;
    const head = size * 0.05;
    const turn = (mesh: Mesh) => mesh.quaternion.setFromUnitVectors(new Vector3(0, 1, 0), way);
    turn(this.shaft).normalize();
    turn(this.tip).normalize();
    this.shaft.scale.set(thick, this.length - head, thick);
    this.shaft.position.copy(this.root).addScaledVector(way, (this.length - head) / 2);
    this.tip.scale.set(thick * 3.2, head, thick * 3.2);
    this.tip.position.copy(this.root).addScaledVector(way, this.length - head / 2);
    this.handle.place.copy(this.root).addScaledVector(way, this.length);
    this.bed.stage.ask();
  }

  dispose(): void {
    this.bed.stage.scene.remove(this.group);
    this.shaft.geometry.dispose();
    this.tip.geometry.dispose();
    this.stuff.dispose();
    this.handle.dispose();
  }

  private turn(pull: V3): void {
    this.point(pull);
    this.bed.heard.pulled(this.piece.part.name, pull, false);
  }

  /** Where on the ball that the tip moves on the ray meets it; else the ball's rim nearest to it. */
  private aimed(ray: Ray): V3 {
    const near = ray.closestPointToPoint(this.root, new Vector3());
    const off = near.distanceTo(this.root);
    if (off < this.length) near.addScaledVector(ray.direction, -Math.sqrt(this.length ** 2 - off ** 2) * this.side());
    return near.sub(this.root).normalize().toArray() as V3;
  }

  /** The tip keeps to the half of the ball it is on: toward the eye, or away from it. */
  private side(): number {
    return new Vector3(...this.pull).dot(this.bed.turning.toEye()) >= -0.05 ? 1 : -1;
  }
}

/** Where a part's arrow points: as the hand has turned it, else as planned. */
export function pullOf(part: Part, view: View): V3 {
  return view.pulls?.[part.name] ?? part.pull!;
}

/** Turned about z, and raised, by radians. */
export function stepped(pull: V3, round: number, raised: number): V3 {
  const about = rotated(pull, [0, 0, 1], round);
  const flat = Math.hypot(about[0], about[1]);
  const lift = Math.atan2(about[2], flat);
  const to = Math.min(Math.PI / 2 - 1e-4, Math.max(-Math.PI / 2 + 1e-4, lift + raised));
  const way = flat > 1e-9 ? [about[0] / flat, about[1] / flat] : [1, 0];
  return [way[0]! * Math.cos(to), way[1]! * Math.cos(to), Math.sin(to)];
}

function reach(box: Box3, way: Vector3): number {
  const half = box.getSize(new Vector3()).multiplyScalar(0.5);
  const ways = [half.x / Math.abs(way.x), half.y / Math.abs(way.y), half.z / Math.abs(way.z)];
  return Math.min(...ways.filter(Number.isFinite));
}
