/** A cut through the parts: where it runs, and the flat faces that close what it opens. */

import {
  AlwaysStencilFunc,
  BackSide,
  Box3,
  Color,
  DecrementWrapStencilOp,
  DoubleSide,
  FrontSide,
  Group,
  IncrementWrapStencilOp,
  Mesh,
  NotEqualStencilFunc,
  Plane,
  PlaneGeometry,
  ReplaceStencilOp,
  ShaderMaterial,
  Vector3,
  type StencilOp,
} from "three";
import type { Bed } from "./bed";
import type { Cut, Role } from "./kinds";
import { niceStep } from "./nice";
import type { Piece } from "./parts";

/** Later ones are drawn over earlier ones: a master lies within its body. */
const ORDER: Role[] = ["skin", "shell", "loose", "body", "arrived", "master"];
/** How the cut face is hatched: direction of the lines in degrees, or none. */
const HATCH: Partial<Record<Role, number>> = { shell: 45, loose: -45, body: 20 };
const HATCH_PX = 9;

const COUNTING = /* glsl */ `
varying vec3 vWorld;
void main() {
  vWorld = (modelMatrix * vec4(position, 1.0)).xyz;
  gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
}`;

const COUNTED = /* glsl */ `
uniform vec4 cut;
varying vec3 vWorld;
void main() {
  if (dot(vWorld, cut.xyz) > cut.w) discard;
  gl_FragColor = vec4(1.0);
}`;

const CAP_VERTEX = /* glsl */ `
varying vec2 vFlat;
void main() {
  vFlat = position.xy;
  gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
}`;

const CAP_FRAGMENT = /* glsl */ `
uniform vec3 colour;
uniform vec3 lines;
uniform vec3 hatch; // direction, spacing in mm; none where the spacing is nought
varying vec2 vFlat;
void main() {
  vec3 shown = colour;
  if (hatch.z > 0.0) {
    float along = dot(vFlat, hatch.xy) / hatch.z;
    float off = abs(fract(along) - 0.5) / max(fwidth(along), 1e-6);
    shown = mix(shown, lines, 0.55 * (1.0 - smoothstep(0.3, 1.1, off)));
  }
  gl_FragColor = vec4(shown, 1.0);
  #include <colorspace_fragment>
}`;

/** The plane of a cut through a box; what lies on its positive side is taken away. */
export function planeOf(cut: Cut, box: Box3, toEye: Vector3): Plane {
  const normal =
    cut.axis === "x" ? new Vector3(-1, 0, 0)
    : cut.axis === "y" ? new Vector3(0, -1, 0)
    : cut.axis === "z" ? new Vector3(0, 0, 1)
    : toEye.clone();
  const [low, high] = reachAlong(box, normal);
  const forward = cut.axis === "x" || cut.axis === "y" ? 1 - cut.at : cut.at;
  const away = low + (high - low) * forward;
  const plane = new Plane(normal, -away);
  return cut.flip ? plane.negate() : plane;
}

function reachAlong(box: Box3, way: Vector3): [number, number] {
  const centre = box.getCenter(new Vector3()).dot(way);
  const half = box.getSize(new Vector3()).multiplyScalar(0.5);
  const reach = half.x * Math.abs(way.x) + half.y * Math.abs(way.y) + half.z * Math.abs(way.z);
  // A hair more than the box, so that at the ends nothing flickers.
  return [centre - reach - 0.01, centre + reach + 0.01];
}

export class Cutting {
  plane: Plane | null = null;
  private toEye = new Vector3(0, -1, 0);
  private axis: Cut["axis"] | null = null;
  private readonly group = new Group();
  private readonly caps = new Map<string, Cap>();
  private readonly sheet = new PlaneGeometry(1, 1);

  constructor(private readonly bed: Bed) {
    bed.stage.scene.add(this.group);
  }

  set(cut: Cut | null): void {
    if (cut?.axis === "view" && this.axis !== "view") this.toEye = this.bed.turning.toEye();
    this.axis = cut?.axis ?? null;
    const box = this.bed.parts.box(true);
    this.plane = cut && !box.isEmpty() ? planeOf(cut, box, this.toEye) : null;
    this.bed.parts.cutting = !!this.plane;
    this.group.visible = !!this.plane;
    if (this.plane) {
      const { normal, constant } = this.plane;
      this.bed.parts.shared.cut.value.set(normal.x, normal.y, normal.z, -constant);
    }
    this.close(this.plane, box);
  }

  dispose(): void {
    for (const name of [...this.caps.keys()]) this.drop(name);
    this.sheet.dispose();
  }

