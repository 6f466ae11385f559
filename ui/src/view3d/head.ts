/** A headform beside the part, on the same board, for size. */

import { Box3, Matrix4, Mesh, ShaderMaterial, Vector3, type BufferGeometry } from "three";
import type { Bed } from "./bed";
import { sampleOf, type Solid } from "./parts";
import { plaster } from "./plaster";

/** Where it is set down: right of the box, on its floor, never within it. */
export function besides(box: Box3, head: Box3): Vector3 {
  const gap = Math.max(20, (box.max.x - box.min.x) * 0.14);
  return new Vector3(
    box.max.x + gap - head.min.x,
    (box.min.y + box.max.y) / 2 - (head.min.y + head.max.y) / 2,
    box.min.z - head.min.z,
  );
}

export class Head {
  changed: () => void = () => undefined;
  private url: string | null = null;
  private mesh: Mesh<BufferGeometry, ShaderMaterial> | null = null;
  private solid: Solid | null = null;

  constructor(private readonly bed: Bed) {}

  set(head: { url: string } | null): void {
    const url = head?.url ?? null;
    if (url === this.url) return;
    this.drop();
    this.url = url;
    if (!url) return;
    this.bed.parts.held.add(url);
    this.bed.parts.solid(url).then(
      (solid) => this.stand(url, solid),
      (reason: Error) => this.bed.heard.failed(reason.message),
    );
  }

  /** Whether it is asked for and has not come yet. */
  get coming(): boolean {
    return !!this.url && !this.mesh;
  }

  /** Set down beside the box; returns its own box there, or null without a headform. */
  lay(box: Box3): Box3 | null {
    if (!this.mesh || !this.solid || box.isEmpty()) return null;
    this.mesh.material.uniforms.colour!.value = this.bed.palette().head;
    this.mesh.position.copy(besides(box, this.solid.box));
    return this.solid.box.clone().translate(this.mesh.position);
  }

  /** Some of its points, to frame it by. */
  sample(): Vector3[] {
    if (!this.mesh || !this.solid) return [];
    return sampleOf(this.solid, new Matrix4().makeTranslation(this.mesh.position));
  }

  dispose(): void {
    this.drop();
  }

  private stand(url: string, solid: Solid): void {
    if (url !== this.url) return;
    this.solid = solid;
    const looks = { ghost: false, cut: false, mapped: false, painted: false, ringed: false, bothSides: false, opacity: 1, sheen: false };
    this.mesh = new Mesh(solid.geometry, plaster(this.bed.parts.shared, this.bed.palette().head, looks));
    this.mesh.renderOrder = 1;
    this.bed.stage.scene.add(this.mesh);
    this.changed();
  }

  private drop(): void {
    if (this.url) this.bed.parts.held.delete(this.url);
    if (this.mesh) {
      this.bed.stage.scene.remove(this.mesh);
      this.mesh.material.dispose();
    }
    this.mesh = this.solid = this.url = null;
  }
}
