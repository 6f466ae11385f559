import { at } from "../api/at";
import { useSignalEffect } from "@preact/signals";
import { useEffect, useLayoutEffect, useMemo, useState } from "preact/hooks";
import { call, Refusal } from "../api/call";
import type { Job, Look, StageName, V3 } from "../api/kinds";
import { useAsked, type Asked } from "../live/ask";
import { latest } from "../live/live";
import { DoneLeaf } from "../parts/DoneLeaf";
import { Refused } from "../parts/Refused";
import { TakeAway } from "../parts/TakeAway";
import { Top } from "../parts/Top";
import { UnderWay } from "../parts/UnderWay";
import { go } from "../router";
import { SheetLeaf } from "../sheet/SheetLeaf";
import { t } from "../words";
import { jobWords as w } from "../words/job";
import { Bench3D } from "./Bench3D";
import { CastFollows, CastSide } from "./Cast";
import { asked, restingOnOwn } from "./Fig";
import "./job.css";
import { MasterFollows, MasterSide } from "./Master";
import { findingsShown, ofMesh, ofMould, type Mind, type Plan } from "./minds";
import { MouldFollows, MouldSide } from "./Mould";
import { APART, makeScene, partsOf, pinsOf, shownAt } from "./scene";
import type { Stage } from "./stage";
import { Tools } from "./Tools";
import { useSheet } from "./useSheet";
import { Way } from "./Way";
import { WhyLeaf } from "./WhyLeaf";

const SIDES = { master: MasterSide, mould: MouldSide, cast: CastSide };
const FOLLOWS = { master: MasterFollows, mould: MouldFollows, cast: CastFollows };

/** One job: the object large, the few decisions beside it, what follows from them below. */
export function JobPage({ id, stage }: { id: string; stage: string }) {
  const told = useAsked(at("/api/jobs/{job_id}", { job_id: id }), `job:${id}`, "figures");
  const job = told.data;
  const known = stage in SIDES;
  useEffect(() => {
    if (job && !known) go(`/jobs/${id}/${job.next.stage ?? "master"}`, true);
  }, [job !== null, known]);
  if (!job) {
    return (
      <>
        <Top />
        <main class="page"><Refused refusal={told.refusal} />{told.refusal && <p><a href="/">{t.nowhere.back}</a></p>}</main>
      </>
    );
  }
  return known ? <Open job={job} stage={stage as StageName} /> : null;
}