  private close(plane: Plane | null, box: Box3): void {
    const pieces = plane ? this.bed.parts.shownPieces().filter((piece) => !piece.ghost) : [];
    const wanted = new Map(pieces.map((piece) => [piece.part.name, piece]));
    for (const [name, cap] of this.caps) if (wanted.get(name) !== cap.piece) this.drop(name);
    if (!plane) return;
    const spacing = niceStep(this.bed.turning.mmPerPixel() * HATCH_PX, 1);
    const size = box.getSize(new Vector3()).length() * 1.5;
    const middle = plane.projectPoint(box.getCenter(new Vector3()), new Vector3());
    for (const [name, piece] of wanted) {
      let cap = this.caps.get(name);
      if (!cap) this.caps.set(name, (cap = this.made(piece)));
      cap.lay(plane, middle, size, spacing);
    }
  }

  private made(piece: Piece): Cap {
    const cap = new Cap(piece, this.sheet, this.bed.parts.shared.cut);
    this.group.add(cap.group);
    return cap;
  }

  private drop(name: string): void {
    const cap = this.caps.get(name)!;
    this.group.remove(cap.group);
    cap.dispose();
    this.caps.delete(name);
  }
}

/** Counts the walls of one part behind each pixel, and fills the plane where the count is open. */
class Cap {
  readonly group = new Group();
  private readonly counters: Mesh[];
  private readonly face: Mesh<PlaneGeometry, ShaderMaterial>;

  constructor(
    readonly piece: Piece,
    sheet: PlaneGeometry,
    cut: { value: unknown },
  ) {
    const order = 2 + ORDER.indexOf(piece.part.role) * 2 + piece.mesh.id * 1e-6;
    this.counters = [
      counter(piece, cut, BackSide, IncrementWrapStencilOp),
      counter(piece, cut, FrontSide, DecrementWrapStencilOp),
    ];
    this.face = new Mesh(sheet, capMaterial(piece));
    this.face.onAfterRender = (renderer) => renderer.clearStencil();
    this.face.renderOrder = order + 0.5e-6;
    for (const mesh of this.counters) mesh.renderOrder = order;
    this.group.add(...this.counters, this.face);
    for (const mesh of [...this.counters, this.face]) mesh.frustumCulled = false;
  }

  lay(plane: Plane, middle: Vector3, size: number, spacing: number): void {
    for (const mesh of this.counters) {
      mesh.matrixAutoUpdate = false;
      mesh.matrix.copy(this.piece.group.matrix);
      mesh.matrixWorldNeedsUpdate = true;
    }
    this.face.position.copy(middle);
    this.face.quaternion.setFromUnitVectors(new Vector3(0, 0, 1), plane.normal);
    this.face.scale.set(size, size, 1);
    const turn = ((HATCH[this.piece.part.role] ?? 0) * Math.PI) / 180;
    const hatched = this.piece.part.role in HATCH ? spacing / size : 0;
    this.face.material.uniforms.hatch!.value.set(Math.cos(turn), Math.sin(turn), hatched);
  }

  dispose(): void {
    for (const mesh of [...this.counters, this.face]) (mesh.material as ShaderMaterial).dispose();
  }
}

function counter(piece: Piece, cut: { value: unknown }, side: typeof BackSide | typeof FrontSide, op: StencilOp): Mesh {
  const material = new ShaderMaterial({
    vertexShader: COUNTING,
    fragmentShader: COUNTED,
    uniforms: { cut },
    side,
    colorWrite: false,
    depthWrite: false,
    depthTest: false,
    stencilWrite: true,
    stencilFunc: AlwaysStencilFunc,
    stencilFail: op,
    stencilZFail: op,
    stencilZPass: op,
  });
  return new Mesh(piece.solid.geometry, material);
}

function capMaterial(piece: Piece): ShaderMaterial {
  const plain = piece.part.role === "arrived" || piece.part.role === "master";
  const colour = piece.colour.clone().multiplyScalar(plain ? 0.42 : 0.82);
  return new ShaderMaterial({
    vertexShader: CAP_VERTEX,
    fragmentShader: CAP_FRAGMENT,
    uniforms: {
      colour: { value: colour },
      lines: { value: new Color().copy(piece.colour).multiplyScalar(0.3) },
      hatch: { value: new Vector3() },
    },
    side: DoubleSide,
    stencilWrite: true,
    stencilRef: 0,
    stencilFunc: NotEqualStencilFunc,
    stencilFail: ReplaceStencilOp,
    stencilZFail: ReplaceStencilOp,
    stencilZPass: ReplaceStencilOp,
  });
}
