/** The parts on the bench: meshes by url, fetched once, dressed as the view asks, let go when gone. */

import {
  Box3,
  BufferAttribute,
  BufferGeometry,
  Color,
  Group,
  Matrix4,
  Mesh,
  ShaderMaterial,
  Vector3,
} from "three";
import type { MeshBVH } from "three-mesh-bvh";
import { taken } from "./container";
import { fetchBox } from "./fetch_box";
import type { Part, View } from "./kinds";
import { extentOf, vertexNormals } from "./normals";
import { SKIN_OPACITY, colourOf } from "./palette";
import { plaster, sharedUniforms, type Looks } from "./plaster";
import type { Stage } from "./stage";
import { treeOf } from "./tree";

/** A surface as it came: its arrays are views into what was fetched. */
export interface Solid {
  url: string;
  geometry: BufferGeometry;
  positions: Float32Array;
  indices: Uint32Array;
  box: Box3;
  tree: MeshBVH | null;
}

export class Piece {
  readonly mesh: Mesh<BufferGeometry, ShaderMaterial>;
  /** Draws depth alone before a part that is half seen through, so that its far side stays away. */
  readonly first: Mesh<BufferGeometry, ShaderMaterial> | null = null;
  readonly group = new Group();
  readonly own = new Matrix4();
  readonly inverse = new Matrix4();
  readonly shift = new Vector3();
  mapped = false;
  painted = false;
  ghost = false;
  shown = true;

  constructor(
    public part: Part,
    readonly solid: Solid,
    readonly colour: Color,
    material: ShaderMaterial,
  ) {
    this.mesh = new Mesh(solid.geometry, material);
    this.group.add(this.mesh);
    if (part.role === "skin") {
      this.first = new Mesh(solid.geometry, material);
      this.group.add(this.first);
    }
    this.group.matrixAutoUpdate = false;
    for (const mesh of [this.mesh, this.first]) if (mesh) mesh.frustumCulled = false;
    this.lay();
  }

  get paintable(): boolean {
    return this.part.role === "master" || this.part.role === "arrived";
  }

  lay(): void {
    const m = this.part.matrix;
    if (m) this.own.set(...(m as Parameters<Matrix4["set"]>));
    else this.own.identity();
    this.group.matrix.makeTranslation(this.shift).multiply(this.own);
    this.group.matrixWorldNeedsUpdate = true;
    this.inverse.copy(this.group.matrix).invert();
  }

  /** Where it lies when nothing is drawn apart. */
  box(): Box3 {
    return this.solid.box.clone().applyMatrix4(this.own);
  }

  /** Some of its points where they lie now, enough to frame it by. */
  sample(): Vector3[] {
    return sampleOf(this.solid, this.group.matrix);
  }

  boxNow(): Box3 {
    return this.solid.box.clone().applyMatrix4(this.group.matrix);
  }
}

export class Parts {
  readonly shared = sharedUniforms();
  readonly all = new Map<string, Piece>();
  readonly group = new Group();
  cutting = false;
  /** A brush is in the hand: its ring is drawn on what can be painted. */
  brushing = false;
  /** Something came, went or changed its dress. */
  changed: () => void = () => undefined;
  loading: (share: number) => void = () => undefined;
  failed: (words: string) => void = () => undefined;
  treed: () => void = () => undefined;
  /** Nothing is on its way any more. */
  settled: () => void = () => undefined;
  private readonly solids = new Map<string, Promise<Solid>>();
  private readonly shares = new Map<string, number>();
  private readonly stops = new Map<string, AbortController>();
  private wanted = new Map<string, Part>();
  private shown: View["shown"] = {};
  private ghosts = new Set<string>();
  /** Urls that something else than a part keeps. */
  readonly held = new Set<string>();

  constructor(stage: Stage) {
    stage.scene.add(this.group);
  }

  get busy(): boolean {
    return this.shares.size > 0;
  }

  set(view: View): void {
    this.wanted = new Map(view.parts.map((part) => [part.name, part]));
    for (const [name, piece] of this.all) {
      const part = this.wanted.get(name);
      if (!part || part.url !== piece.solid.url) this.drop(name);
      else if (part !== piece.part) {
        piece.part = part;
        piece.lay();
      }
    }
    const shown = view.parts.filter((part) => view.shown[part.name] ?? true);
    shown.forEach((part) => void this.bring(part));
    this.forget(new Set(view.parts.map((part) => part.url)));
    this.shown = view.shown;
    this.ghosts = new Set(view.ghost);
  }

  /** A surface by url, fetched once; also the headform's. */
  solid(url: string): Promise<Solid> {
    const held = this.solids.get(url);
    if (held) return held;
    const stop = new AbortController();
    this.stops.set(url, stop);
    this.shares.set(url, 0);
    this.tell();
    const coming = this.fetched(url, stop.signal);
    this.solids.set(url, coming);
    return coming;
  }

