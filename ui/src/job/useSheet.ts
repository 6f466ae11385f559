/** The job's sheet as the stages read and change it. */

import { at } from "../api/at";
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { call, Refusal } from "../api/call";
import type { FormField, Job, Sheet } from "../api/kinds";
import { useAsked } from "../live/ask";

const form = signal<Record<string, FormField> | null>(null);
let asking = false;

/** What may stand in each field; asked once, it belongs to the program and not to a job. */
export function useForm(): Record<string, FormField> | null {
  useEffect(() => {
    if (asking) return;
    asking = true;
    call("GET", at("/api/sheet/fields")).then(
      (told) => (form.value = Object.fromEntries(told.groups.flatMap((g) => g.fields.map((f) => [f.name, f])))),
      () => (asking = false),
    );
  }, []);
  return form.value;
}

export interface SheetAtHand {
  sheet: Sheet | null;
  /** What a field holds: said, else assumed. */
  value: (field: string) => unknown;
  isSaid: (field: string) => boolean;
  /** Writes fields and plans anew; null takes one out. */
  change: (fields: Record<string, unknown>) => Promise<void>;
  /** Takes a sheet that another request answered with. */
  put: (sheet: Sheet) => void;
}

export function useSheet(job: Job): SheetAtHand {
  const asked = useAsked(at("/api/jobs/{job_id}/sheet", { job_id: job.id }), `job:${job.id}`);
  const sheet = asked.data;
  const said = (field: string): unknown => field.split(".").reduce<unknown>((at, key) => (at as Record<string, unknown> | undefined)?.[key], sheet?.values);
  return {
    sheet,
    isSaid: (field) => said(field) !== undefined,
    value: (field) => said(field) ?? sheet?.assumed.find((a) => a.field === field)?.value ?? null,
    put: asked.put,
    change: async (fields) => {
      if (!sheet) return;
      try {
        asked.put(await call("PATCH", at("/api/jobs/{job_id}/sheet", { job_id: job.id }), { version: sheet.version, fields, plan: true }));
      } catch (error) {
        if (error instanceof Refusal && error.told.code === "changed_meanwhile") asked.again();
        throw error;
      }
    },
  };
}
