/** The shapes that the page handles, by short names, as the interface's document has them. */

import type { components } from "./schema";

type S = components["schemas"];

export type V3 = [number, number, number];

export type Run = S["Run"];
export type RefusalTold = S["Refusal"];
export type StageCard = S["Stage"];
export type StageName = StageCard["stage"];
export type JobCard = S["JobCard"];
export type Job = S["Job"];
export type Revision = S["Revision"];
export type DoneMark = S["Done"];
export type Assumed = S["Assumed"];
export type Sheet = S["Sheet"];
export type FormField = S["SheetField"];
export type FormGroup = S["SheetGroup"];
export type LookMesh = S["LookMesh"];
export type WhyTold = S["Why"];

/** A finding as plan.json and a look tell it; its places are in the axes of what is shown. */
export interface Finding {
  kind: string;
  count: number;
  sentence: string;
  next_step: string;
  blocks: string[];
  places_mm: V3[];
  size_mm?: number | null;
  mended?: boolean;
}

export type Look = Omit<S["Look"], "findings"> & { findings: Finding[] };
