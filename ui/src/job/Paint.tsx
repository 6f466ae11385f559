import { useEffect, useState } from "preact/hooks";
import { Refusal } from "../api/call";
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
  useEffect(() => {
    scene.heard.dabbed = (dab) => scene.change({ dabs: [...scene.view.peek().dabs, dab] });
    return () => {
      delete scene.heard.dabbed;
      scene.change({ dabs: [], ...(scene.view.peek().tool === "brush" ? { tool: "turn" } : {}) });
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
    <details class="paint">
      <summary>{w.paint.title}</summary>
      <p class="small">{w.paint.help}</p>
      <p class="acts">
        <button class="plain" aria-pressed={on && view.brush.copied} onClick={() => brush(true)}>{w.paint.copy}</button>
        <button class="plain" aria-pressed={on && !view.brush.copied} onClick={() => brush(false)}>{w.paint.leave}</button>
      </p>
      <label class="slide">{w.paint.radius(`${figure(view.brush.radius_mm, "mm", 0)} ${unitShown("mm")}`)}
        <input type="range" min="2" max="30" step="1" value={view.brush.radius_mm} onInput={(e) => scene.change({ brush: { ...view.brush, radius_mm: Number(e.currentTarget.value) } })} />
      </label>
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
