/** Numbered pins over the part: buttons of the page, dim where the part hides their place. */

import { Ray, Vector3 } from "three";
import type { Pin } from "./kinds";
import { layOver, made } from "./overlay";
import { firstHit } from "./pick";
import type { Piece } from "./parts";
import type { Stage } from "./stage";

const NEAR_MM = 1.5;

export class Pins {
  chosen: (pin: Pin) => void = () => undefined;
  private readonly buttons = new Map<string, HTMLButtonElement>();
  private pins: Pin[] = [];

  constructor(
    private readonly stage: Stage,
    private readonly pieces: () => Piece[],
  ) {
    stage.after.push(() => this.lay());
  }

  set(pins: Pin[]): void {
    if (pins === this.pins) return;
    this.pins = pins;
    const ids = new Set(pins.map((pin) => pin.id));
    for (const [id, button] of this.buttons) {
      if (ids.has(id)) continue;
      button.remove();
      this.buttons.delete(id);
    }
    pins.forEach((pin) => this.show(pin));
    this.stage.ask();
  }

  all(): { pin: Pin; number: number; hidden: boolean }[] {
    return this.pins.map((pin) => {
      const button = this.buttons.get(pin.id)!;
      return { pin, number: pin.number, hidden: "behind" in button.dataset };
    });
  }

  private show(pin: Pin): void {
    let button = this.buttons.get(pin.id);
    if (!button) {
      button = made("button", "bench-pin");
      this.buttons.set(pin.id, button);
      this.stage.over.append(button);
    }
    button.textContent = String(pin.number);
    button.dataset.weight = pin.weight;
    button.setAttribute("aria-label", `${pin.number}: ${pin.words}`);
    button.setAttribute("aria-pressed", String(pin.active ?? false));
    button.title = pin.words;
    button.onclick = () => this.chosen(pin);
  }

  private lay(): void {
    const place = new Vector3();
    for (const pin of this.pins) {
      const button = this.buttons.get(pin.id)!;
      layOver(this.stage, button, place.set(...pin.place));
      button.toggleAttribute("data-behind", this.isBehind(place));
    }
  }

  private isBehind(place: Vector3): boolean {
    const eye = this.stage.camera.position;
    const away = place.distanceTo(eye);
    const ray = new Ray(eye.clone(), place.clone().sub(eye).normalize());
    const pieces = this.pieces().filter((piece) => piece.solid.tree && !piece.ghost);
    const hit = firstHit(ray, pieces);
    return !!hit && hit.along < away - NEAR_MM;
  }
}
