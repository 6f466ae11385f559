import { useState } from "preact/hooks";
import { at } from "../api/at";
import { Refusal } from "../api/call";
import { Refused } from "../parts/Refused";
import { figure, inUnits, toShown, toStored, unitShown } from "../units";
import { t } from "../words";
import { told } from "../words/told";
import { jobWords as w } from "../words/job";
import { Blank } from "./Blank";
import { Fig } from "./Fig";
import { Minds } from "./Minds";
import { NewRevision } from "./NewRevision";
import { Paint } from "./Paint";
import { pinsOf } from "./scene";
import type { Stage } from "./stage";
import { keep } from "./steer";

/** The mesh as it arrived, what was mended, how large it is, which side is up and copied. */
export function MasterSide(stage: Stage) {
  const { job, look, plan, hand, minds, scene } = stage;
  const open = minds.filter((mind) => mind.weight !== "note");
  const mended = minds.filter((mind) => mind.weight === "note");
  return (
    <>
      <h1>{w.stages.master}</h1>
      <Sound stage={stage} />
      {look && <Confirm stage={stage} />}
      {open.length > 0 && <h2>{w.mind}</h2>}
      <Minds minds={open} fly={scene.fly} />
      {mended.length > 0 && (
        <details onToggle={(e) => scene.change({ pins: pinsOf(e.currentTarget.open ? minds : open) })}>
          <summary>{w.mendedHow}</summary>
          <Minds minds={mended} fly={scene.fly} />
          <ul class="notes">{(plan?.parts[0].master.mended_notes ?? []).map((note: string) => <li key={note}>{inUnits(note)}</li>)}</ul>
        </details>
      )}
      {plan && <p class="say">{w.openWall} <Blank hand={hand} field="master.wall_mm" />. {w.scale} <Blank hand={hand} field="master.scale" />.</p>}
      {plan && <Paint {...stage} />}
      <Worst stage={stage} />
      <NewRevision job={job} />
    </>
  );
}

/** What the whole plan warns of first, where it is not a matter of the mesh. */
function Worst({ stage: { plan, minds, job } }: { stage: Stage }) {
  const [first] = (plan?.warnings ?? []) as string[];
  if (!first || minds.some((mind) => mind.words === first)) return null;
  return <p class="small">{w.worst} {told(first)} <a href={`/jobs/${job.id}/mould`}>{w.stages.mould}</a></p>;
}

/** Sound or mended, in one line. */
function Sound({ stage: { look, plan } }: { stage: Stage }) {
  if (!look) return null;
  if (!plan && !look.is_checked) return <p class="lead">{w.lookedOver} {t.triangles(look.triangles)}.</p>;
  const findings = plan ? plan.parts[0].master.findings : look.findings;
  const left = findings.filter((f: { mended?: boolean; blocks: string[] }) => !f.mended && f.blocks.length > 0).length;
  const mended = findings.filter((f: { mended?: boolean }) => f.mended).length;
  return <p class="lead">{plan ? w.sound(mended, left) : w.found(findings.length)} {t.triangles(look.triangles)}.</p>;
}

/** The only things that are asked: one real length, which side is up, how many. */
function Confirm({ stage }: { stage: Stage }) {
  const { job, hand, plan, run, scene, look } = stage;
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const guarded = async (work: () => Promise<void>): Promise<void> => {
    setRefusal(null);
    try {
      await work();
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      setRefusal(error);
    }
  };
  const { size, up, castings } = job.confirmed;
  const steerUp = (way: [number, number, number]) =>
    guarded(async () => hand.put(await keep(job, run!, hand.sheet!.version, { up: way })));
  return (
    <section class="confirm" aria-label={w.confirm.title}>
      <ol>
        <li class={size ? "done" : ""}>
          <Size stage={stage} guarded={guarded} />
        </li>
        <li class={up ? "done" : ""}>
          <p>{up ? w.confirm.upSaid : plan ? w.confirm.up : w.confirm.upOpen}</p>
          {run && (
            <p class="acts">
              {!up && plan && <button class="plain" onClick={() => void steerUp([0, 0, 1])}>{w.confirm.right}</button>}
              {up && <button class="plain" onClick={() => void guarded(() => hand.change({ "master.up": null }))}>{w.unlock}</button>}
              <button class="plain" onClick={() => scene.bench.at && void steerUp(scene.bench.at.toward())}>{w.confirm.thisUp}</button>
              {look!.meshes.some((m) => m.role === "master") && (
                <button class="plain" aria-pressed={scene.view.value.map?.url.endsWith("/show") ?? false}
                  onClick={() => scene.change({ map: scene.view.peek().map?.url.endsWith("/show") ? null : { part: "master", url: at("/api/runs/{run_id}/maps/{mesh}/{name}", { run_id: run!, mesh: "master", name: "show" }), title: w.confirm.showMap, unit: "" } })}>
                  {w.confirm.showCopied}
                </button>
              )}
            </p>
          )}
        </li>
        <li class={castings ? "done" : ""}>
          <p>{w.confirm.castings} <Blank hand={hand} field="job.good_castings" />.</p>
          {!castings && hand.sheet && <p class="acts"><button class="plain" onClick={() => void guarded(() => hand.change({ "job.good_castings": hand.value("job.good_castings") }))}>{w.confirm.right}</button></p>}
        </li>
      </ol>
      <Refused refusal={refusal} />
    </section>
  );
}

