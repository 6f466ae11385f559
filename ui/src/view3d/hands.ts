/** Mouse, pen and fingers on the canvas: a tool may take a stroke, else the camera turns. */

import type { Ray } from "three";
import { rayAt } from "./pick";
import type { Stage } from "./stage";
import type { Turning } from "./turn";

export interface Point {
  x: number;
  y: number;
  ray: Ray;
}

/** What a tool does with the pointer. `start` says whether it takes the stroke. */
export interface Grip {
  start?(at: Point): boolean;
  move?(at: Point): void;
  end?(at: Point, dropped: boolean): void;
  click?(at: Point): void;
  hover?(at: Point | null): void;
}

const STILL_PX = 4;
const STEP_PX = 6;
const MOST_STEPS = 40;
const WHEEL = 0.0014;

type Mode = "turn" | "pan" | "tool" | "pinch" | null;

export class Hands {
  grip: Grip = {};
  private readonly down = new Map<number, { x: number; y: number }>();
  private mode: Mode = null;
  private began = { x: 0, y: 0 };
  private strayed = false;
  private spread = 0;
  private readonly ends = new AbortController();

  constructor(
    private readonly stage: Stage,
    private readonly turning: Turning,
  ) {
    const on = { signal: this.ends.signal };
    const { canvas } = stage;
    canvas.addEventListener("pointerdown", (event) => this.press(event), on);
    canvas.addEventListener("pointermove", (event) => this.drag(event), on);
    canvas.addEventListener("pointerup", (event) => this.lift(event, false), on);
    canvas.addEventListener("pointercancel", (event) => this.lift(event, true), on);
    canvas.addEventListener("pointerleave", () => this.grip.hover?.(null), on);
    canvas.addEventListener("contextmenu", (event) => event.preventDefault(), on);
    canvas.addEventListener("wheel", (event) => this.roll(event), { passive: false, ...on });
  }

  dispose(): void {
    this.ends.abort();
  }

  private press(event: PointerEvent): void {
    this.stage.canvas.focus({ preventScroll: true });
    this.stage.canvas.setPointerCapture(event.pointerId);
    const at = this.point(event);
    this.down.set(event.pointerId, at);
    if (this.down.size === 2) {
      if (this.mode === "tool") this.grip.end?.(at, true);
      this.mode = "pinch";
      this.spread = this.pair().spread;
      return;
    }
    if (this.down.size > 2) return;
    this.began = at;
    this.strayed = false;
    if (event.button === 2 || event.button === 1 || event.shiftKey) this.mode = "pan";
    else if (this.grip.start?.(at)) this.mode = "tool";
    else this.mode = "turn";
  }

  private drag(event: PointerEvent): void {
    const at = this.point(event);
    const was = this.down.get(event.pointerId);
    if (!was) {
      if (event.pointerType !== "touch") this.grip.hover?.(at);
      return;
    }
    if (Math.hypot(at.x - this.began.x, at.y - this.began.y) > STILL_PX) this.strayed = true;
    if (this.mode === "pinch") this.pinch(event.pointerId, at);
    else if (this.mode === "tool") this.stroke(was, at);
    else if (this.strayed) this.moveCamera(at.x - was.x, at.y - was.y);
    else return;
    this.down.set(event.pointerId, at);
  }

  private lift(event: PointerEvent, dropped: boolean): void {
    if (!this.down.delete(event.pointerId)) return;
    const at = this.point(event);
    if (this.mode === "tool") this.grip.end?.(at, dropped);
    else if (this.mode === "turn" && !this.strayed && !dropped) this.grip.click?.(at);
    // A finger left over from a pinch does nothing until it is lifted too.
    this.mode = this.down.size && this.mode === "pinch" ? "pinch" : null;
  }

  /** A quick stroke is followed in small steps, so that it keeps to the surface between events. */
  private stroke(from: { x: number; y: number }, to: Point): void {
    const steps = Math.min(MOST_STEPS, Math.ceil(Math.hypot(to.x - from.x, to.y - from.y) / STEP_PX));
    for (let i = 1; i < steps; i++) {
      const x = from.x + ((to.x - from.x) * i) / steps;
      const y = from.y + ((to.y - from.y) * i) / steps;
      this.grip.move?.({ x, y, ray: rayAt(this.stage, x, y) });
    }
    this.grip.move?.(to);
  }

  private moveCamera(dx: number, dy: number): void {
    if (this.mode === "pan") this.turning.panBy(dx, dy);
    else if (this.mode === "turn") this.turning.turnBy(dx, dy);
  }

  private pinch(id: number, at: Point): void {
    const before = this.pair();
    this.down.set(id, at);
    if (this.down.size < 2) return;
    const after = this.pair();
    this.turning.panBy(after.x - before.x, after.y - before.y);
    if (after.spread > 1 && this.spread > 1) {
      this.turning.zoomBy(this.spread / after.spread, rayAt(this.stage, after.x, after.y));
    }
    this.spread = after.spread;
  }

  private pair(): { x: number; y: number; spread: number } {
    const [a, b] = [...this.down.values()];
    if (!a || !b) return { x: 0, y: 0, spread: 0 };
    return { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2, spread: Math.hypot(a.x - b.x, a.y - b.y) };
  }

  private roll(event: WheelEvent): void {
    event.preventDefault();
    const lines = event.deltaMode === 1 ? 16 : event.deltaMode === 2 ? 400 : 1;
    const by = Math.max(-240, Math.min(240, event.deltaY * lines));
    this.turning.zoomBy(Math.exp(by * WHEEL), this.point(event).ray);
  }

  private point(event: MouseEvent): Point {
    const frame = this.stage.canvas.getBoundingClientRect();
    const x = event.clientX - frame.left;
    const y = event.clientY - frame.top;
    return { x, y, ray: rayAt(this.stage, x, y) };
  }
}
