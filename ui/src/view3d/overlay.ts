/** Marks of the page laid over the canvas: where a place of the scene lies on the screen. */

import { Vector3 } from "three";
import type { Stage } from "./stage";

const scratch = new Vector3();

export interface Spot {
  x: number;
  y: number;
  inFront: boolean;
}

export function spotOf(stage: Stage, place: Vector3): Spot {
  scratch.copy(place).project(stage.camera);
  return {
    x: (scratch.x * 0.5 + 0.5) * stage.size.x,
    y: (0.5 - scratch.y * 0.5) * stage.size.y,
    inFront: scratch.z < 1,
  };
}

/** Moves an element so that its own anchor (set by CSS) lies on the place. */
export function layOver(stage: Stage, element: HTMLElement, place: Vector3): Spot {
  const spot = spotOf(stage, place);
  const away = !spot.inFront || spot.x < -40 || spot.y < -40 || spot.x > stage.size.x + 40 || spot.y > stage.size.y + 40;
  element.hidden = away;
  if (!away) element.style.transform = `translate(${spot.x.toFixed(1)}px, ${spot.y.toFixed(1)}px)`;
  return spot;
}

/** As layOver, but kept within the canvas, so that it can always be taken hold of. */
export function layWithin(stage: Stage, element: HTMLElement, place: Vector3, inset: number): void {
  const { x, y } = spotOf(stage, place);
  const kept = (v: number, most: number) => Math.min(most - inset, Math.max(inset, v)).toFixed(1);
  element.style.transform = `translate(${kept(x, stage.size.x)}px, ${kept(y, stage.size.y)}px)`;
}

export function made<K extends keyof HTMLElementTagNameMap>(
  kind: K,
  className: string,
  words = "",
): HTMLElementTagNameMap[K] {
  const element = document.createElement(kind);
  element.className = className;
  if (words) element.textContent = words;
  if (element instanceof HTMLButtonElement) element.type = "button";
  return element;
}
