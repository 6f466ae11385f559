import { useEffect, useRef, useState } from "preact/hooks";
import { Refusal } from "../api/call";
import type { Look, V3 } from "../api/kinds";
import type { View } from "../view3d/kinds";
import { Refused } from "../parts/Refused";
import { duration, figure, inUnits, span, unitShown } from "../units";
import { t } from "../words";
import { jobWords as w } from "../words/job";
import { Blank } from "./Blank";
import { ChoiceChart, FromAbove, middle, type Option } from "./ChoiceChart";
import { Ask, Fig } from "./Fig";
import { Minds } from "./Minds";
import { APART, shownAt } from "./scene";
import type { Stage } from "./stage";
import { draft, keep, lockOn, misses, pullAt, putBack, tryWalls, wallsOf, warmUp, type Wall } from "./steer";

/** Skin and shell: what they are made of, in how many pieces, parted where. */
export function MouldSide(stage: Stage) {
  const { plan, hand, minds, scene } = stage;
  const printed = hand.value("shell.kind") === "printed";
  return (
    <>
      <h1>{w.stages.mould}</h1>
      <p class="say">
        {w.mould.skin} <Blank hand={hand} field="skin.thickness_mm" /> {w.mould.of} <Blank hand={hand} field="skin.material" />, {w.mould.flange} <Blank hand={hand} field="skin.flange_width_mm" />. {w.mould.shell}{" "}
        <Blank hand={hand} field="shell.kind" />, <Blank hand={hand} field="shell.thickness_mm" /> {w.mould.thick} <Blank hand={hand} field="shell.draft_deg" /> {w.mould.draft}
        {printed && <>, {w.mould.gap} <Blank hand={hand} field="shell.clearance_mm" /></>}.
      </p>
      {plan && <Choice {...stage} />}
      {plan && <Steer {...stage} />}
      {minds.length > 0 && <h2>{w.mind}</h2>}
      <Minds minds={minds} fly={scene.fly} />
      {plan && <Proof plan={plan} />}
    </>
  );
}

/** The choice chart; a point that is chosen shows its walls and what would lock there. */
function Choice({ plan, run, look, hand, scene }: Stage) {
  const mould = plan.parts[0].moulds[0];
  const options = mould.options as Option[];
  const built = mould.shell.pieces.length as number;
  const [chosen, setChosen] = useState(built);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  useEffect(() => setChosen(built), [plan]);
  const option = options.find((o) => o.pieces === chosen);
  const choose = (pieces: number): void => {
    setChosen(pieces);
    const next = options.find((o) => o.pieces === pieces)!;
    const isBuilt = pieces === built;
    scene.change({ tool: "turn", ...shownFor(isBuilt ? "turn" : "walls", look!), walls: isBuilt ? [] : wallsOf(next.walls, false), locks: isBuilt ? [] : next.locks.map(lockOn) });
  };
  const build = async (pieces: number | null): Promise<void> => {
    setRefusal(null);
    try {
      await hand.change({ "shell.pieces": pieces, ...(pieces === null ? {} : { "shell.walls": null, "shell.pulls": null }) });
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      setRefusal(error);
    }
  };
  const said = hand.isSaid("shell.pieces");
  return (
    <section aria-label={w.choice.title}>
      <h2>{w.choice.title}</h2>
      <ChoiceChart options={options} chosen={chosen} choose={choose} />
      {option && (
        <div class="chosen-option">
          <FromAbove option={option} relief={mould.relief ?? []} />
          <div>
            <p><strong>{t.pieces(option.pieces)}</strong>{option.pieces === built && `, ${w.choice.built}`}</p>
            <Sums run={run!} option={option} index={options.indexOf(option)} />
            {option.strips_badly && <p class="own-flag">{w.choice.stripsBadly(`${figure(option.deepest_fill_mm, "mm", 0)} ${unitShown("mm")}`)}</p>}
            <p class="acts">
              {option.pieces !== built && <button class="main" onClick={() => void build(option.pieces)}>{w.choice.build(option.pieces)}</button>}
              {option.pieces === built && !said && <button class="plain" onClick={() => void build(built)}>{w.choice.lock}</button>}
              {said && <button class="plain" onClick={() => void build(null)}>{w.choice.asRecommended}</button>}
            </p>
          </div>
        </div>
      )}
      {options.find((o) => o.recommended) && <p class="small">{inUnits((options.find((o) => o.recommended) as Option & { why: string }).why)}</p>}
      {(mould.options_left_out as string[] | undefined)?.map((line) => <p key={line} class="small">{inUnits(line)}</p>)}
      <p class="small">{inUnits(mould.least_pieces?.sentence ?? "")}</p>
      <Refused refusal={refusal} />
    </section>
  );
}

