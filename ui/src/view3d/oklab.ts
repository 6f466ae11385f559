/** Colours by how light and how coloured they look. Source: Ottosson, OKLab, 2020. */

export type Rgb = [number, number, number]; // 0..1, as sRGB codes them
export type Lab = [number, number, number]; // lightness 0..1, green to red, blue to yellow

export function linearOf(code: number): number {
  return code <= 0.04045 ? code / 12.92 : ((code + 0.055) / 1.055) ** 2.4;
}

export function codeOf(linear: number): number {
  const v = Math.min(1, Math.max(0, linear));
  return v <= 0.0031308 ? v * 12.92 : 1.055 * v ** (1 / 2.4) - 0.055;
}

export function labOf(rgb: Rgb): Lab {
  const [r, g, b] = rgb.map(linearOf) as Rgb;
  const l = Math.cbrt(0.4122214708 * r + 0.5363325363 * g + 0.0514459929 * b);
  const m = Math.cbrt(0.2119034982 * r + 0.6806995451 * g + 0.1073969566 * b);
  const s = Math.cbrt(0.0883024619 * r + 0.2817188376 * g + 0.6299787005 * b);
  return [
    0.2104542553 * l + 0.793617785 * m - 0.0040720468 * s,
    1.9779984951 * l - 2.428592205 * m + 0.4505937099 * s,
    0.0259040371 * l + 0.7827717662 * m - 0.808675766 * s,
  ];
}

export function rgbOf([L, a, b]: Lab): Rgb {
  const l = (L + 0.3963377774 * a + 0.2158037573 * b) ** 3;
  const m = (L - 0.1055613458 * a - 0.0638541728 * b) ** 3;
  const s = (L - 0.0894841775 * a - 1.291485548 * b) ** 3;
  return [
    codeOf(4.0767416621 * l - 3.3077115913 * m + 0.2309699292 * s),
    codeOf(-1.2684380046 * l + 2.6097574011 * m - 0.3413193965 * s),
    codeOf(-0.0041960863 * l - 0.7034186147 * m + 1.707614701 * s),
  ];
}

/** Lightness, chroma and hue in degrees to a colour. */
export function fromHue(L: number, chroma: number, hue: number): Lab {
  const turn = (hue * Math.PI) / 180;
  return [L, chroma * Math.cos(turn), chroma * Math.sin(turn)];
}

export function apartOf(a: Lab, b: Lab): number {
  return Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
}

export function hexOf(rgb: Rgb): string {
  return "#" + rgb.map((v) => Math.round(v * 255).toString(16).padStart(2, "0")).join("");
}
