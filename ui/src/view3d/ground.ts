/** The board under the parts: a faint disc of squares, and a ruler of a real, round length. */

import {
  BoxGeometry,
  Box3,
  CanvasTexture,
  CircleGeometry,
  Color,
  DoubleSide,
  Group,
  Mesh,
  MeshBasicMaterial,
  PlaneGeometry,
  SRGBColorSpace,
  ShaderMaterial,
  Vector3,
} from "three";
import type { Bed } from "./bed";
import { MM_PER_INCH, niceBelow } from "./nice";

const VERTEX = /* glsl */ `
varying vec2 vAt;
void main() {
  vAt = (modelMatrix * vec4(position, 1.0)).xy;
  gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
}`;

const FRAGMENT = /* glsl */ `
uniform vec3 ink;
uniform vec3 middle; // centre, radius
uniform float square;
varying vec2 vAt;
float ruled(float side) {
  vec2 g = vAt / side;
  vec2 w = fwidth(g);
  vec2 off = abs(fract(g - 0.5) - 0.5) / max(w, vec2(1e-6));
  vec2 line = (1.0 - smoothstep(0.3, 1.2, off)) * (1.0 - smoothstep(0.15, 0.4, w));
  return max(line.x, line.y);
}
void main() {
  float out_ = length(vAt - middle.xy) / middle.z;
  float strength = max(0.10 * ruled(square), 0.20 * ruled(square * 5.0));
  float edge = (1.0 - smoothstep(0.0, 2.0, abs(out_ - 0.995) / fwidth(out_))) * 0.2;
  gl_FragColor = vec4(ink, max(strength * (1.0 - smoothstep(0.55, 1.0, out_)), edge) + 0.025);
  #include <colorspace_fragment>
}`;

const FIELDS = 5;

export class Ground {
  readonly group = new Group();
  private readonly disc: Mesh<CircleGeometry, ShaderMaterial>;
  private readonly ruler = new Group();
  private readonly words: Mesh<PlaneGeometry, MeshBasicMaterial>;
  private readonly solid = [new MeshBasicMaterial(), new MeshBasicMaterial()];
  private readonly bar = new BoxGeometry(1, 1, 1);
  private readonly box = new Box3();
  private key = "";

  constructor(private readonly bed: Bed) {
    const uniforms = { ink: { value: new Color() }, middle: { value: new Vector3() }, square: { value: 10 } };
    this.disc = new Mesh(
      new CircleGeometry(1, 96),
      new ShaderMaterial({ vertexShader: VERTEX, fragmentShader: FRAGMENT, uniforms, transparent: true, depthWrite: false, side: DoubleSide }),
    );
    this.disc.renderOrder = -2;
    this.words = new Mesh(new PlaneGeometry(1, 1), new MeshBasicMaterial({ transparent: true, depthWrite: false }));
    for (let i = 0; i < FIELDS; i++) this.ruler.add(new Mesh(this.bar, this.solid[i % 2]));
    this.ruler.add(this.words);
    this.group.add(this.disc, this.ruler);
    bed.stage.scene.add(this.group);
    bed.stage.before.push(() => {
      this.toFront();
      return false;
    });
  }

  /** Laid under a box; returns how far the disc reaches. */
  set(box: Box3, units: "mm" | "in"): number {
    const size = box.getSize(new Vector3());
    const middle = box.getCenter(new Vector3());
    const reach = Math.hypot(size.x, size.y) * 0.56 + 14;
    const floor = box.min.z;
    const { uniforms } = this.disc.material;
    const { ink, faint } = this.bed.palette();
    uniforms.ink!.value.copy(ink);
    uniforms.middle!.value.set(middle.x, middle.y, reach);
    const unit = units === "in" ? MM_PER_INCH : 1;
    uniforms.square!.value = units === "in" ? MM_PER_INCH / 2 : reach > 600 ? 50 : 10;
    this.disc.position.set(middle.x, middle.y, floor - 0.15);
    this.disc.scale.set(reach, reach, 1);
    this.solid[0]!.color.copy(ink);
    this.solid[1]!.color.copy(faint);
    this.box.copy(box);
    const length = niceBelow((Math.max(size.x, size.y) * 0.55) / unit);
    this.rule(length, length * unit, units);
    return reach;
  }

  dispose(): void {
    this.disc.geometry.dispose();
    this.disc.material.dispose();
    this.words.geometry.dispose();
    this.words.material.map?.dispose();
    this.words.material.dispose();
    this.bar.dispose();
    for (const material of this.solid) material.dispose();
  }

  /** The ruler lies on the side of the box that is seen, to be read from there. */
  private toFront(): void {
    this.ruler.visible = this.bed.turning.toEye().z > -0.02;
    const quarter = (Math.round(this.bed.turning.now.round / (Math.PI / 2)) * Math.PI) / 2;
    const way = new Vector3(Math.sin(quarter), -Math.cos(quarter), 0);
    const size = this.box.getSize(new Vector3());
    const half = (size.x * Math.abs(way.x) + size.y * Math.abs(way.y)) / 2;
    this.box.getCenter(this.ruler.position).addScaledVector(way, half + Math.max(10, half * 0.1));
    this.ruler.position.z = this.box.min.z;
    this.ruler.rotation.z = quarter;
  }

  private rule(figure: number, mm: number, units: string): void {
    const field = mm / FIELDS;
    const thick = Math.max(1.2, mm * 0.014);
    for (let i = 0; i < FIELDS; i++) {
      const bar = this.ruler.children[i]!;
      bar.position.set(-mm / 2 + field * (i + 0.5), 0, thick * 0.1);
      bar.scale.set(field, thick, thick * 0.2);
    }
    const tall = Math.max(9, mm * 0.1);
    this.words.position.set(0, -thick - tall * 0.62, 0.1);
    this.words.scale.set(tall * 5, tall, 1);
    this.write(`${figure} ${units}`);
  }

  private write(words: string): void {
    const ink = `#${this.bed.palette().ink.getHexString()}`;
    if (this.key === words + ink) return;
    this.key = words + ink;
    const canvas = document.createElement("canvas");
    canvas.width = 640;
    canvas.height = 128;
    const pen = canvas.getContext("2d")!;
    pen.font = `600 92px ${getComputedStyle(this.bed.stage.over).fontFamily}`;
    pen.fillStyle = ink;
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    pen.fillText(words, 320, 66);
    this.words.material.map?.dispose();
    this.words.material.map = new CanvasTexture(canvas);
    this.words.material.map.colorSpace = SRGBColorSpace;
    this.words.material.map.anisotropy = 4;
    this.words.material.needsUpdate = true;
  }
}