/** Units that a file may have been taken in without saying so; mm is what anybody expects. */
const UNIT_WORDS: Record<string, string> = { m: "metres", cm: "centimetres", in: "inches", ft: "feet", um: "micrometres" };

const SIDES = ["width", "depth", "height"] as const;

function Size({ stage, guarded }: { stage: Stage; guarded: (work: () => Promise<void>) => Promise<void> }) {
  const { job, look, plan, hand, scene } = stage;
  const [asking, setAsking] = useState(false);
  const [side, setSide] = useState<string>("0");
  const [typed, setTyped] = useState("");
  const size = (plan?.parts[0].sizes.printed ?? look!.size_mm) as number[];
  const told = size.map((s) => figure(s, "mm", 0)).join(" × ");
  const measured = scene.measured.value;
  const here = side === "measured" && measured ? measured.length_mm : size[Number(side)] ?? 0;
  const real = toStored(Number(typed.replace(",", ".")), "mm");
  const scale = Number(hand.value("master.scale") ?? 1);
  const fields = (factor: number) => ({ "master.scale": Number((scale * factor).toPrecision(7)), "master.unit": look!.unit });
  const take = (event: Event): void => {
    event.preventDefault();
    if (real > 0 && here > 0) void guarded(async () => { await hand.change(fields(real / here)); setAsking(false); });
  };
  return (
    <>
      <p>{job.confirmed.size ? w.confirm.sizeSaid(`${told} ${unitShown("mm")}`) : w.confirm.size(`${told} ${unitShown("mm")}`, UNIT_WORDS[look!.unit] ?? null)}</p>
      {!asking && (
        <p class="acts">
          {!job.confirmed.size && hand.sheet && <button class="plain" onClick={() => void guarded(() => hand.change(fields(1)))}>{w.confirm.right}</button>}
          <button class="plain" onClick={() => setAsking(true)}>{w.confirm.other}</button>
        </p>
      )}
      {asking && (
        <form class="real" onSubmit={take}>
          <label>{w.confirm.which}
            <select value={side} onChange={(e) => { setSide(e.currentTarget.value); if (e.currentTarget.value === "measured") scene.change({ tool: "measure" }); }}>
              {SIDES.map((name, i) => <option key={name} value={String(i)}>{w.confirm.sides[name]}, {figure(size[i]!, "mm", 1)} {unitShown("mm")}</option>)}
              <option value="measured">{measured ? w.confirm.measured(`${figure(measured.length_mm, "mm", 1)} ${unitShown("mm")}`) : w.confirm.measure}</option>
            </select>
          </label>
          <label>{w.confirm.real(unitShown("mm"))}
            <input inputMode="decimal" value={typed} placeholder={String(Number(toShown(here, "mm").toFixed(1)))} onInput={(e) => setTyped(e.currentTarget.value)} />
          </label>
          {typed !== "" && <p role="status" class={real > 0 && real < 3 * here && here < 3 * real ? "small" : "doubt"}>{real > 0 && here > 0 ? w.confirm.then(size.map((s) => figure((s * real) / here, "mm", 0)).join(" × ") + ` ${unitShown("mm")}`, figure((scale * real) / here, "", 3)) : w.confirm.noLength}</p>}
          <p class="acts">
            <button class="main" type="submit" disabled={!(real > 0) || !(here > 0)}>{t.common.save}</button>
            <button class="plain" type="button" onClick={() => setAsking(false)}>{t.common.cancel}</button>
          </p>
        </form>
      )}
    </>
  );
}

export function MasterFollows({ run, plan }: Stage) {
  if (!plan || !run) return null;
  const part = plan.parts[0];
  return (
    <>
      {SIDES.map((name, i) => <Fig key={name} run={run} path={`parts.0.sizes.printed.${i}`} value={part.sizes.printed[i]} unit="mm" digits={1} what={w.confirm.sides[name]} />)}
      <Fig run={run} path="parts.0.master.volume_cm3" value={part.master.volume_cm3} unit="cm³" what={w.figs.volume} />
      <Fig run={run} path="parts.0.master.area_cm2" value={part.master.area_cm2} unit="cm²" what={w.figs.area} />
      <Fig run={run} path="parts.0.moulds.0.show_area_cm2" value={part.moulds[0].show_area_cm2} unit="cm²" what={w.figs.show} />
    </>
  );
}
