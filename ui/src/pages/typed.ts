/** Numbers as people type them, and as they read them back. */

import { toShown, toStored } from "../units";

/** A typed number; a comma or a point parts its decimals. null where it is none. */
export function readNumber(text: string): number | null {
  const plain = text.trim().replace(/[\s\u202f\u00a0]/g, "").replace("\u2212", "-").replace(",", ".");
  return /^[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i.test(plain) ? Number(plain) : null;
}

/** A stored number as it stands in an input, in the units that are shown. */
export function forInput(value: number, unit: string): string {
  const shown = toShown(value, unit);
  if (shown === value) return String(Number(value.toPrecision(9)));
  return String(Math.abs(shown) < 0.1 ? Number(shown.toPrecision(3)) : Number(shown.toFixed(3)));
}

/** What was typed as it is stored; text that was not touched gives back the number it came from. */
export function storedOf(text: string, unit: string, was: number | null): number | null {
  if (was !== null && text.trim() === forInput(was, unit)) return was;
  const read = readNumber(text);
  return read === null ? null : toStored(read, unit);
}

/** Bytes as a file manager says them. */
export function bytes(count: number): string {
  if (count < 1000) return `${count} B`;
  const [by, unit] = count < 999_500 ? [1e3, "kB"] : count < 999_500_000 ? [1e6, "MB"] : [1e9, "GB"];
  const value = count / (by as number);
  return `${value >= 10 ? Math.round(value) : value.toFixed(1)} ${unit}`;
}
