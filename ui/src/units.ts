/** Units of the page: what is stored stays in mm, g and degrees C; only what is shown changes. */

import { signal } from "@preact/signals";

export type System = "metric" | "inch";

interface Shown {
  unit: string;
  of: (value: number) => number;
  back: (value: number) => number;
  digits: number; // more than the metric figure shows
}

const same = (value: number): number => value;

function factor(unit: string, by: number, digits: number): Shown {
  return { unit, of: (v) => v / by, back: (v) => v * by, digits };
}

/** For each stored unit, what an inch workshop reads; exact by definition of inch and pound. */
const INCH: Record<string, Shown> = {
  mm: factor("in", 25.4, 2),
  cm: factor("in", 2.54, 2),
  "cm²": factor("in²", 2.54 ** 2, 1),
  cm2: factor("in²", 2.54 ** 2, 1),
  "cm³": factor("in³", 2.54 ** 3, 1),
  cm3: factor("in³", 2.54 ** 3, 1),
  "cm³/h": factor("in³/h", 2.54 ** 3, 2),
  g: factor("oz", 28.349523125, 1),
  kg: factor("lb", 0.45359237, 2),
  "°C": { unit: "°F", of: (v) => v * 1.8 + 32, back: (v) => (v - 32) / 1.8, digits: 0 },
  "g/cm³": factor("oz/in³", 28.349523125 / 2.54 ** 3, 3),
  "g/cm3": factor("oz/in³", 28.349523125 / 2.54 ** 3, 3),
};

const NICER: Record<string, string> = { cm2: "cm²", cm3: "cm³", "g/cm3": "g/cm³", degrees: "°", deg: "°", x: "×" };

const KEPT = "firstpull.units";

export const system = signal<System>(read());

function read(): System {
  return globalThis.localStorage?.getItem(KEPT) === "inch" ? "inch" : "metric";
}

export function setSystem(chosen: System): void {
  system.value = chosen;
  globalThis.localStorage?.setItem(KEPT, chosen);
}

/** The stored unit as the chosen system names it. */
export function unitShown(unit: string, chosen: System = system.value): string {
  const inch = chosen === "inch" ? INCH[unit] : undefined;
  return inch?.unit ?? NICER[unit] ?? unit;
}

/** A stored value in the chosen system. */
export function toShown(value: number, unit: string, chosen: System = system.value): number {
  return (chosen === "inch" ? INCH[unit]?.of ?? same : same)(value);
}

/** What was typed in the chosen system, as it is stored; metric input is kept to the digit. */
export function toStored(value: number, unit: string, chosen: System = system.value): number {
  const inch = chosen === "inch" ? INCH[unit] : undefined;
  return inch === undefined ? value : Number(inch.back(value).toPrecision(9));
}

/** A figure as it is read: as many digits as it deserves, thousands set apart. */
export function figure(value: number, unit: string, digits?: number, chosen: System = system.value): string {
  const inch = chosen === "inch" ? INCH[unit] : undefined;
  const shown = toShown(value, unit, chosen);
  const places = inch !== undefined ? notLost(shown, Math.max(inch.digits, digits ?? 0)) : digits ?? usual(shown);
  return grouped(shown, places);
}

function grouped(value: number, places: number): string {
  const told = value.toLocaleString("en-GB", { maximumFractionDigits: places, minimumFractionDigits: 0 });
  return told.replaceAll(",", "\u202f").replace(/^-/, "\u2212");
}

/** Digits after the point that a figure of this size is read with. */
function usual(value: number): number {
  const size = Math.abs(value);
  return size >= 100 ? 0 : size >= 10 ? 1 : 2;
}

/** Minutes in the words of a working day. */
export function duration(minutes: number): string {
  return span(minutes, minutes);
}

/** From so many minutes to so many, in one unit: that of the longer. */
export function span(least: number, most: number): string {
  const [by, unit] = most < 90 ? [1, "min"] : most < 36 * 60 ? [60, "h"] : [1440, "days"];
  const told = (minutes: number): string => figure(minutes / by, unit, by === 1 || minutes / by >= 10 ? 0 : 1);
  const [low, high] = [told(least), told(most)];
  return `${low === high ? low : `${low}–${high}`} ${unit}`;
}

const NUMBER = String.raw`[\u2212-]?\d[\d,\u202f]*(?:\.\d+)?`;
const BETWEEN = String.raw`(?:\s?×\s?|\s?–\s?|\sto\s|\sand\s|\sby\s)`;
const MEASURE = new RegExp(`(?<![\\w.])(${NUMBER}(?:${BETWEEN}${NUMBER})*)(\\s?)(mm|cm³|cm3|cm²|cm2|kg|g|°C)(?![\\w³²/])`, "g");

/** A sentence of the program in the chosen units: only what is read changes. */
export function inUnits(sentence: string, chosen: System = system.value): string {
  if (chosen === "metric") return sentence;
  return sentence.replace(MEASURE, (_all, numbers: string, space: string, unit: string) => {
    const turned = numbers.replace(new RegExp(NUMBER, "g"), (number) => {
      const value = Number(number.replace("\u2212", "-").replace(/[,\u202f]/g, ""));
      const shown = toShown(value, unit, chosen);
      return grouped(shown, notLost(shown, digitsIn(number, unit)));
    });
    return `${turned}${space || " "}${unitShown(unit, chosen)}`;
  });
}

/** As fine as it was told: tenths of a millimetre come to thousandths of an inch, hundredths to ten thousandths. */
function digitsIn(number: string, unit: string): number {
  const told = number.split(".")[1]?.length ?? 0;
  if (unit === "°C") return Math.max(0, told - 1);
  const inch = INCH[unit]!;
  const finer = told + Math.log10(inch.back(1)); // digits that keep the step of the last digit told
  if (unit !== "mm") return Math.max(inch.digits, Math.round(finer));
  const size = Math.abs(Number(number.replace("\u2212", "-").replace(/[,\u202f]/g, "")));
  return told === 0 && size >= 100 ? 1 : Math.max(size < 2.5 ? 3 : 2, Math.ceil(finer));
}

/** More digits where a figure that is not nothing would be read as 0: then two that count. */
function notLost(shown: number, digits: number): number {
  if (shown === 0 || Math.abs(shown) >= 0.5 * 10 ** -digits) return digits;
  return 1 + Math.ceil(-Math.log10(Math.abs(shown)));
}
