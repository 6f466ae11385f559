/** The shapes that the page handles, by short names. */

export type StageName = "master" | "mould" | "cast";
export type V3 = [number, number, number];

export interface Run {
  id: string; job_id: string; revision_number: number; sheet_version: number;
  state: "waiting" | "working" | "done" | "failed" | "cancelled";
  share: number; what: string; made_at: string; started_at: string | null; ended_at: string | null;
  refusal: RefusalTold | null;
}
export interface RefusalTold { code: string; where: string; found: string; limit: string; remedy: string; sentence: string }
export interface StageCard { stage: StageName; state: "waiting" | "working" | "attention" | "planned" | "done"; words: string }
export interface JobCard {
  id: string; name: string; due_on: string | null; version: number; made_at: string; changed_at: string;
  archived_at: string | null; deleted_at: string | null; castings: number; picture: string | null;
  file_name: string | null; revision_count: number; stages: StageCard[];
  next: { words: string; stage: StageName | null }; run: Run | null; plan_id: string | null; plan_is_current: boolean;
}
export interface Revision { id: string; number: number; file_name: string; size_bytes: number; added_at: string }
export interface DoneMark { stage: StageName; done_on: string; measured: Record<string, number>; note: string }
export interface Job extends JobCard {
  revisions: Revision[]; sheet_version: number; done: DoneMark[];
  confirmed: { size: boolean; up: boolean; castings: boolean }; summary: Summary | null;
}
export interface Summary { assumed: Assumed[]; parts: PartSummary[] }
export interface PartSummary {
  name: string; size_mm: V3; pull_mass_g: { p10: number; p50: number; p90: number }; castings: number;
  silicone_g: number; resin_g: number; powder_g: number; fill_cm3: number; shell_pieces: number;
  removal_proved: boolean; shell_g: number; worst_warning: string;
}
export interface Assumed { field: string; value: unknown; unit: string; why: string }
export interface Sheet { version: number; values: Record<string, unknown>; text: string; assumed: Assumed[] }
export interface FormField {
  name: string; what: string; why: string; default: unknown; empty: string | null; unit: string;
  kind: "number" | "whole" | "text" | "choice" | "yes_no" | "list";
  low: number | null; high: number | null; above: number | null;
  choices: { value: string; words: string }[] | null; allowed: string;
}
export interface FormGroup { name: string; what: string; fields: FormField[] }
export interface Finding { kind: string; count: number; sentence: string; next_step: string; blocks: string[]; places_mm: V3[]; size_mm?: number | null; mended?: boolean }
export interface LookMesh {
  name: string; role: "arrived" | "master" | "body" | "skin" | "shell" | "loose"; title: string; triangles: number;
  bytes: number; pull: V3 | null; frame: "file" | "mould"; maps: { name: string; title: string; unit: string }[];
}
export interface Look { stage: "read" | "planned"; is_checked: boolean; to_mould: number[] | null; size_mm: V3; triangles: number; findings: Finding[]; meshes: LookMesh[] }
export interface WhyTold {
  what: string; value: number | null; unit: string; formula: string;
  inputs: { what: string; value: number | string; unit: string }[];
  rows: { row: string; name: string; figure: string; low: number; typical: number; high: number; unit: string; mark: string; source: string; note: string }[];
  spread: { p10: number; p50: number; p90: number } | null;
}
