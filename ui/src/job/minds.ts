/** What must be minded in a job, gathered from the plan, the worst first, with places to look at. */

import type { Finding, Look, V3 } from "../api/kinds";

export interface Mind {
  id: string;
  /** The same in the list and on the bench. */
  number: number;
  words: string;
  more?: string;
  place: V3 | null;
  weight: "stop" | "mind" | "note";
}

interface Placed { sentence: string; place_mm?: V3; passed?: boolean; where_mm?: V3 | null }

/* eslint-disable-next-line */
export type Plan = any; // plan.json: its contract is a schema of its own

type Unnumbered = Omit<Mind, "number">;

/** Numbered as they are met: what is open first, then what was mended. */
function numbered(minds: Unnumbered[]): Mind[] {
  const order = [...minds.filter((mind) => mind.weight !== "note"), ...minds.filter((mind) => mind.weight === "note")];
  return order.map((mind, i) => ({ ...mind, number: i + 1 }));
}

/** Findings of the mesh, in the axes of what is shown. */
export function ofMesh(findings: Finding[]): Mind[] {
  return numbered(findings.map((f, i) => ({
    id: `mesh-${i}`,
    words: f.sentence,
    more: f.next_step,
    place: f.places_mm[0] ?? null,
    weight: f.mended ? "note" : f.blocks.length ? "stop" : "mind",
  })));
}

/** Of the mould: what the plan warns of, each with the place it speaks of where one is known. */
export function ofMould(plan: Plan): Mind[] {
  const mould = plan.parts[0].moulds[0];
  const placed: Placed[] = [...mould.skin.pockets, ...(mould.shell.loose ?? []), ...(mould.shell.stays_deep ?? [])];
  const places = new Map(placed.map((p) => [p.sentence, p.place_mm ?? null]));
  const failed = ((mould.proof?.checks ?? []) as Placed[]).filter((c) => !c.passed);
  const minds: Unnumbered[] = failed.map((c, i) => ({ id: `proof-${i}`, words: c.sentence, place: c.where_mm ?? null, weight: "stop" }));
  const said = new Set(failed.map((c) => c.sentence));
  for (const words of plan.warnings as string[]) {
    if (said.has(words)) continue;
    minds.push({ id: `warn-${minds.length}`, words, place: places.get(words) ?? null, weight: "mind" });
  }
  return numbered(minds);
}

/** The findings as they lie in what is shown: the plan's, once there is one, else the look's. */
export function findingsShown(look: Look | null, plan: Plan | null): Finding[] {
  return (plan?.parts[0].master.findings as Finding[] | undefined) ?? look?.findings ?? [];
}
