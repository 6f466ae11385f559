/** The materials as the program tells them, and how their figures are read. */

import { duration, figure, toShown, unitShown } from "../units";
import { leaf } from "../words/leaves";

export interface Own { low: number; typical: number; high: number; note: string; changed_at: string }
export interface ShelfFigure { figure: string; unit: string; low: number; typical: number; high: number; mark: string; source: string; note: string; own: Own | null }
export interface Material { id: string; name: string; kind: string; figures: ShelfFigure[] }

/** What a link such as "#silicone-tin-30a.pot_life" names. */
export function namedBy(hash: string): { material: string; figure: string | null } | null {
  const [material, figure] = decodeURIComponent(hash.replace(/^#/, "")).split(".");
  return material ? { material, figure: figure ?? null } : null;
}

/** The kinds in the order of the work, each with its materials. */
export function byKind(materials: Material[]): { kind: string; materials: Material[] }[] {
  const known = Object.keys(leaf.materials.kinds);
  const kinds = [...new Set([...known, ...materials.map((one) => one.kind)])];
  return kinds.map((kind) => ({ kind, materials: materials.filter((one) => one.kind === kind) })).filter((some) => some.materials.length > 0);
}

export function figureName(name: string): string {
  const plain = name.replaceAll("_", " ");
  return leaf.materials.names[name] ?? plain.charAt(0).toUpperCase() + plain.slice(1);
}

export function kindName(kind: string): string {
  return leaf.materials.kinds[kind] ?? kind.charAt(0).toUpperCase() + kind.slice(1);
}

/** "common practice", then where from; the note comes after. */
export function restsOn(mark: string): string {
  return leaf.materials.marks[mark] ?? mark;
}

/** A material's name, as a heading begins. */
export function named(material: Material): string {
  return material.name.charAt(0).toUpperCase() + material.name.slice(1);
}

/** A unit as it is set in type. */
export function unitWords(unit: string): string {
  return unit === "A" ? leaf.materials.shoreA : unitShown(unit).replace(/([cdm])m2\b/g, "$1m²").replace(/([cdm])m3\b/g, "$1m³").replace(/^x\b/, "×");
}

/** A figure of a row, to the digits that it was given with; long times in hours and days. */
export function value(of: number, unit: string): { value: string; unit: string } {
  if (unit === "min" && of >= 90) {
    const [value, ...rest] = duration(of).split(" ");
    return { value: value!, unit: rest.join(" ") };
  }
  const digits = Math.abs(toShown(of, unit)) >= 100 ? 0 : 3;
  return { value: figure(of, unit, digits), unit: unitWords(unit) };
}

/** Low to high, with the unit once where it is the same. */
export function range(low: number, high: number, unit: string): string {
  const [from, to] = [value(low, unit), value(high, unit)];
  return leaf.materials.range2(from.unit === to.unit ? from.value : `${from.value} ${from.unit}`, `${to.value} ${to.unit}`);
}
