import { at } from "../api/at";
import { useRef } from "preact/hooks";
import { call, Refusal } from "../api/call";
import type { Sheet } from "../api/kinds";
import { type Asked, useAsked } from "../live/ask";
import { same, saidOf } from "./values";

export type Outcome = { kept: true; beside: boolean } | { kept: false; theirs: Sheet };

/**
 * Writes one field. `base` is what the field said when its change began: only where somebody
 * else has changed that very field since then is there a conflict; other fields do not matter.
 */
export type Change = (field: string, value: unknown, base: unknown) => Promise<Outcome>;

/** A job's sheet that keeps up to date, and the way to change it; changes go one after another. */
export function useSheetChange(jobId: string): { asked: Asked<Sheet>; change: Change; putText: (text: string, version: number) => Promise<void> } {
  const path = at("/api/jobs/{job_id}/sheet", { job_id: jobId });
  const asked = useAsked(path, `job:${jobId}`);
  const newest = useRef<Sheet | null>(null);
  const line = useRef<Promise<unknown>>(Promise.resolve());
  if (asked.data && asked.data.version >= (newest.current?.version ?? 0)) newest.current = asked.data;

  const put = (sheet: Sheet): void => {
    newest.current = sheet;
    asked.put(sheet);
  };
  const now: Change = async (field, value, base) => {
    for (let beside = false; ; beside = true) {
      const sheet = newest.current!;
      if (!same(saidOf(sheet, field), base)) return { kept: false, theirs: sheet };
      try {
        put(await call("PATCH", path, { version: sheet.version, fields: { [field]: value } }));
        return { kept: true, beside };
      } catch (error) {
        if (!(error instanceof Refusal) || error.told.code !== "changed_meanwhile") throw error;
        put((error.told.theirs as Sheet | undefined) ?? (await call("GET", path)));
        // an answer that is no newer than what was refused would be asked without end
        if (newest.current!.version <= sheet.version) throw error;
      }
    }
  };
  return {
    asked,
    change: (field, value, base) => {
      const mine = line.current.then(() => now(field, value, base));
      line.current = mine.catch(() => undefined);
      return mine;
    },
    putText: async (text, version) => put(await call("PUT", at("/api/jobs/{job_id}/sheet.yaml", { job_id: jobId }, { version }), text)),
  };
}
