import { useEffect, useMemo, useState } from "preact/hooks";
import { at } from "../api/at";
import { call, Refusal } from "../api/call";
import type { V3 } from "../api/kinds";
import { inTurn } from "../live/in_turn";
import type { Dab } from "../view3d/kinds";
import { Refused } from "../parts/Refused";
import { figure, unitShown } from "../units";
import { t } from "../words";
import { jobWords as w } from "../words/job";
import type { Stage } from "./stage";
import { keep } from "./steer";

/** Repainting what the mould copies, by brush: what was kept before lies under what is new. */
export function Paint({ job, run, plan, hand, scene }: Stage) {
  const [open, setOpen] = useState(false);
  const [strokes, setStrokes] = useState<Dab[][]>([]);
  const [copied, setCopied] = useState<{ show_area_cm2: number; planned_area_cm2: number } | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [barred, setBarred] = useState(false);
  const turn = useMemo(inTurn, [run]);
  const said = hand.value("master.paint");
  const kept = useMemo(() => laidIn(said, plan?.parts[0].moulds[0].frame.to_mould), [said, plan]);
  const fresh = useMemo(() => strokes.flat(), [strokes]);
  const view = scene.view.value;
  const on = view.tool === "brush";
  useEffect(() => {
    scene.heard.dabbed = (dab, begins) => setStrokes((before) => (begins || !before.length ? [...before, [dab]] : [...before.slice(0, -1), [...before.at(-1)!, dab]]));
    return () => {
      delete scene.heard.dabbed;
      turn.stop();
      scene.change({ dabs: [], border: [], ...(scene.view.peek().tool === "brush" ? { tool: "turn" } : {}) });
    };
  }, []);
  useEffect(() => {
    if (!open || !run) {
      turn.stop();
      setCopied(null);
      setBarred(false);
      scene.change({ dabs: [], border: [], ...(scene.view.peek().tool === "brush" ? { tool: "turn" } : {}) });
      return;
    }
    const dabs = [...kept, ...fresh];
    scene.change({ dabs });
    turn.ask((signal) =>
      call("POST", at("/api/runs/{run_id}/paint", { run_id: run }), { dabs }, signal).then(
        (answer) => {
          setRefusal(null);
          setBarred(false);
          setCopied(answer);
          scene.change({ border: answer.border as V3[][] });
        },
        (error: unknown) => {
          if (!(error instanceof Refusal) || error.status === 0 || error.told.code === "cancelled") return;
          setRefusal(error);
          setBarred(true);
        },
      ),
    );
  }, [open, run, kept, fresh]);
  const brush = (copies: boolean) => scene.change({ tool: on && view.brush.copied === copies ? "turn" : "brush", brush: { ...view.brush, copied: copies } });
  const save = async (): Promise<void> => {
    setRefusal(null);
    try {
      hand.put(await keep(job, run!, hand.sheet!.version, { paint: fresh }));
      setStrokes([]);
      scene.change({ tool: "turn" });
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      setRefusal(error);
    }
  };
  const before = copied && copied.show_area_cm2 !== copied.planned_area_cm2 ? area(copied.planned_area_cm2) : null;
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
      <Refused refusal={refusal} />
      {copied && !barred && <p role="status">{w.paint.area(area(copied.show_area_cm2), before)}</p>}
      {strokes.length > 0 && (
        <p class="acts">
          <button class="main" disabled={barred} onClick={() => void save()}>{w.paint.keep(strokes.length)}</button>
          <button class="plain" onClick={() => setStrokes(strokes.slice(0, -1))}>{t.common.undo}</button>
          <button class="plain" onClick={() => setStrokes([])}>{t.common.cancel}</button>
        </p>
      )}
      {kept.length > 0 && <p>{w.paint.kept(kept.length)} <button class="plain" onClick={() => void hand.change({ "master.paint": null })}>{w.paint.away}</button></p>}
    </details>
  );
}

/** Dabs of the sheet, which are in the axes of the mesh file, where the plan shows them. */
function laidIn(said: unknown, toMould: number[][] | number[] | undefined): Dab[] {
  if (!Array.isArray(said) || !toMould) return [];
  const m = toMould.flat();
  return (said as { at: V3; radius_mm: number; copied: boolean }[]).map(({ at: [x, y, z], radius_mm, copied }) => ({
    at: [0, 4, 8].map((row) => m[row]! * x + m[row + 1]! * y + m[row + 2]! * z + m[row + 3]!) as V3,
    radius_mm,
    copied,
  }));
}

function area(cm2: number): string {
  return `${figure(cm2, "cm²")} ${unitShown("cm²")}`;
}
