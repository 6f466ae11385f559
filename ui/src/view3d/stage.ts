/** The canvas, its renderer and camera; a frame is drawn only when something asks for one. */

import { Box3, PerspectiveCamera, Scene, Sphere, Vector2, Vector3, WebGLRenderer } from "three";

export const FIELD_DEG = 26;
const MOST_RATIO = 2;
const REST_MS = 350;

export type State = "loading" | "ready" | "failed";

export class Stage {
  readonly canvas: HTMLCanvasElement;
  readonly over: HTMLDivElement;
  readonly renderer: WebGLRenderer;
  readonly scene = new Scene();
  readonly camera = new PerspectiveCamera(FIELD_DEG, 1, 1, 5000);
  readonly size = new Vector2(1, 1);
  /** What is drawn, the ground included: it decides how near and far the camera sees. */
  readonly whole = new Sphere(new Vector3(), 100);
  /** Called before each frame; true asks for another one after it. */
  readonly before: ((now: number) => boolean)[] = [];
  /** Called after each frame, to lay the marks of the page over it. */
  readonly after: (() => void)[] = [];
  /** How a frame is drawn; a comparison draws two halves instead. */
  drawn: (() => void) | null = null;
  /** Drawn by the processor: smooth edges wait until the view stands still. */
  private readonly slow: boolean;
  private rest: ReturnType<typeof setTimeout> | undefined;
  private fine = false;
  private asked = 0;
  private readonly watch: ResizeObserver;

  constructor(host: HTMLElement) {
    this.canvas = document.createElement("canvas");
    this.canvas.className = "bench-canvas";
    this.slow = isDrawnByProcessor();
    const context = contextOn(this.canvas, !this.slow);
    if (!context) throw new Error("No WebGL here.");
    this.renderer = new WebGLRenderer({ canvas: this.canvas, context });
    this.renderer.autoClear = false;
    this.renderer.debug.checkShaderErrors = false; // asking makes the first frame wait for the compiler
    this.over = document.createElement("div");
    this.over.className = "bench-over";
    host.append(this.canvas, this.over);
    this.watch = new ResizeObserver(() => this.fit(host));
    this.watch.observe(host);
    this.fit(host);
  }

  ask(): void {
    clearTimeout(this.rest);
    this.asked ||= requestAnimationFrame((now) => this.frame(now));
  }

  state(state: State): void {
    this.canvas.dataset.state = state;
  }

  /** Draws at once, into whatever target the renderer has. */
  draw(): void {
    this.renderer.clear();
    this.renderer.render(this.scene, this.camera);
  }

  /** Near and far close around what is shown, so that depth is told finely. */
  reach(): void {
    const along = this.camera.position.distanceTo(this.whole.center);
    const r = this.whole.radius * 1.05;
    this.camera.near = Math.max(along - r, r * 0.004, 0.05);
    this.camera.far = Math.max(along + r, this.camera.near * 2);
    this.camera.updateProjectionMatrix();
    this.camera.updateMatrixWorld(true);
  }

  around(box: Box3): void {
    box.getBoundingSphere(this.whole);
  }

  /** Draws once at another size, hands over, and draws again as it was; nothing of it is shown. */
  sized(width: number, height: number, then: () => void): void {
    const [was, ratio] = [this.size.clone(), this.renderer.getPixelRatio()];
    this.resize(width, height, this.slow ? MOST_RATIO : 1);
    this.show();
    then();
    this.resize(was.x, was.y, ratio);
    this.show();
  }

  dispose(): void {
    cancelAnimationFrame(this.asked);
    clearTimeout(this.rest);
    this.watch.disconnect();
    this.renderer.dispose();
    this.canvas.remove();
    this.over.remove();
  }

  private frame(now: number): void {
    this.asked = 0;
    const again = this.before.map((step) => step(now)).some(Boolean);
    if (this.fine) this.refine(false);
    this.show();
    for (const step of this.after) step();
    if (again) this.ask();
    else if (this.slow) this.rest = setTimeout(() => this.refine(true), REST_MS);
  }

  /** A still view is drawn once more at a finer size, which smooths its edges. */
  private refine(fine: boolean): void {
    if (this.renderer.getContext().isContextLost()) return;
    this.fine = fine;
    this.resize(this.size.x, this.size.y, fine ? MOST_RATIO : ratioHere());
    if (fine) this.show();
  }

  private show(): void {
    this.reach();
    if (this.drawn) this.drawn();
    else this.draw();
  }

  private fit(host: HTMLElement): void {
    const width = Math.max(1, host.clientWidth);
    const height = Math.max(1, host.clientHeight);
    this.fine = false;
    this.resize(width, height, ratioHere());
    this.ask();
  }

  private resize(width: number, height: number, ratio: number): void {
    this.size.set(width, height);
    this.renderer.setPixelRatio(ratio);
    this.renderer.setSize(width, height, false);
    this.camera.aspect = width / height;
  }
}

function ratioHere(): number {
  return Math.min(MOST_RATIO, window.devicePixelRatio || 1);
}

const BY_PROCESSOR = /swiftshader|llvmpipe|softpipe|software|basic render/i;

let byProcessor: boolean | null = null;

/** Whether no graphics card draws; asked once, of a canvas of its own, as edges are settled at the start. */
function isDrawnByProcessor(): boolean {
  return (byProcessor ??= asksProcessor());
}

function asksProcessor(): boolean {
  const gl = contextOn(document.createElement("canvas"), false);
  const told = gl?.getExtension("WEBGL_debug_renderer_info");
  const name = gl && told ? String(gl.getParameter(told.UNMASKED_RENDERER_WEBGL)) : "";
  gl?.getExtension("WEBGL_lose_context")?.loseContext();
  return BY_PROCESSOR.test(name);
}

function contextOn(canvas: HTMLCanvasElement, antialias: boolean): WebGL2RenderingContext | null {
  return canvas.getContext("webgl2", { alpha: false, antialias, stencil: true, powerPreference: "high-performance" });
}