/** What an option takes, each figure with its why. */
function Sums({ run, option, index }: { run: string; option: Option; index: number }) {
  const ask = (key: string, what: string, words: string) => <Ask run={run} path={`parts.0.moulds.0.options.${index}.${key}`} what={what}>{words}</Ask>;
  return (
    <p class="sums">
      {ask("silicone_g", w.choice.silicone, `${figure(middle(option.silicone_g), "g", 0)} ${unitShown("g")}`)} {w.choice.ofSilicone},{" "}
      {ask("fill_cm3", w.figs.fill, `${figure(option.fill_cm3, "cm³")} ${unitShown("cm³")}`)} {w.choice.ofFill};{" "}
      {w.choice.shell} {ask("shell_g", w.figs.shell(option.pieces), `${figure(middle(option.shell_g), "g", 0)} ${unitShown("g")}`)},{" "}
      {ask("shell_min", w.choice.time, duration(option.shell_min))}
      {option.silicone_cost !== null && <>, {ask("silicone_cost", w.choice.cost, figure(option.silicone_cost, "", 2))} {w.choice.cost}</>}.
    </p>
  );
}

/** Walls and pulls moved by hand, or a line drawn; answered while the hand moves. */
function Steer({ job, run, look, plan, hand, scene }: Stage) {
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const shell = plan.parts[0].moulds[0].shell;
  const lockedWalls = hand.isSaid("shell.walls"), lockedPulls = hand.isSaid("shell.pulls");
  const now = draft.value;
  const view = scene.view.value;
  const pulls = shell.pieces.map((piece: { pull: V3 }) => piece.pull) as V3[];
  useEffect(() => {
    putBack(scene);
    scene.heard.walled = (id, through, facing) => {
      const walls = scene.view.peek().walls.map((w) => (w.id === id ? { ...w, through, facing, bend: null } : w));
      scene.change({ walls });
      tryWalls(run!, scene, walls.map(({ through, facing, bend }) => ({ through, facing, bend: bend ?? null })), draft.peek()?.pulls ?? null);
    };
    scene.heard.pulled = (part, pull) => {
      const index = pullAt(part);
      const next = (draft.peek()?.pulls ?? pulls).map((p, i) => (i === index ? pull : p));
      const walls = draft.peek()?.walls ?? shell.walls ?? [];
      tryWalls(run!, scene, walls as Wall[], next);
    };
    scene.heard.lined = (line) => {
      scene.change({ line });
      if (line.length >= 3) tryWalls(run!, scene, [{ line }], null);
    };
    return () => {
      scene.heard = {};
      putBack(scene);
    };
  }, [plan, lockedWalls]);
  const guarded = async (work: () => Promise<unknown>): Promise<void> => {
    setRefusal(null);
    try {
      await work();
      putBack(scene);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      setRefusal(error);
    }
  };
  const save = () => guarded(async () => hand.put(await keep(job, run!, hand.sheet!.version, now!.pulls ? { walls: now!.walls, pulls: now!.pulls } : { walls: now!.walls })));
  const lock = () => guarded(async () => hand.put(await keep(job, run!, hand.sheet!.version, { walls: shell.walls })));
  const lockPulls = () => guarded(async () => hand.put(await keep(job, run!, hand.sheet!.version, { pulls })));
  const tool = (name: "walls" | "line") => () => {
    const next = view.tool === name ? "turn" : name;
    scene.change({ tool: next, line: null, walls: next === "turn" ? [] : wallsOf(shell.walls, lockedWalls), ...shownFor(next, look!) });
    warmUp(run!, shell.walls ?? []);
  };
  const held = useRef(view.tool);
  useEffect(() => {
    if (view.tool === "turn" && (held.current === "walls" || held.current === "line") && look) scene.change(shownFor("turn", look));
    held.current = view.tool;
  }, [view.tool]);
  const hasWalls = (shell.walls ?? []).length > 0;
  return (
    <section aria-label={w.steer.title}>
      <h2>{w.steer.title}</h2>
      <p class="acts">
        {hasWalls && <button class="plain" aria-pressed={view.tool === "walls"} onClick={tool("walls")}>{w.steer.move}</button>}
        <button class="plain" aria-pressed={view.tool === "line"} onClick={tool("line")}>{w.steer.draw}</button>
        {hasWalls && !lockedWalls && !now && <button class="plain" onClick={() => void lock()}>{w.steer.lockWalls}</button>}
        {!lockedPulls && !now && <button class="plain" onClick={() => void lockPulls()}>{w.steer.lockPulls}</button>}
        {lockedWalls && <button class="plain" onClick={() => void guarded(() => hand.change({ "shell.walls": null }))}>{w.steer.freeWalls}</button>}
        {lockedPulls && <button class="plain" onClick={() => void guarded(() => hand.change({ "shell.pulls": null }))}>{w.steer.freePulls}</button>}
      </p>
      {view.tool === "walls" && <p class="small">{w.steer.moveHelp}</p>}
      {view.tool === "line" && <p class="small">{w.steer.drawHelp}</p>}
      {now && (
        <div class="draft" aria-live="polite" data-busy={now.busy}>
          {now.answer && (
            <p><strong>{w.steer.fill(`${figure(now.answer.fill_cm3, "cm³")} ${unitShown("cm³")}`)}</strong>, {w.steer.was(`${figure(plan.parts[0].moulds[0].skin.fill_cm3, "cm³")} ${unitShown("cm³")}`)}. {t.pieces(now.answer.pieces)}{now.answer.in_order ? `, ${w.steer.inOrder}` : ""}.</p>
          )}
          {now.answer && now.answer.locks.length > 0 && <p class="small">{w.steer.locks(now.answer.locks.length)}</p>}
          {now.answer && now.answer.stretches.length > 0 && <p class="small">{w.steer.stretches(now.answer.stretches.length)}</p>}
          {misses(now) && <p class="own-flag">{w.steer.misses}</p>}
          <Refused refusal={now.refusal} />
          <p class="acts">
            <button class="main" disabled={!now.answer || misses(now)} onClick={() => void save()}>{w.steer.keep}</button>
            <button class="plain" onClick={() => putBack(scene)}>{w.steer.back}</button>
          </p>
        </div>
      )}
      <Refused refusal={refusal} />
    </section>
  );
}

