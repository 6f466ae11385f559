/** The keyboard on the canvas: arrows turn, with shift they pan, digits look, + and - zoom. */

import type { Look } from "./kinds";
import type { Turning } from "./turn";

const TURN_PX = 20;
const PAN_PX = 24;
const ZOOM = 1.15;
const DIGITS: Record<string, Look> = {
  "0": "three-quarter",
  "1": "front",
  "2": "back",
  "3": "left",
  "4": "right",
  "5": "above",
  "6": "below",
};
const ARROWS: Record<string, [number, number]> = {
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowUp: [0, -1],
  ArrowDown: [0, 1],
};

/** Listens until the signal ends; keys it does not know stay with the page. */
export function listen(
  canvas: HTMLCanvasElement,
  turning: Turning,
  does: { look(from: Look): void; leave(): void },
  signal: AbortSignal,
): void {
  canvas.addEventListener(
    "keydown",
    (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      if (!pressed(event, turning, does)) return;
      event.preventDefault();
    },
    { signal },
  );
}

function pressed(
  event: KeyboardEvent,
  turning: Turning,
  does: { look(from: Look): void; leave(): void },
): boolean {
  const way = ARROWS[event.key];
  if (way && event.shiftKey) turning.panBy(way[0] * PAN_PX, way[1] * PAN_PX);
  else if (way) turning.turnBy(way[0] * TURN_PX, way[1] * TURN_PX);
  else if (event.key === "+" || event.key === "=") turning.zoomBy(1 / ZOOM, null);
  else if (event.key === "-") turning.zoomBy(ZOOM, null);
  else if (DIGITS[event.key]) does.look(DIGITS[event.key]!);
  else if (event.key === "Escape") does.leave();
  else return false;
  return true;
}
