/** A number per vertex as colour: a table on the GPU, so that range and map change at once. */

import {
  BufferAttribute,
  DataTexture,
  LinearFilter,
  SRGBColorSpace,
  UnsignedByteType,
  RGBAFormat,
} from "three";
import { taken } from "./container";
import { fetchBox } from "./fetch_box";
import type { Legend, MapOn } from "./kinds";
import { niceStep } from "./nice";
import type { Parts, Piece } from "./parts";
import { STEPS, kindFor, rampOf, stopsOf, type Kind } from "./ramps";

const MOST_LINES = 10;
const MISSING = -1e30;

interface Loaded {
  on: MapOn;
  values: Float32Array;
  low: number;
  high: number;
  title: string;
  unit: string;
}

export class ColourMap {
  told: (legend: Legend | null) => void = () => undefined;
  failed: (words: string) => void = () => undefined;
  changed: () => void = () => undefined;
  private loaded: Loaded | null = null;
  private wanted: MapOn | null = null;
  private stop: AbortController | null = null;
  private readonly tables = new Map<Kind, DataTexture>();

  constructor(private readonly parts: Parts) {}

  /** Shows a map, or none; an own range is forgotten when another map comes. */
  set(on: MapOn | null): void {
    if (on?.url === this.wanted?.url && on?.part === this.wanted?.part) return;
    this.wanted = on;
    this.stop?.abort();
    if (on) void this.fetched(on);
    else this.show(null);
  }

  setRange(low: number, high: number): void {
    if (!this.loaded || !(high > low)) return;
    Object.assign(this.loaded, { low, high });
    this.colour();
  }

  get on(): boolean {
    return !!this.loaded;
  }

  valuesOf(piece: Piece): { values: Float32Array; unit: string } | null {
    return piece.mapped && this.loaded?.on.part === piece.part.name ? this.loaded : null;
  }

  /** Gives the part its values once both have come. */
  attach(): void {
    for (const piece of this.parts.all.values()) {
      const fits =
        this.loaded?.on.part === piece.part.name &&
        this.loaded.values.length * 3 === piece.solid.positions.length;
      if (fits && piece.mesh.userData.values !== this.loaded!.values) {
        piece.mesh.userData.values = this.loaded!.values;
        piece.solid.geometry.setAttribute("value", new BufferAttribute(drawable(this.loaded!.values), 1));
      }
      if (!fits && piece.mapped) {
        piece.mesh.userData.values = null;
        piece.solid.geometry.deleteAttribute("value");
      }
      piece.mapped = fits;
    }
  }

  dispose(): void {
    this.stop?.abort();
    for (const table of this.tables.values()) table.dispose();
  }

  private async fetched(on: MapOn): Promise<void> {
    const stop = (this.stop = new AbortController());
    try {
      const { arrays, meta } = await fetchBox(on.url, stop.signal);
      const values = taken({ arrays, meta }, "values", Float32Array);
      const [low, high] = rangeOf(values, meta.low, meta.high);
      const title = String(meta.title ?? on.title);
      if (!stop.signal.aborted) this.show({ on, values, low, high, title, unit: String(meta.unit ?? on.unit) });
    } catch (reason) {
      if (!stop.signal.aborted) this.failed((reason as Error).message);
    }
  }

  private show(loaded: Loaded | null): void {
    this.loaded = loaded;
    this.attach();
    this.colour();
  }

  private colour(): void {
    if (!this.loaded) {
      this.told(null);
    } else {
      const { low, high, title, unit } = this.loaded;
      const kind = kindFor(low, high);
      const { shared } = this.parts;
      shared.table.value = this.table(kind);
      shared.range.value.set(low, high, niceStep(high - low, MOST_LINES));
      this.told({ title, unit, low, high, stops: stopsOf(kind) });
    }
    this.changed();
  }

  private table(kind: Kind): DataTexture {
    const held = this.tables.get(kind);
    if (held) return held;
    const bytes = new Uint8Array(STEPS * 4);
    rampOf(kind).forEach((rgb, i) => bytes.set([...rgb.map((v) => Math.round(v * 255)), 255], i * 4));
    const table = new DataTexture(bytes, STEPS, 1, RGBAFormat, UnsignedByteType);
    table.colorSpace = SRGBColorSpace;
    table.minFilter = table.magFilter = LinearFilter;
    table.needsUpdate = true;
    this.tables.set(kind, table);
    return table;
  }
}

/** The range that is told, else that of the values; never empty. */
export function rangeOf(values: Float32Array, low: unknown, high: unknown): [number, number] {
  if (typeof low === "number" && typeof high === "number" && high > low) return [low, high];
  let [least, most] = [Infinity, -Infinity];
  for (const value of values) {
    if (value < least) least = value;
    if (value > most) most = value;
  }
  if (!Number.isFinite(least) || !Number.isFinite(most)) return [0, 1];
  return most > least ? [least, most] : [least - 0.5, least + 0.5];
}

/** Missing values as one far number: not every GPU passes "not a number" on. */
function drawable(values: Float32Array): Float32Array {
  const out = values.slice();
  for (let i = 0; i < out.length; i++) if (!Number.isFinite(out[i]!)) out[i] = MISSING;
  return out;
}
