/** Before and after: what arrived left of a line, the master right of it. */

import type { Bed } from "./bed";
import { made } from "./overlay";
import type { Piece } from "./parts";

const STEP = 0.02;

export class Compare {
  private at: number | null = null;
  private given: number | null = null;
  private readonly line = made("div", "bench-divide");

  constructor(private readonly bed: Bed) {
    const { line } = this;
    line.tabIndex = 0;
    line.setAttribute("role", "slider");
    line.setAttribute("aria-label", "Line between before and after");
    line.setAttribute("aria-valuemin", "0");
    line.setAttribute("aria-valuemax", "100");
    line.addEventListener("pointerdown", (event) => line.setPointerCapture(event.pointerId));
    line.addEventListener("pointermove", (event) => this.drag(event));
    line.addEventListener("keydown", (event) => this.key(event));
    line.append(made("span", "bench-side", "before"), made("span", "bench-side", "after"));
    bed.stage.over.append(line);
    bed.stage.after.push(() => this.lay());
  }

  set(at: number | null): void {
    if (at !== this.given) this.at = at;
    this.given = at;
    this.bed.stage.drawn = this.at === null ? null : () => this.draw();
  }

  get on(): boolean {
    return this.at !== null;
  }

  /** The parts that are seen at a place across the canvas. */
  piecesAt(x: number): Piece[] {
    return this.bed.parts.byRole(x < this.at! * this.bed.stage.size.x ? "arrived" : "master");
  }

  draw(): void {
    const { stage, parts } = this.bed;
    const { renderer, size } = stage;
    const left = Math.round(this.at! * size.x);
    const held = [...parts.all.values()].map((piece) => [piece, piece.group.visible] as const);
    renderer.setScissorTest(true);
    for (const role of ["arrived", "master"] as const) {
      for (const [piece] of held) piece.group.visible = piece.part.role === role;
      if (role === "arrived") renderer.setScissor(0, 0, left, size.y);
      else renderer.setScissor(left, 0, size.x - left, size.y);
      stage.draw();
    }
    renderer.setScissorTest(false);
    for (const [piece, visible] of held) piece.group.visible = visible;
  }

  private drag(event: PointerEvent): void {
    if (!this.line.hasPointerCapture(event.pointerId)) return;
    const frame = this.bed.stage.canvas.getBoundingClientRect();
    this.move((event.clientX - frame.left) / frame.width);
  }

  private key(event: KeyboardEvent): void {
    const step = event.shiftKey ? STEP * 5 : STEP;
    if (event.key === "ArrowLeft" || event.key === "ArrowDown") this.move(this.at! - step);
    else if (event.key === "ArrowRight" || event.key === "ArrowUp") this.move(this.at! + step);
    else if (event.key === "Home") this.move(0);
    else if (event.key === "End") this.move(1);
    else return;
    event.preventDefault();
  }

  private move(to: number): void {
    this.at = Math.min(1, Math.max(0, to));
    this.bed.heard.compared?.(this.at);
    this.bed.stage.ask();
  }

  private lay(): void {
    this.line.hidden = this.at === null;
    if (this.at === null) return;
    this.line.style.transform = `translateX(${(this.at * this.bed.stage.size.x).toFixed(1)}px)`;
    this.line.setAttribute("aria-valuenow", String(Math.round(this.at * 100)));
  }
}