function Open({ job, stage }: { job: Job; stage: StageName }) {
  const scene = useMemo(makeScene, [job.id]);
  const hand = useSheet(job);
  const [leaf, setLeaf] = useState<"" | "sheet" | "take" | "done">("");
  const run = latest(job.run);
  // until there is a plan, what is known of the mesh that is being planned is shown
  const shown = job.plan_id ?? run?.id ?? null;
  const seen = useAsked(shown === null ? null : at("/api/runs/{run_id}/look", { run_id: shown }), `run:${shown}`, `job:${job.id}`);
  const plan = useAsked(job.plan_id === null ? null : at("/api/runs/{run_id}/plan", { run_id: job.plan_id })) as Asked<Plan>;
  const look = seen as Asked<unknown> as Asked<Look>;
  const minds = useMemo<Mind[]>(() => mindsAt(stage, look.data, plan.data), [stage, look.data, plan.data]);
  const meshes = look.data?.meshes.map((mesh) => mesh.name).join();
  // before the page is painted: the meshes are asked for the sooner
  useLayoutEffect(() => {
    if (!look.data || !shown) return;
    scene.change({ parts: partsOf(shown, look.data), shown: shownAt(stage, look.data), ghost: [], map: null, cut: null, compare: null, tool: "turn", frame: `${job.id} ${stage}`, apart: stage === "mould" ? APART : 0, head: stage === "master" ? { url: at("/api/headform") } : null });
  }, [shown, meshes, stage]);
  useEffect(() => scene.change({ pins: pinsOf(minds.filter((mind) => mind.weight !== "note")) }), [minds]);
  useEffect(() => {
    document.title = `${job.name} · ${t.name}`;
  }, [job.name]);
  useEffect(() => () => void (asked.value = null), [job.id]);
  useSignalEffect(() => {
    // both halves of a comparison must be on the bench
    const view = scene.view.value;
    const arrived = view.parts.find((part) => part.role === "arrived");
    if (view.compare !== null && arrived && view.shown[arrived.name] === false) scene.change({ shown: { ...view.shown, [arrived.name]: true } });
    if (view.compare === null && arrived && view.shown[arrived.name] && view.parts.some((part) => part.role === "master")) scene.change({ shown: { ...view.shown, [arrived.name]: false } });
  });
  const open: Stage = { job, run: shown, look: look.data, plan: plan.data, hand, scene, minds };
  const Side = SIDES[stage];
  const Follows = FOLLOWS[stage];
  const pulls = (plan.data?.parts[0].moulds[0].shell.pieces ?? []).map((piece: { pull: V3 }) => piece.pull) as V3[];
  useEffect(() => {
    restingOnOwn.value = new Set((plan.data?.own_figures ?? []).flatMap((own: { numbers?: string[] }) => own.numbers ?? []));
  }, [plan.data]);
  const hasMended = (look.data?.meshes.some((m) => m.role === "arrived") && look.data.meshes.some((m) => m.role === "master")) ?? false;
  return (
    <>
      <Top>
        <strong title={job.name}>{job.name}</strong>
        {job.due_on && <span class="small">{w.due(job.due_on)}</span>}
      </Top>
      <div class="job">
        <Way job={job} stage={stage} />
        <div class="object">
          <Bench3D scene={scene} name={job.name} />
          {look.data && shown && <Tools scene={scene} run={shown} look={look.data} pulls={pulls} stage={stage} name={`${job.name} ${w.stages[stage]}`} canCompare={stage === "master" && hasMended} />}
        </div>
        <main class="side">
          <Progress job={job} />
          <Side {...open} />
        </main>
        <footer class="follows">
          <div class="ledger"><Follows {...open} /></div>
          <p class="acts">
            <button class="plain" onClick={() => setLeaf("sheet")}>{w.sheet}</button>
            <button class="plain" onClick={() => setLeaf("done")}>{w.markDone}</button>
            {job.plan_id && <a class="plain button" href={at("/api/runs/{run_id}/packet.pdf", { run_id: job.plan_id })} target="_blank" rel="noopener">{w.packet}</a>}
            {job.plan_id && <button class="plain" onClick={() => setLeaf("take")}>{w.takeAway}</button>}
          </p>
        </footer>
      </div>
      {leaf === "sheet" && <SheetLeaf job={job} close={() => setLeaf("")} />}
      {leaf === "done" && <DoneLeaf job={job} stage={stage} close={() => setLeaf("")} />}
      {leaf === "take" && <TakeAway job={job} runId={job.plan_id!} close={() => setLeaf("")} />}
      <WhyLeaf />
    </>
  );
}

/** What is being worked out, or why it stopped. */
function Progress({ job }: { job: Job }) {
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const run = latest(job.run);
  const again = (): void => {
    setRefusal(null);
    call("POST", at("/api/jobs/{job_id}/runs", { job_id: job.id })).catch((error: unknown) => error instanceof Refusal && setRefusal(error));
  };
  const isOpen = run?.state === "waiting" || run?.state === "working";
  return (
    <div class="progress">
      <UnderWay run={run} />
      {run?.state === "failed" && (
        <>
          <h2>{t.run.failed}</h2>
          <Refused refusal={run.refusal} />
          <button class="plain" onClick={again}>{t.run.again}</button>
        </>
      )}
      {!isOpen && run?.state !== "failed" && (run?.state === "cancelled" || (job.plan_id && !job.plan_is_current)) && (
        <p>{run?.state === "cancelled" ? t.run.cancelled : t.run.stale} <button class="plain" onClick={again}>{t.run.replan}</button></p>
      )}
      <Refused refusal={refusal} />
    </div>
  );
}

function mindsAt(stage: StageName, look: Look | null, plan: Plan | null): Mind[] {
  if (stage === "master") return ofMesh(findingsShown(look, plan));
  if (!plan) return [];
  if (stage === "mould") return ofMould(plan);
  return plan.parts[0].cast.findings ? ofMesh(plan.parts[0].cast.findings.map((f: object) => ({ places_mm: [], ...f }))) : [];
}
