/**
 * The colours of a map from low to high, even to the eye.
 *
 * One way (from pale sand over rose-brown to deep blue-violet) or two ways about nought (ochre,
 * white, blue). Lightness alone already orders them; hues are chosen so that eyes that mix up
 * red and green, or blue and yellow, lose no step.
 */

import { fromHue, hexOf, rgbOf, type Lab, type Rgb } from "./oklab";

export type Kind = "one way" | "two ways";

export const STEPS = 256;

interface Knot {
  at: number;
  L: number;
  chroma: number;
  hue: number;
}

const ONE_WAY: Knot[] = [
  { at: 0, L: 0.945, chroma: 0.035, hue: 88 },
  { at: 0.3, L: 0.78, chroma: 0.085, hue: 62 },
  { at: 0.55, L: 0.6, chroma: 0.1, hue: 20 },
  { at: 0.78, L: 0.43, chroma: 0.11, hue: -35 },
  { at: 1, L: 0.27, chroma: 0.12, hue: -78 },
];

const LOW_SIDE: Knot[] = [
  { at: 0, L: 0.5, chroma: 0.105, hue: 68 },
  { at: 0.5, L: 0.745, chroma: 0.115, hue: 76 },
  { at: 1, L: 0.965, chroma: 0.006, hue: 90 },
];

const HIGH_SIDE: Knot[] = [
  { at: 0, L: 0.965, chroma: 0.006, hue: 250 },
  { at: 0.5, L: 0.7, chroma: 0.095, hue: 248 },
  { at: 1, L: 0.4, chroma: 0.13, hue: 258 },
];

/** The colour at a share from 0 to 1 of a kind of map. */
export function labAt(kind: Kind, share: number): Lab {
  const t = Math.min(1, Math.max(0, share));
  if (kind === "one way") return between(ONE_WAY, t);
  return t < 0.5 ? between(LOW_SIDE, t * 2) : between(HIGH_SIDE, t * 2 - 1);
}

export function rampOf(kind: Kind): Rgb[] {
  return Array.from({ length: STEPS }, (_, i) => rgbOf(labAt(kind, i / (STEPS - 1))));
}

/** CSS colours, evenly spaced from low to high. */
export function stopsOf(kind: Kind, count = 17): string[] {
  return Array.from({ length: count }, (_, i) => hexOf(rgbOf(labAt(kind, i / (count - 1)))));
}

/** Two ways where the range has nought well inside it. */
export function kindFor(low: number, high: number): Kind {
  return low < 0 && high > 0 ? "two ways" : "one way";
}

function between(knots: Knot[], t: number): Lab {
  const k = Math.max(1, knots.findIndex((knot) => knot.at >= t));
  const [a, b] = [knots[k - 1]!, knots[k]!];
  const share = (t - a.at) / (b.at - a.at);
  const p = fromHue(a.L, a.chroma, a.hue);
  const q = fromHue(b.L, b.chroma, b.hue);
  return [0, 1, 2].map((i) => p[i]! + (q[i]! - p[i]!) * share) as Lab;
}
