/** Round figures: steps of a map's contour lines, the length of a ruler, a length in words. */

/** The smallest of 1, 2 and 5 times a power of ten that cuts the span in at most `most` steps. */
export function niceStep(span: number, most: number): number {
  if (!(span > 0)) return 1;
  const rough = span / most;
  const power = 10 ** Math.floor(Math.log10(rough) + 1e-12);
  const step = [1, 2, 5, 10].find((k) => k * power >= rough * (1 - 1e-9)) ?? 10;
  return tidy(step * power);
}

/** The largest of 1, 2 and 5 times a power of ten that is not above the length. */
export function niceBelow(length: number): number {
  if (!(length > 0)) return 1;
  const power = 10 ** Math.floor(Math.log10(length) + 1e-12);
  const step = [5, 2, 1].find((k) => k * power <= length * (1 + 1e-9)) ?? 1;
  return tidy(step * power);
}

export const MM_PER_INCH = 25.4;

/** A length as a maker reads it: "12.4 mm", or "0.49 in". */
export function lengthWords(mm: number, units: "mm" | "in"): string {
  if (units === "in") return `${(mm / MM_PER_INCH).toFixed(2)} in`;
  return `${mm.toFixed(mm < 100 ? 1 : 0)} mm`;
}

function tidy(value: number): number {
  return Number(value.toPrecision(12));
}
