/** The number of a map under the pointer, beside it. */

import type { Bed } from "./bed";
import type { ColourMap } from "./colour_map";
import type { Point } from "./hands";
import type { View } from "./kinds";
import { made } from "./overlay";
import { valueAt } from "./pick";

export class Reading {
  private readonly label = made("output", "bench-reading");

  constructor(
    private readonly bed: Bed,
    private readonly map: ColourMap,
  ) {
    this.label.hidden = true;
    bed.stage.over.append(this.label);
  }

  /** A figure that was read goes with the tool or the map that gave it. */
  set(view: View, before: View | null): void {
    if (!before || (view.tool === before.tool && view.map?.url === before.map?.url)) return;
    this.hover(null);
    this.bed.heard.picked(null);
  }

  hover(at: Point | null): void {
    const hit = at && this.map.on ? this.bed.hitAt(at) : null;
    const map = hit && !hit.onCut ? this.map.valuesOf(hit.piece) : null;
    this.label.hidden = !map;
    if (!map || !hit || !at) return;
    const value = valueAt(hit, map.values);
    this.label.textContent = value === null ? "no figure" : `${value.toPrecision(3)} ${map.unit}`.trim();
    this.label.style.transform = `translate(${at.x.toFixed(0)}px, ${at.y.toFixed(0)}px)`;
  }
}
