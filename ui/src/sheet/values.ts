/** What a sheet says of a field, how a person reads it, and what they typed in its place. */

import type { FormField, FormGroup, Sheet } from "../api/kinds";
import { forInput, readNumber, storedOf } from "../pages/typed";
import { figure, system, unitShown } from "../units";
import { t } from "../words";
import { leaf } from "../words/leaves";

/** What the sheet says; undefined where it says nothing. */
export function saidOf(sheet: Sheet, field: string): unknown {
  return field.split(".").reduce<unknown>((at, key) => (at as Record<string, unknown> | null | undefined)?.[key], sheet.values) ?? undefined;
}

/** What is assumed while the sheet says nothing; null where mesh or kind decide. */
export function assumedOf(sheet: Sheet, field: FormField): unknown {
  return sheet.assumed.find((one) => one.field === field.name)?.value ?? field.default ?? null;
}

export function same(one: unknown, other: unknown): boolean {
  return JSON.stringify(one ?? null) === JSON.stringify(other ?? null);
}

/** What a field is, as its label; how a list is written does not matter where it is not typed. */
export function labelOf(field: FormField): string {
  const what = field.kind === "list" && !isThree(field) ? field.what.split(/, (?=dabs |each |\[)/)[0]! : field.what;
  return what.charAt(0).toUpperCase() + what.slice(1);
}

/** Three numbers can be typed; longer lists are set where they can be seen. */
export function isThree(field: FormField): boolean {
  return field.kind === "list" && /^three\b/.test(field.allowed);
}

/** A value as it stands in an input. */
export function asTyped(value: unknown, field: FormField): string {
  if (value === null || value === undefined) return "";
  if (Array.isArray(value)) return value.map((one) => (typeof one === "number" ? forInput(one, field.unit) : String(one))).join(", ");
  return typeof value === "number" ? forInput(value, field.unit) : String(value);
}

/** A value in words, with its unit. */
export function asWords(value: unknown, field: FormField): string {
  if (value === null || value === undefined) return field.empty ?? t.common.none;
  if (typeof value === "boolean") return value ? leaf.sheet.yes : leaf.sheet.no;
  if (field.kind === "choice") return field.choices?.find((one) => one.value === value)?.words ?? String(value);
  if (Array.isArray(value) && !isThree(field)) return leaf.sheet.set(value.length);
  return [asTyped(value, field), unitShown(field.unit)].filter(Boolean).join(" ");
}

export type Read = { value: unknown } | { wrong: string };

/** What was typed, as it is stored; empty takes the field out. What it may be is the server's to say. */
export function readTyped(text: string, field: FormField, was: unknown): Read {
  const plain = text.trim();
  if (plain === "") return { value: null };
  if (field.kind === "number" || field.kind === "whole") {
    const value = storedOf(plain, field.unit, typeof was === "number" ? was : null);
    return value === null ? { wrong: leaf.sheet.noNumber(plain) } : { value };
  }
  if (field.kind === "yes_no") return { value: plain === "true" };
  if (field.kind !== "list") return { value: plain };
  const parts = plain.replace(/^\[|\]$/g, "").split(/[;,]\s+|[;,]|\s+/).filter(Boolean);
  const numbers = parts.map((part, at) => (readNumber(part) === null ? null : storedOf(part, field.unit, Array.isArray(was) ? (was[at] as number) : null)));
  return numbers.length === 3 && numbers.every((one) => one !== null) ? { value: numbers } : { wrong: leaf.sheet.noThree(plain) };
}

/** The range in the units that are shown. */
export function allowedWords(field: FormField): string {
  const { low, high, above, unit } = field;
  const converts = unit !== "" && system.value === "inch" && unitShown(unit) !== unitShown(unit, "metric");
  if (!converts || field.kind === "list") return field.kind === "choice" || field.kind === "yes_no" ? "" : field.allowed;
  const say = (value: number): string => figure(value, unit);
  const to = unitShown(unit);
  if (high === null) return low === null ? "" : `${leaf.sheet.above(say(low))} ${to}`;
  return low !== null ? `${leaf.sheet.allowed(say(low), say(high))} ${to}` : above !== null ? `${leaf.sheet.above(say(above))}, ${leaf.sheet.upTo(say(high))} ${to}` : `${leaf.sheet.upTo(say(high))} ${to}`;
}

/** Fields that speak of all the words looked for. */
export function findFields(groups: FormGroup[], wanted: string): FormGroup[] {
  const words = wanted.toLowerCase().split(/\s+/).filter(Boolean);
  const speaks = (field: FormField): boolean => {
    const text = `${field.name} ${field.what} ${field.why} ${leaf.sheet.groups[field.name.split(".")[0]!] ?? ""}`.toLowerCase();
    return words.every((word) => text.includes(word));
  };
  return groups.map((group) => ({ ...group, fields: group.fields.filter(speaks) })).filter((group) => group.fields.length > 0);
}