  /** Dresses every part anew where its looks changed. */
  dress(): void {
    for (const piece of this.all.values()) {
      piece.shown = this.shown[piece.part.name] ?? true;
      piece.ghost = this.ghosts.has(piece.part.name);
      piece.group.visible = piece.shown;
      const looks = this.looksOf(piece);
      const key = JSON.stringify(looks);
      if (piece.mesh.userData.looks === key) continue;
      piece.mesh.userData.looks = key;
      piece.mesh.material.dispose();
      piece.mesh.material = plaster(this.shared, piece.colour, looks);
      piece.mesh.renderOrder = looks.ghost ? 30 : looks.opacity < 1 ? 20 : 1;
      if (piece.first) this.depthFirst(piece, looks);
    }
  }

  shownPieces(): Piece[] {
    return [...this.all.values()].filter((piece) => piece.shown);
  }

  byRole(...roles: Part["role"][]): Piece[] {
    return [...this.all.values()].filter((piece) => roles.includes(piece.part.role));
  }

  /** Around all parts, shown or not, as they lie together. */
  laidBox(): Box3 {
    const box = new Box3();
    for (const piece of this.all.values()) box.union(piece.box());
    return box;
  }

  /** Around the parts that are shown, as they lie together or where they have been moved to. */
  box(moved = false): Box3 {
    const box = new Box3();
    for (const piece of this.shownPieces()) box.union(moved ? piece.boxNow() : piece.box());
    return box;
  }

  dispose(): void {
    for (const stop of this.stops.values()) stop.abort();
    for (const name of [...this.all.keys()]) this.drop(name);
    this.forget(new Set());
  }

  private looksOf(piece: Piece): Looks {
    const skin = piece.part.role === "skin";
    return {
      ghost: piece.ghost,
      cut: this.cutting,
      mapped: piece.mapped,
      painted: piece.painted,
      ringed: this.brushing && piece.paintable,
      bothSides: piece.part.role === "arrived",
      opacity: skin && !piece.mapped ? SKIN_OPACITY : 1,
      sheen: skin,
    };
  }

  private depthFirst(piece: Piece, looks: Looks): void {
    const first = piece.first!;
    first.material = plaster(this.shared, piece.colour, { ...looks, ghost: false });
    first.material.colorWrite = false;
    first.visible = !looks.ghost && looks.opacity < 1;
    first.renderOrder = 19;
  }

  private async bring(part: Part): Promise<void> {
    if (this.all.has(part.name)) return;
    let solid: Solid;
    try {
      solid = await this.solid(part.url);
    } catch (reason) {
      if (!(reason instanceof DOMException)) this.failed((reason as Error).message);
      return;
    }
    const now = this.wanted.get(part.name);
    if (!now || now.url !== part.url || this.all.has(part.name)) return;
    const nth = [...this.wanted.values()].filter((p) => p.role === "shell").indexOf(now);
    const piece = new Piece(now, solid, colourOf(now.role, Math.max(0, nth)), new ShaderMaterial());
    this.all.set(part.name, piece);
    this.group.add(piece.group);
    this.changed();
  }

  private async fetched(url: string, signal: AbortSignal): Promise<Solid> {
    try {
      const box = await fetchBox(url, signal, (share) => {
        this.shares.set(url, share);
        this.tell();
      });
      const solid = madeSolid(url, taken(box, "positions", Float32Array), taken(box, "indices", Uint32Array));
      void treeOf(solid.geometry).then(
        (tree) => {
          solid.tree = tree;
          this.treed();
        },
        () => undefined, // Without a tree picks still find the face, only slower.
      );
      return solid;
    } catch (reason) {
      this.solids.delete(url);
      throw reason;
    } finally {
      this.shares.delete(url);
      if (this.busy) this.tell();
      else this.settled();
    }
  }

  private tell(): void {
    const shares = [...this.shares.values()];
    if (!shares.length) return;
    this.loading(shares.reduce((a, b) => a + b, 0) / shares.length);
  }

  private drop(name: string): void {
    const piece = this.all.get(name)!;
    this.group.remove(piece.group);
    piece.mesh.material.dispose();
    piece.first?.material.dispose();
    this.all.delete(name);
  }

  private forget(kept: Set<string>): void {
    for (const [url, coming] of this.solids) {
      if (kept.has(url) || this.held.has(url)) continue;
      this.stops.get(url)?.abort();
      this.stops.delete(url);
      this.solids.delete(url);
      void coming.then((solid) => solid.geometry.dispose()).catch(() => undefined);
    }
  }
}

const SAMPLE = 1500;

export function sampleOf({ positions }: Solid, matrix: Matrix4): Vector3[] {
  const step = 3 * Math.max(1, Math.floor(positions.length / 3 / SAMPLE));
  const points: Vector3[] = [];
  for (let i = 0; i < positions.length; i += step) points.push(new Vector3().fromArray(positions, i).applyMatrix4(matrix));
  return points;
}

function madeSolid(url: string, positions: Float32Array, indices: Uint32Array): Solid {
  const geometry = new BufferGeometry();
  geometry.setAttribute("position", new BufferAttribute(positions, 3));
  geometry.setAttribute("normal", new BufferAttribute(vertexNormals(positions, indices), 3));
  geometry.setIndex(new BufferAttribute(indices, 1));
  const extent = extentOf(positions);
  const box = extent
    ? new Box3(new Vector3(...extent.low), new Vector3(...extent.high))
    : new Box3(new Vector3(), new Vector3());
  geometry.boundingBox = box.clone();
  return { url, geometry, positions, indices, box, tree: null };
}
