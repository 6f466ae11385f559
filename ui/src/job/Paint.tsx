import { useEffect, useMemo, useState } from "preact/hooks";
import { at } from "../api/at";
import { call, Refusal } from "../api/call";
import type { V3 } from "../api/kinds";
import { inTurn } from "../live/in_turn";
import { Refused } from "../parts/Refused";
import { figure, unitShown } from "../units";
import { t } from "../words";
import { jobWords as w } from "../words/job";
import type { Stage } from "./stage";
import { keep } from "./steer";

/** Repainting what the mould copies, by brush. */
export function Paint({ job, run, hand, scene }: Stage) {
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const view = scene.view.value;
  const on = view.tool === "brush";
  const kept = ((hand.value("master.paint") as unknown[] | string | null) ?? []) as unknown[];
  const keptCount = Array.isArray(kept) ? kept.length : 0;
  const [open, setOpen] = useState(false);
  const [copied, setCopied] = useState<{ show_area_cm2: number; planned_area_cm2: number } | null>(null);
  const turn = useMemo(inTurn, [run]);
  useEffect(() => {
    if (!open || !run) return;
    const dabs = view.dabs;
    turn.ask((signal) =>
      call("POST", at("/api/runs/{run_id}/paint", { run_id: run }), { dabs }, signal).then(
        (answer) => {
          setRefusal(null);
          setCopied(answer);
          scene.change({ border: answer.border as V3[][] });
        },
        (error: unknown) => {
          if (error instanceof Refusal && error.status !== 0 && error.told.code !== "cancelled") setRefusal(error);
        },
      ),
    );
  }, [open, run, view.dabs]);
  useEffect(() => {
    if (open) return;
    turn.stop();
    setCopied(null);
    scene.change({ border: [] });
  }, [open]);
  useEffect(() => {
    scene.heard.dabbed = (dab) => scene.change({ dabs: [...scene.view.peek().dabs, dab] });
    return () => {
      delete scene.heard.dabbed;
      turn.stop();
      scene.change({ dabs: [], border: [], ...(scene.view.peek().tool === "brush" ? { tool: "turn" } : {}) });
    };
  }, []);
  const brush = (copied: boolean) => scene.change({ tool: on && view.brush.copied === copied ? "turn" : "brush", brush: { ...view.brush, copied } });
  const save = async (): Promise<void> => {
    setRefusal(null);
    try {
      hand.put(await keep(job, run!, hand.sheet!.version, { paint: view.dabs }));
      scene.change({ dabs: [], tool: "turn" });
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      setRefusal(error);
    }
  };
  return (
    <details class="paint" onToggle={(e) => setOpen(e.currentTarget.open)}>
      <summary>{w.paint.title}</summary>
      <p class="small">{w.paint.help}</p>
      <p class="acts">
        <button class="plain" aria-pressed={on && view.brush.copied} onClick={() => brush(true)}>{w.paint.copy}</button>
        <button class="plain" aria-pressed={on && !view.brush.copied} onClick={() => brush(false)}>{w.paint.leave}</button>
      </p>
      <label class="slide">{w.paint.radius(`${figure(view.brush.radius_mm, "mm", 0)} ${unitShown("mm")}`)}
        <input type="range" min="2" max="30" step="1" value={view.brush.radius_mm} onInput={(e) => scene.change({ brush: { ...view.brush, radius_mm: Number(e.currentTarget.value) } })} />
      </label>
      {copied && <p role="status">{w.paint.area(area(copied.show_area_cm2), view.dabs.length > 0 && copied.show_area_cm2 !== copied.planned_area_cm2 ? area(copied.planned_area_cm2) : null)}</p>}
      {view.dabs.length > 0 && (
        <p class="acts">
          <button class="main" onClick={() => void save()}>{w.paint.keep(view.dabs.length)}</button>
          <button class="plain" onClick={() => scene.change({ dabs: view.dabs.slice(0, -1) })}>{t.common.undo}</button>
          <button class="plain" onClick={() => scene.change({ dabs: [] })}>{t.common.cancel}</button>
        </p>
      )}
      {keptCount > 0 && <p>{w.paint.kept(keptCount)} <button class="plain" onClick={() => void hand.change({ "master.paint": null })}>{w.paint.away}</button></p>}
      <Refused refusal={refusal} />
    </details>
  );
}

function area(cm2: number): string {
  return `${figure(cm2, "cm²")} ${unitShown("cm²")}`;
}
