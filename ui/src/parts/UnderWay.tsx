import { at } from "../api/at";
import { call } from "../api/call";
import type { Run } from "../api/kinds";
import { latest } from "../live/live";
import { t } from "../words";

/** A plan being worked out: what is being done, how far, and a way to stop it. */
export function UnderWay({ run: given }: { run: Run | null }) {
  const run = latest(given);
  if (!run || (run.state !== "waiting" && run.state !== "working")) return null;
  const words = run.state === "waiting" ? t.run.waiting : t.run.working(run.what);
  return (
    <div class="under-way">
      <span aria-live="polite">{words}</span>
      <div class="bar" role="progressbar" aria-label={words} aria-valuemin={0} aria-valuemax={100} aria-valuenow={Math.round(run.share * 100)}>
        <i style={{ width: `${Math.max(2, run.share * 100)}%` }} />
      </div>
      <span>{t.run.percent(run.share)}</span>
      <button class="plain" onClick={() => void call("POST", at("/api/runs/{run_id}/cancel", { run_id: run.id }))}>{t.run.cancel}</button>
    </div>
  );
}