/** Walls are moved on the closed mould, seen through its shell; a line is drawn on the bare body. */
function shownFor(tool: string, look: Look): Partial<View> {
  const shells = look.meshes.filter((mesh) => mesh.role === "shell" || mesh.role === "loose").map((mesh) => mesh.name);
  if (tool === "walls") return { shown: shownAt("mould", look), ghost: shells, apart: 0 };
  if (tool === "line") return { shown: Object.fromEntries(look.meshes.map((mesh) => [mesh.name, mesh.role === "body"])), ghost: [], apart: 0 };
  return { shown: shownAt("mould", look), ghost: [], apart: APART };
}

function Proof({ plan }: { plan: Stage["plan"] }) {
  const proof = plan.parts[0].moulds[0].proof;
  if (!proof) return null;
  const held = proof.checks.filter((c: { passed: boolean }) => c.passed).length;
  return (
    <details>
      <summary>{proof.passed ? w.proof.holds(held) : w.proof.fails(proof.checks.length - held)}</summary>
      <ul class="notes">{proof.checks.map((c: { name: string; passed: boolean; sentence: string }) => <li key={c.name}>{c.passed ? "" : "! "}{inUnits(c.sentence)}</li>)}</ul>
    </details>
  );
}

export function MouldFollows({ run, plan }: Stage) {
  if (!plan || !run) return null;
  const mould = plan.parts[0].moulds[0];
  const at = "parts.0.moulds.0";
  const shell_g = mould.shell.pieces.reduce((s: number, p: { mass_g: number }) => s + p.mass_g, 0);
  const chosen = mould.options.findIndex((o: Option) => o.pieces === mould.shell.pieces.length);
  return (
    <>
      <Fig run={run} path={`${at}.skin.mass_g`} value={mould.skin.mass_g.p50} unit="g" digits={0} spread={mould.skin.mass_g} what={w.figs.silicone} />
      <Fig run={run} path={`${at}.skin.fill_cm3`} value={mould.skin.fill_cm3} unit="cm³" what={w.figs.fill} />
      {chosen >= 0 && <Fig run={run} path={`${at}.options.${chosen}.shell_g`} value={shell_g} unit="g" digits={0} what={w.figs.shell(mould.shell.pieces.length)} />}
      <Fig run={run} path={`${at}.clay_cm3`} value={mould.clay_cm3} unit="cm³" what={w.figs.clay} />
      <Fig run={run} path={`${at}.skin.stretch.ratio`} value={mould.skin.stretch.ratio} unit="×" digits={2} what={w.figs.stretch} />
      <Fig run={run} path="schedule.mould_min.0" value={plan.schedule.mould_min[0]} unit="min" words={span(plan.schedule.mould_min[0], plan.schedule.mould_min[1])} what={w.figs.mouldTime} />
    </>
  );
}
